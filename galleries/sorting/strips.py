"""The frames of a day's cards in strips: what each camera took from one slate to the next, in the order of its clock.

A strip is sure when its slate was read and nothing speaks against it. Whatever else is only shown, with the reason:
no frame is given to anybody because of what somebody usually does. Faces are never compared.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from itertools import pairwise

BEGIN_ANEW = 9000  # above it a smaller number may follow: cameras count to 9999


class Doubt(StrEnum):
    """Why a strip is nobody's yet."""

    NO_SLATE = "no_slate"  # before it, on a camera that took slates
    UNREAD = "unread"  # its slate could not be read
    UNKNOWN = "unknown"  # its slate is of none of the day's sitters
    OTHER_CAMERA = "other_camera"  # its camera took no slate at all
    AFTERWARDS = "afterwards"  # the camera's first frames have no slate and its last slate no frames
    NO_TIME = "no_time"  # its frames tell no moment
    NOT_READ = "not_read"  # not all frames of the camera have been looked at


@dataclass(frozen=True)
class Shot:
    """One frame: `code` of the slate it shows ('' for none), `unread` for one that could not be read, `pending` while
    nobody has looked."""

    pk: int
    camera: str
    at: datetime | None
    number: int | None = None
    code: str = ""
    unread: bool = False
    pending: bool = False

    @property
    def is_slate(self) -> bool:
        return bool(self.code) or self.unread


@dataclass
class Strip:
    """Frames in order after `slate` (a frame's number, None for none). `sitter` is whose they are, or, in doubt, whose
    they may be by the other camera's clock; None when nothing speaks for anybody. `again`: the sitter came back."""

    camera: str
    slate: int | None = None
    code: str = ""
    sitter: int | None = None
    doubt: Doubt | None = None
    again: bool = False
    frames: list[int] = field(default_factory=list)

    @property
    def is_sure(self) -> bool:
        return self.doubt is None and self.sitter is not None


def strips(shots: Iterable[Shot], sitters: dict[str, int]) -> list[Strip]:
    """The shots of all cameras as strips, camera by camera; `sitters`: code → sitter. Every shot is in one strip, as
    its slate or among its frames."""
    cameras: dict[str, list[Shot]] = {}
    timeless: list[Shot] = []
    for shot in shots:
        (cameras.setdefault(shot.camera, []) if shot.at is not None else timeless).append(shot)
    ordered = {camera: sorted(those, key=_moment) for camera, those in sorted(cameras.items())}
    with_slates = [shot for those in ordered.values() for shot in those if shot.code in sitters]
    rows: list[Strip] = []
    for camera, those in ordered.items():
        if any(shot.is_slate for shot in those):
            rows += _by_slates(camera, those, sitters)
        elif with_slates:
            rows += _by_the_clock(camera, those, with_slates, sitters)
        else:
            rows.append(Strip(camera, doubt=Doubt.NO_SLATE, frames=[shot.pk for shot in those]))
    for shot in timeless:
        if shot.is_slate:
            rows.append(Strip(shot.camera, shot.pk, shot.code, sitters.get(shot.code), Doubt.NO_TIME))
    loose = [shot.pk for shot in timeless if not shot.is_slate]
    return rows + ([Strip(timeless[0].camera, doubt=Doubt.NO_TIME, frames=loose)] if loose else [])


def _moment(shot: Shot) -> tuple[datetime, int, int]:
    assert shot.at is not None  # noqa: S101 - those without are set apart before  # nosec B101
    return shot.at, shot.number if shot.number is not None else -1, shot.pk


def _by_slates(camera: str, those: Sequence[Shot], sitters: dict[str, int]) -> list[Strip]:
    rows = [Strip(camera, doubt=Doubt.NO_SLATE)]
    seen: set[str] = set()
    for shot in those:
        if not shot.is_slate:
            rows[-1].frames.append(shot.pk)
            continue
        doubt = Doubt.UNREAD if shot.unread else None if shot.code in sitters else Doubt.UNKNOWN
        rows.append(
            Strip(
                camera,
                shot.pk,
                shot.code,
                sitters.get(shot.code),
                doubt,
                shot.code in seen and shot.code != rows[-1].code,
            )
        )
        seen |= {shot.code} if shot.code else set()
    if not rows[0].frames:
        del rows[0]
    if any(shot.pending for shot in those):
        _doubt_all(rows, Doubt.NOT_READ)
    elif rows[0].slate is None and not rows[-1].frames:
        _doubt_all(rows, Doubt.AFTERWARDS)
    return rows


def _doubt_all(rows: Sequence[Strip], doubt: Doubt) -> None:
    for row in rows:
        row.doubt = row.doubt or doubt
    if rows[0].slate is None:
        rows[0].doubt = doubt


def _by_the_clock(camera: str, those: Sequence[Shot], slates: Sequence[Shot], sitters: dict[str, int]) -> list[Strip]:
    """A camera without slates, cut where the others' slates were taken: to be looked at, since clocks differ."""
    turns = sorted(slates, key=_moment)
    rows: list[Strip] = []
    for shot in those:
        before = [turn for turn in turns if turn.at is not None and shot.at is not None and turn.at <= shot.at]
        sitter = sitters[before[-1].code] if before else None
        if not rows or rows[-1].sitter != sitter:
            rows.append(Strip(camera, sitter=sitter, doubt=Doubt.OTHER_CAMERA))
        rows[-1].frames.append(shot.pk)
    return rows


def goes_back(shots: Sequence[Shot]) -> bool:
    """Does a camera's clock contradict its own numbers: was it set during the day? Numbers that begin anew after 9999
    do not count."""
    numbered = [shot for shot in shots if shot.at is not None and shot.number is not None]
    numbers = [shot.number or 0 for shot in sorted(numbered, key=_moment)]
    return any(then < first < BEGIN_ANEW for first, then in pairwise(numbers))
