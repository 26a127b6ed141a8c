"""What the day's page proposes and shows: the cards' frames in strips, each with its sitter or why it has none yet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from galleries.access import Act, Visitor, require
from galleries.models import Day, DayFrame, Frame, Sitter
from galleries.sorting.strips import Shot, Strip, goes_back, strips
from galleries.steps.days import placing


@dataclass(frozen=True)
class Arrangement:
    """`unsorted`: strips of frames that are to lie in no sitter's sitting yet, in the order of the cards;
    `set_clocks`: cameras whose clock contradicts their numbers. `pending`: frames nobody has looked at."""

    unsorted: list[Strip]
    frames: dict[int, Frame]
    set_clocks: list[str]
    pending: int

    @property
    def sure(self) -> int:
        """Frames that may go without another look, slates not counted."""
        return sum(len(strip.frames) for strip in self.unsorted if strip.is_sure)


def arrangement(day: Day, by: Visitor, sitters: Sequence[Sitter]) -> Arrangement:
    """The cards as they lie, proposed by slates alone. All frames of a camera count for its strips, also those that
    were put into sittings already; what is left to sort is told.

    Raises:
        Refused: not this person's to do.
    """
    require(by, Act.RUN, day.holding, "")
    frames = {frame.pk: frame for frame in placing.frames_of(day)}
    shots = [_shot(frame) for frame in frames.values()]
    left = {pk for pk, frame in frames.items() if placing.wanted(frame) == day.holding_id}
    proposed = strips(shots, {sitter.code: sitter.sitting_id for sitter in sitters})
    unsorted = []
    for strip in proposed:
        strip.frames = [pk for pk in strip.frames if pk in left]
        if strip.frames or strip.slate in left:
            unsorted.append(strip)
    cameras = {shot.camera for shot in shots}
    by_camera = {camera: [shot for shot in shots if shot.camera == camera] for camera in sorted(cameras)}
    return Arrangement(
        unsorted,
        frames,
        [camera for camera, those in by_camera.items() if goes_back(those)],
        sum(shot.pending for shot in shots),
    )


def _shot(frame: Frame) -> Shot:
    kept: DayFrame = frame.of_day
    return Shot(
        frame.pk,
        frame.camera,
        frame.captured_at,
        frame.number,
        kept.code if kept.sight == DayFrame.Sight.READ else "",
        kept.sight == DayFrame.Sight.UNREAD,
        not kept.sight,
    )


def places_of(strip: Strip, sitting_id: int) -> dict[int, int]:
    """Frames of a strip, its slate included, to one sitting."""
    return dict.fromkeys([*([strip.slate] if strip.slate else []), *strip.frames], sitting_id)
