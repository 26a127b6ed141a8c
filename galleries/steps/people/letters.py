"""Letters listed: each once per person and occasion, inside the verb that they belong to. `posting` sends them."""

from __future__ import annotations

from collections.abc import Iterable

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from galleries.access import Act, Visitor, require
from galleries.models import Invite, JournalLine, Letter, Sitting, Verb
from galleries.steps import jobs

# Each has templates/galleries/letters/<kind>.txt: the first line is the subject.
KIND_WORDS = {
    "invitation": gettext_lazy("invitation"),
    "plan": gettext_lazy("the plan was changed"),
    "proofs": gettext_lazy("the proofs are there"),
    "reminder": gettext_lazy("reminder of the picks"),
    "closed": gettext_lazy("the list is closed"),
    "objected": gettext_lazy("the subject objected to the list"),
    "retouch": gettext_lazy("a retouch to look at"),
    "returned": gettext_lazy("a retouch was sent back"),
    "delivery": gettext_lazy("the delivery is there"),
    "through": gettext_lazy("somebody is through with the marks"),
    "usage": gettext_lazy("a further use was asked for"),
    "desk": gettext_lazy("sign-in link"),
    "passed": gettext_lazy("an invite was passed on"),
    "answer": gettext_lazy("reminder of a retouch"),
    "again": gettext_lazy("the link once more"),
    "ended": gettext_lazy("the invite has ended"),
    "asked": gettext_lazy("somebody asks for a link"),
    "work": gettext_lazy("finals to be retouched"),
    "paused": gettext_lazy("the retouch waits: the list is open again"),
    "rework": gettext_lazy("a version was sent back to the retoucher"),
    "work_due": gettext_lazy("reminder of the retouch"),
    "retouched": gettext_lazy("versions came from the retoucher"),
    "removal": gettext_lazy("a sitting is removed soon"),
    "own": gettext_lazy("copy of everything kept"),
}
KINDS = frozenset(KIND_WORDS)


def notify(sitting: Sitting, kind: str, people: Iterable[Invite], about: str = "") -> list[Letter]:
    """List a letter for each of these people, once per kind and `about`; the worker sends it."""
    told = (person for person in people if person.holds() or kind == "ended")
    return [_list(sitting, kind, person.email, person, about) for person in told]


def notify_photographer(sitting: Sitting, kind: str, about: str = "") -> Letter | None:
    """As `notify`, to the photographer; None when they have no address."""
    to = sitting.photographer.email
    return _list(sitting, kind, to, None, about) if to else None


def _list(sitting: Sitting, kind: str, to: str, person: Invite | None, about: str) -> Letter:
    if kind not in KINDS:
        raise ValueError(f"no letter of kind {kind!r}")
    with transaction.atomic():
        letter, _new = Letter.objects.get_or_create(
            sitting=sitting, kind=kind, about=about, to=to, defaults={"invite": person}
        )
        if letter.sent_at is None:
            jobs.enqueue("letter", letter.pk, sitting, again=True)
    return letter


def invite_by_letter(person: Invite, by: Visitor) -> Letter:
    """Send an invitation (again: a fresh link in a new letter)."""
    require(by, Act.RUN, person, _("Invitations are the photographer's to send."))
    return list_invitation(person, by.who)


def list_invitation(person: Invite, who: str) -> Letter:
    """As part of the verb that lets the person in."""
    about = f"{person.pk}-{person.letters.filter(kind='invitation').count() + 1}"
    with transaction.atomic():
        JournalLine.write(person.sitting, who, Verb.LETTER, f"invitation to {person.name}")
        return _list(person.sitting, "invitation", person.email, person, about)
