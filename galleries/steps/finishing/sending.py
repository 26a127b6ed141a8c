"""Check, then send: the photographer looks at the retouches that came in, then sends them out with one letter."""

from __future__ import annotations

from collections.abc import Collection

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from galleries import stages
from galleries.access import Act, Visitor, require
from galleries.errors import BadInput, Conflict
from galleries.models import Final, Sitting, Verb, Version
from galleries.steps.people import letters
from galleries.steps.people.asked import approvers

Stage, S = Sitting.Stage, Final.State


def waiting(sitting: Sitting) -> list[Version]:
    """The newest version of each final on the list, where the photographer has not sent it out yet."""
    versions = Version.objects.waiting().filter(final__sitting=sitting).select_related("final__frame", "invite")
    return list(versions.order_by("final__position", "final"))


def send(sitting: Sitting, version_ids: Collection[int], by: Visitor, *, setting_aside: Collection[int] = ()) -> int:
    """Let these versions out to be approved, with one letter that names them; returns how many.

    `setting_aside` names the versions among them that the photographer sends although their final is approved (or
    to be delivered as taken) already: that word falls with it.

    Raises:
        Refused: not this person's to do.
        BadInput: none named, one that is not waiting, or one whose stamped picture is still being made.
        Conflict: one would set an approval aside that is not in `setting_aside`.
    """
    require(by, Act.RUN, sitting, _("Retouched files are the photographer's to send."))
    there = {version.pk: version for version in waiting(sitting)}
    chosen = [there[pk] for pk in dict.fromkeys(version_ids) if pk in there]
    if not chosen or len(chosen) != len(set(version_ids)):
        raise BadInput(_("Choose among the retouches that wait to be sent. Load the page again."))
    for version in chosen:
        if not version.proof_key:
            raise BadInput(_("The proof of %s is still being made; look at it first.") % version.final.frame.label)
    with transaction.atomic():
        for version in chosen:
            _let_out(version, by, sure=version.pk in setting_aside)
        sitting.refresh_from_db()
        letters.notify(sitting, "retouch", approvers(sitting), about=f"sent-{max(one.pk for one in chosen)}")
    return len(chosen)


def _let_out(version: Version, by: Visitor, *, sure: bool) -> None:
    final = Final.objects.select_for_update(of=("self",)).select_related("sitting", "frame").get(pk=version.final_id)
    if final.is_ready and not sure:
        raise Conflict(
            _("%(frame)s is %(state)s; sending version %(n)d takes that back. Say that you mean it.")
            % {"frame": final.frame.label, "state": final.get_state_display(), "n": version.number}
        )
    if not Version.objects.unsent().filter(pk=version.pk).update(sent_at=timezone.now()):
        raise Conflict(_("Somebody sent this retouch at the same moment. Load the page again."))
    if final.sitting.stage == Stage.DELIVERED:
        stages.advance(final.sitting, Stage.FINISHING, by, verb=Verb.FINISHING_AGAIN)
    stages.move_final(final, S.SHOWN, by, verb=Verb.VERSION_SENT, version=version.number, sha256=version.sha256)
