"""A sitting with a few painted frames in the store, its list closed: what finishing and delivery start from."""

from __future__ import annotations

import functools
import tempfile
from pathlib import Path

from galleries.imaging.recipes import read_frame
from galleries.models import Final, Frame, JournalLine, Sitting
from galleries.painter import retouch
from galleries.steps import jobs
from galleries.steps.agreeing import agree
from galleries.steps.ingesting import ingest
from tests.cast import Cast
from tests.pictures import camera_file

SHOTS = (0, 1, 12)  # two of one look, one of another, of the painter's plan


def camera_files() -> tuple[tuple[str, bytes], ...]:
    """(name, bytes) of the painted frames."""
    return tuple(camera_file(index) for index in SHOTS)


@functools.cache
def retouched_file(index: int, warmth: float = 0.02) -> bytes:
    return retouch(camera_files()[index][1], warmth=warmth)


def add_file(sitting: Sitting, name: str, data: bytes, by: object) -> ingest.Outcome:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "arrived")
        path.write_bytes(data)
        return ingest.add_frame(sitting, path, name, by)  # type: ignore[arg-type]


@functools.cache
def reading(index: int) -> dict[str, object]:
    """What the worker reads in a frame."""
    return read_frame(camera_files()[index][1])[1].as_dict()


def frames_of(cast: Cast, count: int = len(SHOTS), *, proofs: bool = False) -> list[Frame]:
    """Ingest painted frames; the worker's reading is put in its place, or with `proofs` its whole work is done."""
    for index, (name, data) in enumerate(camera_files()[:count]):
        added = add_file(cast.sitting, name, data, cast.as_owner)
        if not proofs and added.frame is not None:
            Frame.objects.filter(pk=added.frame.pk).update(reading=reading(index))
    if proofs:
        jobs.run_waiting(cast.sitting, kinds=["proof"])
    return list(Frame.objects.filter(sitting=cast.sitting).order_by("name"))


def finals_of(cast: Cast, count: int = 2, *, proofs: bool = False) -> list[Final]:
    """The first frames as finals, the list closed by the photographer."""
    frames = frames_of(cast, proofs=proofs)
    look = cast.look("Linen shirt")
    Frame.objects.filter(sitting=cast.sitting).update(look=look, hidden=False)
    cast.sitting.refresh_from_db()
    agree.close(cast.sitting, [frame.pk for frame in frames[:count]], cast.as_owner)
    cast.sitting.refresh_from_db()
    return list(cast.sitting.finals.select_related("frame", "sitting"))


def verbs(sitting: Sitting) -> list[str]:
    return list(JournalLine.objects.filter(sitting=sitting).values_list("verb", flat=True))
