"""What pages ask of the readings of a whole sitting, as numbers.

A reading is long (a kilobyte and more of JSON), and what one version of the reader says of one file is always the
same: its numbers are kept in the process, by the file's digest and that version. Which frames there are, and how each
was read, is asked every time; a reading that changed is read anew. Nobody's right to see a frame hangs on anything
here: callers ask `access` for the frames, and this for their numbers.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

import msgspec
from django.db.models import TextField
from django.db.models.functions import Cast

from galleries.imaging.face.places import EyesPlace, eyes_place
from galleries.models import Frame, Sitting
from galleries.models.compiled import Compiled
from galleries.sorting.cast import AB
from galleries.sorting.expression import Numbers, Place, differences, places
from galleries.sorting.frames import FrameNumbers

MOST = 20_000  # readings kept in one process, about a kilobyte each
FEW = 500  # no more are asked for by their keys
UNREAD = Numbers()
Version = tuple[int, str]  # of the reader, 0 where it has not read; SHA-256 of the file


@dataclass(frozen=True, slots=True)
class ReadNumbers:
    """Of one frame; all of it empty where it is not read.

    eyes: what `sorting.eyes` asks, nothing else of it. differences: as `expression.differences`. place: where the
    pupils are. skin: its a* and b*. fine_detail: dB. unknown: why numbers are not known, as stored.
    """

    eyes: FrameNumbers
    is_read: bool = False
    has_face: bool = False
    expression: Numbers = UNREAD
    differences: tuple[float, ...] = ()
    place: EyesPlace | None = None
    skin: AB | None = None
    fine_detail: float | None = None
    unknown: tuple[Any, ...] = ()


NOT_READ = ReadNumbers(FrameNumbers(""))


def numbers_of(read: Mapping[str, Any]) -> ReadNumbers:
    """Of a stored reading; {} for none."""
    if not read:
        return NOT_READ
    face, skin, seen = read.get("face") or {}, read.get("skin_ab"), FrameNumbers.from_reading("", read)
    return ReadNumbers(
        FrameNumbers("", openness=seen.openness, reflex=seen.reflex, sharpness=seen.sharpness, soft=seen.soft),
        is_read=True,
        has_face=bool(face),
        expression=expression_of(face),
        differences=differences(face),
        place=eyes_place(face.get("right_eye"), face.get("left_eye"), read.get("width"), read.get("height")),
        skin=(float(skin[0]), float(skin[1])) if skin else None,
        fine_detail=read.get("fine_detail"),
        unknown=tuple((read.get("unknown") or {}).values()),
    )


def expression_of(face: Mapping[str, Any]) -> Numbers:
    """Of a face as a reading stores it, {} for none; readings of before there were features have none."""
    lids = [openness for side in ("right", "left") if (openness := face.get(f"{side}_openness")) is not None]
    return Numbers(tuple(face.get("features") or ()), min(lids) if lids else None)


@dataclass(frozen=True)
class Readings:
    """Of one sitting, by frame; `places` are the frames' places in its range. None of it is changed afterwards."""

    versions: dict[int, Version] = field(default_factory=dict)
    numbers: dict[int, ReadNumbers] = field(default_factory=dict)
    places: dict[int, Place] = field(default_factory=dict)

    def of(self, frame: int) -> ReadNumbers:
        return self.numbers.get(frame, NOT_READ)


_NONE = Readings()
_kept: dict[UUID, Readings] = {}
_ask_versions = Compiled(
    lambda sitting: Frame.objects.filter(sitting=sitting).order_by().values_list("pk", "reading_version", "sha256")
)


def readings_of(sitting: Sitting) -> Readings:
    """Of every frame of the sitting, as they are now."""
    versions: dict[int, Version] = {pk: (version, digest) for pk, version, digest in _ask_versions(sitting.pk)}
    kept = _kept.get(sitting.uid, _NONE)
    if versions == kept.versions:
        return kept
    numbers = {pk: kept.numbers[pk] for pk, version in versions.items() if kept.versions.get(pk) == version}
    missing = [pk for pk in versions if pk not in numbers]
    for pk, version, read in _read(sitting, missing):
        numbers[pk] = read
        versions[pk] = version  # as it was when this was read
    for pk in missing:
        numbers.setdefault(pk, NOT_READ)
    told = Readings(versions, numbers, places({pk: read.expression for pk, read in numbers.items()}))
    _keep(sitting, told)
    return told


def _keep(sitting: Sitting, told: Readings) -> None:
    """All but what no version stands for."""
    known = {pk: version for pk, version in told.versions.items() if version[0] or not told.numbers[pk].is_read}
    others = sum(len(one.versions) for uid, one in list(_kept.items()) if uid != sitting.uid)
    if others + len(known) > MOST:
        _kept.clear()
    _kept[sitting.uid] = told if len(known) == len(told.versions) else Readings(known, told.numbers)


def _read(sitting: Sitting, frames: list[int]) -> Iterable[tuple[int, Version, ReadNumbers]]:
    """Those of these frames that are read. By a parser that takes a quarter of the time of the framework's."""
    rows = Frame.objects.filter(sitting=sitting).exclude(reading=None)
    if len(frames) <= FEW:
        rows = rows.filter(pk__in=frames)
    wanted = set(frames)
    asked = rows.annotate(text=Cast("reading", TextField())).order_by()
    for pk, version, digest, text in asked.values_list("pk", "reading_version", "sha256", "text"):
        if pk in wanted:
            yield pk, (version, digest), numbers_of(msgspec.json.decode(text))
