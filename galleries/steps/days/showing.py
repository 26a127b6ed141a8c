"""The sittings of a day are shown together, each to its own people; who has marked, closed and fetched; reminders."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.db import transaction
from django.db.models import Count
from django.utils import timezone
from django.utils.translation import gettext as _

from galleries import stages
from galleries.access import Act, Visitor, require
from galleries.errors import Conflict
from galleries.models import Day, Invite, JournalLine, Mark, Receipt, Sitter, Sitting, Verb
from galleries.models.people import InviteSet
from galleries.models.sittings import PICKING
from galleries.steps.agreeing import agree
from galleries.steps.days import placing, planning
from galleries.steps.people import invite as invites
from galleries.steps.people import letters

CLOSED = frozenset({Sitting.Stage.FINISHING, Sitting.Stage.DELIVERED, Sitting.Stage.ARCHIVED})


@dataclass(frozen=True)
class Progress:
    """One sitter of a day: frames on the sheet, and how far their people are. `marked`: frames that anybody picked or
    noted; `lacks`: why the sitting is not shown yet ('' when it can be, or is); `waits`: is somebody of it to be
    reminded who was not today?"""

    sitter: Sitter
    frames: int
    marked: int
    through: bool
    fetched: int
    lacks: str
    waits: bool

    @property
    def is_shown(self) -> bool:
        return self.sitter.sitting.stage != Sitting.Stage.PLANNING

    @property
    def is_closed(self) -> bool:
        return self.sitter.sitting.stage in CLOSED


def progress(day: Day, by: Visitor) -> list[Progress]:
    """How far each sitter of the day is whose sitting this person runs; the questions are the same for any number.

    Raises:
        Refused: not this person's to do.
    """
    require(by, Act.RUN, day.holding, "")
    sitters = planning.sitters_for(by, day)
    ids = [sitter.sitting_id for sitter in sitters]
    shown = dict(_unhidden(ids))
    marks = Mark.objects.filter(frame__sitting__in=ids).exclude(kind="", note="").order_by()
    marked = dict(marks.values_list("frame__sitting").annotate(n=Count("frame", distinct=True)))
    fetched = dict(
        Receipt.objects.filter(delivery__sitting__in=ids)
        .order_by()
        .values_list("delivery__sitting")
        .annotate(n=Count("pk"))
    )
    sides = Invite.objects.holding().filter(sitting__in=ids)
    invited = set(sides.sides().values_list("sitting", flat=True))
    marking = set(sides.still_marking().values_list("sitting", flat=True))
    unheard = set(_not_reminded(sides.still_marking()).values_list("sitting", flat=True))
    way = placing.waits_for_frames(day)
    with_subject = set(
        Invite.objects.filter(sitting__in=ids, role=Invite.Role.SUBJECT).values_list("sitting", flat=True)
    )
    return [
        Progress(
            sitter,
            shown.get(sitter.sitting_id, 0),
            marked.get(sitter.sitting_id, 0),
            sitter.sitting_id in invited and sitter.sitting_id not in marking,
            fetched.get(sitter.sitting_id, 0),
            _lacks(
                sitter,
                shown.get(sitter.sitting_id, 0),
                on_their_way=sitter.sitting_id in way,
                has_address=bool(sitter.email) or sitter.sitting_id in with_subject,
            ),
            sitter.sitting.stage in PICKING and sitter.sitting_id in unheard,
        )
        for sitter in sitters
    ]


def _about() -> str:
    """What a reminder of today is about: one a day for each person."""
    return f"day-{timezone.localdate().isoformat()}"


def _not_reminded(people: InviteSet) -> InviteSet:
    return people.exclude(letters__kind="reminder", letters__about=_about())


def _unhidden(ids: Sequence[int]) -> list[tuple[int, int]]:
    rows = Sitting.objects.filter(pk__in=ids, frames__hidden=False).order_by()
    return list(rows.values_list("pk").annotate(n=Count("frames")))


def _lacks(sitter: Sitter, frames: int, *, on_their_way: bool, has_address: bool) -> str:
    if sitter.sitting.stage != Sitting.Stage.PLANNING:
        return ""
    if on_their_way:
        return _("frames are on their way")
    if not frames:
        return _("no frames yet")
    if sitter.sitting.lacks_consent:
        return _("a minor: record the consent of a parent or guardian first")
    if not has_address:
        return _("no e-mail address: invite this person in their sitting")
    return ""


def show_all(day: Day, by: Visitor) -> list[Sitter]:
    """Show the proofs of every sitting of the day that lacks nothing, and invite its sitter and agent by letter. All or
    none; returns whose were shown.

    Raises:
        Refused: not this person's to do.
        Conflict: frames are on their way into their sittings, or no sitting is ready.
    """
    require(by, Act.RUN, day.holding, _("Only the photographer shows the proofs."))
    with transaction.atomic():
        stages.touch(day.holding)  # nobody moves frames meanwhile
        if placing.on_their_way(day):
            raise Conflict(_("Frames are on their way into their sittings. Wait until all are there."))
        ready = [one.sitter for one in progress(day, by) if not one.is_shown and not one.lacks]
        if not ready:
            raise Conflict(_("No sitting of this day is ready to be shown."))
        for sitter in ready:
            agree.publish(sitter.sitting, by, by_letter=True)  # to whoever was invited before
            _invite(sitter, by)
    return ready


def _invite(sitter: Sitter, by: Visitor) -> None:
    sitting, here = sitter.sitting, set(sitter.sitting.invites.unrevoked().values_list("role", "email"))
    people = [
        (Invite.Role.SUBJECT, sitting.subject_name, sitter.email),
        (Invite.Role.REPRESENTATION, sitter.agent_name, sitter.agent_email),
    ]
    for role, name, email in people:
        if email and (role, email) not in here:
            invites.invite(sitting, role, name, email, by, language=sitter.language, by_letter=True)


def remind(day: Day, by: Visitor) -> int:
    """A reminder to everybody of the day who has not said that they are through, one a day at most; returns how many.

    Raises:
        Refused: not this person's to do.
        Conflict: there is nobody to remind, or all were reminded today.
    """
    require(by, Act.RUN, day.holding, _("Reminders are the photographer's to send."))
    listed = 0
    with transaction.atomic():
        for one in progress(day, by):
            if not one.waits:
                continue
            sitting = one.sitter.sitting
            fresh = _not_reminded(sitting.invites.still_marking())
            listed += len(letters.notify(sitting, "reminder", fresh, about=_about()))
        if not listed:
            raise Conflict(_("There is nobody to remind today."))
        JournalLine.write(day.holding, by.who, Verb.DAY_REMINDED, day.name, letters=listed)
    return listed
