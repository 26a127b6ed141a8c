"""One frame of the sheet, and one look with its frames, as a person is shown them."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from math import log
from typing import Any, NamedTuple

from galleries.models import Invite, Look, Mark
from galleries.sorting import sides
from galleries.web.addresses import proof_picture
from galleries.web.invitee.sheet_rows import Eyes, SheetFrame, SheetProof

CELLS = ((2, 3), (3, 4), (4, 5), (1, 1), (5, 4), (4, 3), (3, 2))  # width to height: what cameras give, and crops of it


class OwnMark(NamedTuple):
    """A person's own mark on one frame."""

    kind: str
    revision: int
    note: str
    note_for_studio: bool


Others = dict[int, list[tuple[Invite, str]]]


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


@dataclass(frozen=True)
class Film:
    """One look with its frames before anybody's marks. `cell` is the class of its cells' shape."""

    look: Look | None
    number: int | None
    frames: Sequence[Shown]
    shape: str
    cell: str

    @cached_property
    def ids(self) -> frozenset[int]:
        return frozenset(one.frame.pk for one in self.frames)

    @classmethod
    def of(cls, look: Look | None, number: int | None, frames: Sequence[Shown]) -> Film:
        sizes = Counter((shown.proof.small_width, shown.proof.small_height) for shown in frames)
        return cls(look, number, frames, _shape(sizes), _cell(sizes))


def _shape(sizes: Counter[tuple[int, int]]) -> str:
    """How most of so many small pictures of each size stand."""
    wide = sum(many for (width, height), many in sizes.items() if width > height)
    return "lying" if wide * 2 > sizes.total() else "upright"


def _cell(sizes: Counter[tuple[int, int]]) -> str:
    """The shape of the cells: the one of `CELLS` that most of the pictures come nearest to, so that they fill their
    cells without a bar beside them."""
    nearest: Counter[tuple[int, int]] = Counter()
    for size, many in sizes.items():
        nearest[_nearest(size)] += many
    width, height = nearest.most_common(1)[0][0] if nearest else CELLS[0]
    return f"cell-{width}x{height}"


@lru_cache(maxsize=1024)
def _nearest(size: tuple[int, int]) -> tuple[int, int]:
    width, height = size
    return min(CELLS, key=lambda wh: abs(log(wh[0] / wh[1] * height / width)))


@dataclass
class Strip:
    """One look with its frames and what was said of them."""

    film: Film
    mine: dict[int, OwnMark]
    theirs: Others

    @property
    def many(self) -> int:
        return len(self.film.frames)

    @property
    def frames(self) -> list[Shown]:
        return self.first(self.many)

    def first(self, many: int) -> list[Shown]:
        """So many of its frames, from the first. One of which nothing was said is everybody's."""
        mine, theirs = self.mine, self.theirs
        return [
            replace(one, mine=mine.get(pk), theirs=theirs.get(pk, []))
            if (pk := one.frame.pk) in mine or pk in theirs
            else one
            for one in self.film.frames[:many]
        ]

    @property
    def picked(self) -> int:
        pick, ids = Mark.Kind.PICK.value, self.film.ids
        return sum(mark.kind == pick and pk in ids for pk, mark in self.mine.items())


def script_frames(frames: Iterable[Shown]) -> list[list[Any]]:
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
        for shown in frames
    ]
