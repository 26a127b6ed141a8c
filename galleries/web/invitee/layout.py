"""The sheet without anybody's marks: looks and frames laid out as those see them who may see as much of a sitting.

Which rows those are is asked of the database at each request, and what was made of them is kept beside them: as long as
the rows are the same, value by value, so is what is made of them. Whatever was hidden, kept back, moved, stamped or
read anew since comes as other rows.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple
from uuid import UUID

from django.utils.safestring import SafeString

from galleries.access import Visitor, sheet_invite
from galleries.models import Look, Sitting
from galleries.web.invitee import sheet_rows
from galleries.web.invitee.sheet_rows import OF_LOOK, SheetFrame, SheetProof
from galleries.web.invitee.shown import Film, Shown, script_frames
from galleries.web.json_blocks import block

MOST_FRAMES = 12_000  # of all layouts kept in one process; a frame takes 1.3 kB


class MadeOf(NamedTuple):
    """All that a layout hangs on, but for what a file's reading says of it, which stays as it is."""

    looks: list[tuple[Any, ...]]
    frames: list[tuple[Any, ...]]
    proofs: list[tuple[Any, ...]]
    suggestions_shown: bool


@dataclass(frozen=True)
class Layout:
    """The same for whoever sees the same rows. `pending`: proofs still being made; `keeps`: is any frame or look of it
    kept from the representation?"""

    films: list[Film]
    look_of: dict[int, int | None]  # of every frame, one without a proof too
    pending: int
    keeps: bool
    is_read: bool  # is every frame? One that is not may have eyes at the next request

    @cached_property
    def block(self) -> SafeString:
        """The frames for the scripts."""
        return block("frames", script_frames(one for film in self.films for one in film.frames))


_kept: dict[tuple[UUID, bool], tuple[MadeOf, Layout]] = {}  # by sitting, and whether it is its subject's


def layout_of(visitor: Visitor, sitting: Sitting) -> Layout:
    """The looks and frames that this person may see now."""
    invite = sheet_invite(visitor, sitting)
    made_of = MadeOf(
        sheet_rows.looks(visitor, sitting),
        sheet_rows.frame_rows(visitor, sitting),
        sheet_rows.proof_rows(sitting),
        sitting.suggestions_shown,
    )
    if invite is None:
        return _laid_out(sitting, made_of)
    place = (sitting.uid, invite.is_subject)
    kept = _kept.get(place)
    if kept is not None and kept[0] == made_of:
        return kept[1]
    layout = _laid_out(sitting, made_of)
    if layout.is_read:
        _keep(place, made_of, layout)
    return layout


def _keep(place: tuple[UUID, bool], made_of: MadeOf, layout: Layout) -> None:
    _kept.pop(place, None)
    if len(made_of.frames) > MOST_FRAMES:
        return
    if len(made_of.frames) + sum(len(other.frames) for other, _layout in _kept.values()) > MOST_FRAMES:
        _kept.clear()
    _kept[place] = made_of, layout


def _laid_out(sitting: Sitting, made_of: MadeOf) -> Layout:
    looks = [Look(**dict(zip(OF_LOOK, row, strict=True))) for row in made_of.looks]
    number = {look.pk: n for n, look in enumerate(looks, 1)}
    proofs = {row[0]: SheetProof._make(row[1:]) for row in made_of.proofs}  # a frame's newest comes last
    frames = [SheetFrame._make(row) for row in made_of.frames]
    eyes = sheet_rows.eyes_of(sitting, frames)
    runs = Counter(frame.run for frame in frames)
    by_look: dict[int | None, list[Shown]] = defaultdict(list)
    for frame in frames:
        proof = proofs.get(frame.pk)
        if proof is not None:
            place = number.get(frame.look_id) if frame.look_id else None
            by_look[frame.look_id if place else None].append(
                Shown(
                    frame,
                    proof,
                    place,
                    eyes=eyes[frame.pk],
                    alike=runs[frame.run] if frame.run is not None else 0,
                    suggested=frame.suggested and made_of.suggestions_shown,
                )
            )
    films = [Film.of(look, number[look.pk], by_look[look.pk]) for look in looks if by_look[look.pk]]
    if by_look[None]:
        films.append(Film.of(None, None, by_look[None]))
    return Layout(
        films,
        {frame.pk: frame.look_id for frame in frames},
        sum(frame.pk not in proofs for frame in frames),
        any(frame.kept_by_subject for frame in frames) or any(look.kept_from_representation for look in looks),
        all(frame.reading_version for frame in frames),
    )
