"""The sheet as data: frames with a proof by look, the marks of everybody, and what the scripts need of both."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Container, Iterable
from dataclasses import dataclass, field
from math import log
from typing import Any, NamedTuple

from django.utils import timezone

from galleries.access import Visitor, frames_shown_to, looks_shown_to
from galleries.models import Invite, Look, Mark, Sitting
from galleries.sorting import sides
from galleries.steps.agreeing import extras
from galleries.steps.agreeing.extras import Quote
from galleries.steps.picking import pick
from galleries.web.addresses import proof_picture
from galleries.web.invitee import sheet_rows
from galleries.web.invitee.sheet_rows import Eyes, SheetFrame, SheetProof
from galleries.words import money

CELLS = ((2, 3), (3, 4), (4, 5), (1, 1), (5, 4), (4, 3), (3, 2))  # width to height: what cameras give, and crops of it


class OwnMark(NamedTuple):
    """A person's own mark on one frame."""

    kind: str
    revision: int
    note: str
    note_for_studio: bool


Others = dict[int, list[tuple[Invite, str]]]


class Marks(NamedTuple):
    """A person's own marks and the others', by frame, and the sitting's change that they are of."""

    mine: dict[int, OwnMark]
    theirs: Others
    change: int


class Known(NamedTuple):
    """What is asked of the database once, for the sheet and for what its scripts are told."""

    look_of: dict[int, int | None]  # of every frame that this person may see
    mine: dict[int, OwnMark]
    theirs: Others

    def counted(self, sitting: Sitting) -> pick.Count:
        rows = [(mark.kind, self.look_of[pk]) for pk, mark in self.mine.items() if pk in self.look_of]
        return pick.counted(sitting.allowance, rows)


@dataclass(slots=True)
class Shown:
    """One frame on the sheet. Sizes are of the large proof; eyes are fractions of it, None when not known."""

    frame: SheetFrame
    proof: SheetProof
    look: int | None
    mine: OwnMark | None = None
    theirs: list[tuple[Invite, str]] = field(default_factory=list)
    eyes: Eyes | None = None
    alike: int = 0
    suggested: bool = False  # by the studio, where the sitting lets people read it

    @property
    def small(self) -> str:
        return proof_picture(self.frame.pk, "small", self.proof.pk)

    @property
    def large(self) -> str:
        return proof_picture(self.frame.pk, "large", self.proof.pk)

    @property
    def finer(self) -> float:
        """How many pixels of the camera stand in a row for one of the proof."""
        large = max(self.proof.large_width, self.proof.large_height)
        return round(max(self.frame.width, self.frame.height) / large, 3) if large else 1.0

    @property
    def kind(self) -> str:
        return self.mine.kind if self.mine else ""

    def drawn(self, my_side: str | None) -> dict[str, str]:
        """What is drawn over the picture: role -> kind. On one's own side it is one's own mark, which the buttons
        answer for; on another it is what that side says. Every single mark is said in words."""
        mine = {my_side: self.kind} if self.kind and my_side else {}
        return mine | other_sides(my_side, self.theirs) if self.theirs else mine


def other_sides(my_side: str | None, theirs: Iterable[tuple[Invite, str]]) -> dict[str, str]:
    """role -> what that side says of one frame, of all sides but one's own."""
    by_role: dict[str, list[str]] = defaultdict(list)
    for invite, kind in theirs:
        if invite.role != my_side:
            by_role[invite.role].append(kind)
    return {role: sides.says(kinds) for role, kinds in by_role.items()}


@dataclass
class Strip:
    """One look with its frames."""

    look: Look | None
    number: int | None
    frames: list[Shown]

    @property
    def shape(self) -> str:
        """How most frames of the strip stand."""
        wide = sum(many for (width, height), many in self.sizes.items() if width > height)
        return "lying" if wide * 2 > len(self.frames) else "upright"

    @property
    def sizes(self) -> Counter[tuple[int, int]]:
        """How many of the small pictures have each size."""
        return Counter((shown.proof.small_width, shown.proof.small_height) for shown in self.frames)

    @property
    def cell(self) -> str:
        """The shape of the cells, as its class: the one of `CELLS` that most frames of the strip come nearest to, so
        that they fill their cells without a bar beside them."""
        nearest: Counter[tuple[int, int]] = Counter()
        for (width, height), many in self.sizes.items():
            nearest[min(CELLS, key=lambda wh: abs(log(wh[0] / wh[1] * height / width)))] += many
        width, height = nearest.most_common(1)[0][0] if nearest else CELLS[0]
        return f"cell-{width}x{height}"

    @property
    def picked(self) -> int:
        return sum(shown.kind == Mark.Kind.PICK for shown in self.frames)


class Sheet(NamedTuple):
    """The sheet as one person may see it, how many proofs are still being made, what it was made from, and whether any
    frame or look of it is kept from the representation."""

    strips: list[Strip]
    pending: int
    known: Known
    keeps: bool


def sheet_of(visitor: Visitor, sitting: Sitting, marks: Marks | None = None) -> Sheet:
    """`marks`: what is known of them already."""
    looks = list(looks_shown_to(visitor, sitting))
    number = {look.pk: n for n, look in enumerate(looks, 1)}
    frames = sheet_rows.frames(visitor, sitting)
    proofs, eyes = sheet_rows.proofs_of(sitting), sheet_rows.eyes_of(sitting, frames)
    mine, theirs = (marks.mine, marks.theirs) if marks is not None else marks_of(visitor, sitting)
    runs = Counter(frame.run for frame in frames)
    by_look: dict[int | None, list[Shown]] = defaultdict(list)
    nobody: list[tuple[Invite, str]] = []
    for frame in frames:
        proof = proofs.get(frame.pk)
        if proof is not None:
            place = number.get(frame.look_id) if frame.look_id else None
            by_look[frame.look_id if place else None].append(
                Shown(
                    frame,
                    proof,
                    place,
                    mine.get(frame.pk),
                    theirs.get(frame.pk, nobody),
                    eyes[frame.pk],
                    runs[frame.run] if frame.run is not None else 0,
                    frame.suggested and sitting.suggestions_shown,
                )
            )
    filled = [Strip(look, number[look.pk], by_look[look.pk]) for look in looks if by_look[look.pk]]
    if by_look[None]:
        filled.append(Strip(None, None, by_look[None]))
    known = Known({frame.pk: frame.look_id for frame in frames}, mine, theirs)
    keeps = any(frame.kept_by_subject for frame in frames) or any(look.kept_from_representation for look in looks)
    return Sheet(filled, sum(frame.pk not in proofs for frame in frames), known, keeps)


def marks_of(visitor: Visitor, sitting: Sitting) -> tuple[dict[int, OwnMark], Others]:
    """A person's own marks, and what everybody else marked, by frame id."""
    me = visitor.invite.voice.pk if visitor.invite else None
    people = {one.pk: (place, one) for place, one in enumerate(sitting.invites.sides().order_by("role", "pk"))}
    mine: dict[int, OwnMark] = {}
    theirs: Others = defaultdict(list)
    rows = Mark.objects.filter(frame__sitting=sitting, invite__in=list(people)).order_by()
    listed = rows.values_list("invite_id", "frame_id", *OwnMark._fields)
    for invite, frame, *row in sorted(listed, key=lambda row: people[row[0]][0]):
        if invite == me:
            mine[frame] = OwnMark._make(row)
        elif row[0]:
            theirs[frame].append((people[invite][1], row[0]))
    return mine, theirs


def known_of(visitor: Visitor, sitting: Sitting) -> Known:
    visible = frames_shown_to(visitor, sitting).unhidden().order_by()
    return Known(dict(visible.values_list("pk", "look_id")), *marks_of(visitor, sitting))


def state(
    visitor: Visitor,
    sitting: Sitting,
    known: Known | None = None,
    quoted: Quote | None = None,
    *,
    others: dict[str, Any] | None = None,
) -> dict[str, Any]:
    """All that can change while the sheet is open, for a script: small enough to send whole. Without what is `known`
    already it is asked for, and the frames are told too. `others`: what all others said, where it is put together
    already."""
    told = known or known_of(visitor, sitting)
    shown = told.look_of
    body: dict[str, Any] = {
        "change": sitting.change,
        "stage": sitting.stage,
        "now": timezone.now().isoformat(),
        "allowance": sitting.allowance,
        "extra": extra_for_scripts(visitor, sitting, quoted),
        "mine": {pk: list(mark) for pk, mark in told.mine.items() if pk in shown},
        **(others if others is not None else others_told(visitor, told.theirs, shown)),
    }
    if known is None:
        visible = frames_shown_to(visitor, sitting).unhidden()
        body["frames"] = list(visible.filter(proofs__isnull=False).distinct().values_list("pk", flat=True))
    return body


def others_told(visitor: Visitor, theirs: Others, shown: Container[int]) -> dict[str, Any]:
    """What the others said of the frames shown: each mark, what each other side says, and who they are."""
    people = {invite.pk: invite for pk, row in theirs.items() if pk in shown for invite, _kind in row}
    return {
        "theirs": {pk: [[invite.pk, kind] for invite, kind in row] for pk, row in theirs.items() if pk in shown},
        "sides": _sides(visitor, theirs, shown),
        "people": {pk: [invite.role, invite.name] for pk, invite in people.items()},
    }


def extra_for_scripts(visitor: Visitor, sitting: Sitting, quoted: Quote | None = None) -> dict[str, Any] | None:
    """What a final beyond the allowance costs, for those who choose; None for everybody else, or where none is said."""
    if visitor.invite is None or not visitor.invite.is_side:
        return None
    price = (quoted or extras.quote(sitting)).price
    return money.for_scripts(price) if price is not None else None


def _sides(visitor: Visitor, theirs: Others, shown: Container[int]) -> dict[int, dict[str, str]]:
    side = visitor.invite.role if visitor.invite else None
    drawn = {pk: other_sides(side, row) for pk, row in theirs.items() if pk in shown}
    return {pk: row for pk, row in drawn.items() if row}


def script_frames(strips: list[Strip]) -> list[list[Any]]:
    """[id, label, look, proof row, width, height, eye x, eye y, run, frames alike, eyes' gap, pixels of the camera to
    one of the proof, 1 where the proof has a middle size, 1 where the studio suggests it], as the large view wants
    them."""
    return [
        [
            shown.frame.pk,
            shown.frame.label,
            shown.look,
            shown.proof.pk,
            shown.proof.large_width,
            shown.proof.large_height,
            *(shown.eyes[:2] if shown.eyes else (None, None)),
            shown.frame.run,
            shown.alike,
            shown.eyes[2] if shown.eyes else None,
            shown.finer,
            int(bool(shown.proof.middle_key)),
            int(shown.suggested),
        ]
        for strip in strips
        for shown in strip.frames
    ]
