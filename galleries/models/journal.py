"""The journal: one line per verb, only ever added to; `journal_guard` has the database see to that."""

from __future__ import annotations

import hashlib
import json
import logging
from functools import partial
from typing import TYPE_CHECKING, Any, NoReturn

from django.conf import settings
from django.db import models, transaction
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from galleries.models.compiled import CompiledInsert
from galleries.models.people import Invite
from galleries.models.verbs import Verb

if TYPE_CHECKING:
    from galleries.models.sittings import Sitting

log = logging.getLogger("galleries.journal")
ALONE = {"the program": _("the program"), "nobody": _("nobody"), "the operator": _("the operator")}


def who_words(text: str) -> str:
    """'Name (role)' as `access.Visitor` writes it, the program, the operator of the site, or nobody."""
    if text in ALONE:
        return str(ALONE[text])
    name, bracket, role = text.removesuffix(")").rpartition(" (")
    return f"{name} ({_role(role)})" if bracket and text.endswith(")") else text


def _role(role: str) -> str:
    if role == "photographer":
        return gettext("photographer")
    return str(Invite.Role(role).label) if role in Invite.Role.values else role


class AppendOnly(models.QuerySet["JournalLine"]):
    def update(self, **kwargs: Any) -> NoReturn:
        raise TypeError("The journal is only added to: no line is changed.")

    def delete(self) -> NoReturn:
        raise TypeError("The journal is only added to: no line is removed.")


class JournalLine(models.Model):
    """Who did what to which thing, when, from which state to which."""

    # A sitting goes by erasing only, and its lines before it. What then says that it has gone hangs on none.
    sitting = models.ForeignKey("galleries.Sitting", models.PROTECT, null=True, blank=True, related_name="journal")
    sitting_slug = models.CharField(max_length=60)
    at = models.DateTimeField(auto_now_add=True)
    who = models.CharField(max_length=140)
    verb = models.CharField(max_length=40)
    thing = models.CharField(max_length=120, blank=True)
    before = models.CharField(max_length=60, blank=True)
    after = models.CharField(max_length=60, blank=True)
    detail = models.JSONField(default=dict, blank=True)

    objects = AppendOnly.as_manager()

    class Meta:
        verbose_name = _("line of the journal")
        verbose_name_plural = _("journal")
        ordering = ["pk"]
        indexes = [models.Index(fields=["sitting_slug", "at"])]

    def __str__(self) -> str:
        return f"{self.at:%Y-%m-%d %H:%M} {self.who} {self.verb} {self.thing}".strip()

    def save(self, *args: Any, **kwargs: Any) -> None:
        if self.pk is not None and not kwargs.get("force_insert"):
            raise TypeError("The journal is only added to: no line is changed.")
        if self.pk is None and not args and not kwargs:
            _add_line(self)
        else:
            super().save(*args, **kwargs)
        self.send_on()

    def send_on(self) -> None:
        """Its number, verb and digest to the log that leaves this machine (`PORTAL_SYSLOG`), once it stands."""
        if settings.SYSLOG:
            about = f"line {self.pk}: {self.verb}, sitting {self.sitting_id or '-'}, sha256 {self.digest()}"
            transaction.on_commit(partial(log.info, about), robust=True)

    def digest(self) -> str:
        """SHA-256 of what the line says, as JSON with its keys in order."""
        told = [self.sitting_slug, self.who, self.verb, self.thing, self.before, self.after, self.detail]
        return hashlib.sha256(json.dumps(told, sort_keys=True, default=str).encode()).hexdigest()

    def delete(self, *args: Any, **kwargs: Any) -> NoReturn:
        raise TypeError("The journal is only added to: no line is removed.")

    @property
    def verb_words(self) -> str:
        """The verb in the reader's language; one of an earlier release that is no more, as it was written."""
        return str(Verb(self.verb).label) if self.verb in Verb.values else self.verb

    @classmethod
    def line(
        cls,
        sitting: Sitting | None,
        who: str,
        verb: Verb,
        thing: str = "",
        before: str = "",
        after: str = "",
        **detail: Any,
    ) -> JournalLine:
        """A line not added yet, for verbs that add many at once."""
        return cls(
            sitting=sitting,
            sitting_slug=sitting.slug if sitting is not None else "",
            who=who[:140],
            verb=Verb(verb),
            thing=thing[:120],
            before=before,
            after=after,
            detail=detail,
        )

    @classmethod
    def write(cls, sitting: Sitting | None, who: str, verb: Verb, *words: str, **more: Any) -> JournalLine:
        """Add a line; call it inside the verb's own transaction. Without a sitting: about the studio or an account."""
        line = cls.line(sitting, who, verb, *words, **more)
        line.save()
        return line


_add_line = CompiledInsert(JournalLine)


class Leaving(models.Model):
    """A sitting whose lines may go from the journal, while it is removed for good.

    No transaction can leave one behind: the key points at a row that cannot be, and is asked at the end.
    """

    sitting = models.PositiveBigIntegerField()  # its number
    never = models.ForeignKey("self", models.DO_NOTHING, default=-1, editable=False, related_name="+")

    class Meta:
        verbose_name = _("sitting whose journal is leaving")
        verbose_name_plural = _("sittings whose journal is leaving")
        constraints = [
            models.CheckConstraint(condition=models.Q(id__gt=0, never=-1), name="leaving_within_one_transaction")
        ]

    def __str__(self) -> str:
        return str(self.sitting)
