"""The sheet as data: frames with a proof by look, the marks of everybody, and what the scripts need of both."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cache
from math import log
from typing import Any

from django.db.models import F
from django.urls import reverse
from django.utils import timezone

from galleries.access import Visitor, frames_shown_to, looks_shown_to
from galleries.imaging.face.places import eyes_place
from galleries.models import Frame, Invite, Look, Mark, Proof, Sitting
from galleries.sorting import sides
from galleries.steps.picking import pick

CELLS = ((2, 3), (3, 4), (4, 5), (1, 1), (5, 4), (4, 3), (3, 2))  # width to height: what cameras give, and crops of it


@cache
def _address(kind: str) -> str:
    """A proof's address with holes for the frame's key and the proof's: asked for once, not two thousand times."""
    first, second = 10**9 + 7, 10**9 + 9
    return reverse("proof-picture", args=[first, kind, second]).replace(str(first), "{}").replace(str(second), "{}")


@dataclass
class Shown:
    """One frame on the sheet. Sizes are of the large proof; eyes are fractions of it, None when not known."""

    frame: Frame
    proof: Proof
    look: int | None
    mine: Mark | None = None
    theirs: list[tuple[Invite, str]] = field(default_factory=list)
    eyes: tuple[float, float, float] | None = None  # the middle between them, and how far apart, of the width
    alike: int = 0
    suggested: bool = False  # by the studio, where the sitting lets people read it

    @property
    def small(self) -> str:
        return _address("small").format(self.frame.pk, self.proof.pk)

    @property
    def large(self) -> str:
        return _address("large").format(self.frame.pk, self.proof.pk)

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
        return mine | other_sides(my_side, self.theirs)


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
        wide = sum(shown.proof.small_width > shown.proof.small_height for shown in self.frames)
        return "lying" if wide * 2 > len(self.frames) else "upright"

    @property
    def cell(self) -> str:
        """The shape of the cells, as its class: the one of `CELLS` that most frames of the strip come nearest to, so
        that they fill their cells without a bar beside them."""
        sizes = Counter((shown.proof.small_width, shown.proof.small_height) for shown in self.frames)
        nearest: Counter[tuple[int, int]] = Counter()
        for (width, height), many in sizes.items():
            nearest[min(CELLS, key=lambda wh: abs(log(wh[0] / wh[1] * height / width)))] += many
        width, height = nearest.most_common(1)[0][0] if nearest else CELLS[0]
        return f"cell-{width}x{height}"

    @property
    def picked(self) -> int:
        return sum(shown.kind == Mark.Kind.PICK for shown in self.frames)


def strips(visitor: Visitor, sitting: Sitting) -> tuple[list[Strip], int]:
    """The sheet as this person may see it, and how many proofs are still being made."""
    looks = list(looks_shown_to(visitor, sitting))
    number = {look.pk: n for n, look in enumerate(looks, 1)}
    frames = list(
        frames_shown_to(visitor, sitting)
        .unhidden()
        .defer("reading", "captured_at", "added_at")  # dates of a thousand rows are read slowly, and nobody shows them
        .annotate(
            right_eye=F("reading__face__right_eye"),
            left_eye=F("reading__face__left_eye"),
            read_width=F("reading__width"),
            read_height=F("reading__height"),
        )
        .order_by("captured_at", "name", "pk")
    )
    proofs = Proof.objects.filter(frame__sitting=sitting).defer("made_at").newest()
    mine, theirs = marks_of(visitor, sitting)
    runs: dict[int, int] = defaultdict(int)
    for frame in frames:
        if frame.run is not None:
            runs[frame.run] += 1
    by_look: dict[int | None, list[Shown]] = defaultdict(list)
    for frame in frames:
        proof = proofs.get(frame.pk)
        if proof is not None:
            place = number.get(frame.look_id) if frame.look_id else None
            alike = runs[frame.run] if frame.run is not None else 0
            by_look[frame.look_id if place else None].append(
                Shown(
                    frame,
                    proof,
                    place,
                    mine.get(frame.pk),
                    theirs.get(frame.pk, []),
                    _eyes(frame),
                    alike,
                    frame.suggested and sitting.suggestions_shown,
                )
            )
    filled = [Strip(look, number[look.pk], by_look[look.pk]) for look in looks if by_look[look.pk]]
    if by_look[None]:
        filled.append(Strip(None, None, by_look[None]))
    return filled, sum(frame.pk not in proofs for frame in frames)


def _eyes(frame: Any) -> tuple[float, float, float] | None:
    """The middle between the pupils in fractions of the picture, and how far apart they are, of its width."""
    eyes = eyes_place(frame.right_eye, frame.left_eye, frame.read_width, frame.read_height)
    return (eyes.x, eyes.y, eyes.gap) if eyes else None


def marks_of(visitor: Visitor, sitting: Sitting) -> tuple[dict[int, Mark], dict[int, list[tuple[Invite, str]]]]:
    """A person's own marks, and what everybody else marked, by frame id."""
    me = visitor.invite.voice.pk if visitor.invite else None
    mine: dict[int, Mark] = {}
    theirs: dict[int, list[tuple[Invite, str]]] = defaultdict(list)
    rows = Mark.objects.filter(frame__sitting=sitting).of_sides().select_related("invite")
    for mark in rows.order_by("invite__role", "invite_id"):
        if mark.invite_id == me:
            mine[mark.frame_id] = mark
        elif mark.kind:
            theirs[mark.frame_id].append((mark.invite, mark.kind))
    return mine, theirs


def state(visitor: Visitor, sitting: Sitting, *, with_frames: bool = True) -> dict[str, Any]:
    """All that can change while the sheet is open, for a script: small enough to send whole."""
    mine, theirs = marks_of(visitor, sitting)
    visible = frames_shown_to(visitor, sitting).unhidden()
    shown = set(visible.values_list("pk", flat=True))
    people = {invite.pk: invite for pk, row in theirs.items() if pk in shown for invite, _kind in row}
    count = pick.count(visitor, sitting)
    body: dict[str, Any] = {
        "change": sitting.change,
        "stage": sitting.stage,
        "now": timezone.now().isoformat(),
        "allowance": count.allowance,
        "mine": {pk: _own(mark) for pk, mark in mine.items() if pk in shown},
        "theirs": {pk: [[invite.pk, kind] for invite, kind in row] for pk, row in theirs.items() if pk in shown},
        "sides": _sides(visitor, theirs, shown),
        "people": {pk: [invite.role, invite.name] for pk, invite in people.items()},
    }
    if with_frames:
        body["frames"] = list(visible.filter(proofs__isnull=False).distinct().values_list("pk", flat=True))
    return body


def _own(mark: Mark) -> list[Any]:
    return [mark.kind, mark.revision, mark.note, mark.note_for_studio]


def _sides(visitor: Visitor, theirs: dict[int, list[tuple[Invite, str]]], shown: set[int]) -> dict[int, dict[str, str]]:
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
