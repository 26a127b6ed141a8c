"""A sitting with a few painted frames in the store, its list closed: what finishing and delivery start from."""

from __future__ import annotations

import functools
import tempfile
from pathlib import Path

from galleries.models import Final, Frame, JournalLine, Sitting
from galleries.painter import retouch
from galleries.steps import agree, ingest, jobs
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


def frames_of(cast: Cast, count: int = len(SHOTS)) -> list[Frame]:
    """Ingest painted frames, prove and read them; the sitting is in its picking stage."""
    for name, data in camera_files()[:count]:
        add_file(cast.sitting, name, data, cast.as_owner)
    jobs.run_waiting(cast.sitting, kinds=["proof"])
    return list(Frame.objects.filter(sitting=cast.sitting).order_by("name"))


def finals_of(cast: Cast, count: int = 2) -> list[Final]:
    """The first frames as finals, the list closed by the photographer."""
    frames = frames_of(cast)
    look = cast.look("Linen shirt")
    Frame.objects.filter(sitting=cast.sitting).update(look=look, hidden=False)
    cast.sitting.refresh_from_db()
    agree.close(cast.sitting, [frame.pk for frame in frames[:count]], cast.as_owner)
    cast.sitting.refresh_from_db()
    return list(cast.sitting.finals.select_related("frame", "sitting"))


def verbs(sitting: Sitting) -> list[str]:
    return list(JournalLine.objects.filter(sitting=sitting).values_list("verb", flat=True))
