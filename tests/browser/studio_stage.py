"""A real browser in the studio: signed in as the photographer, at desktop and phone width."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from typing import Any

from PIL import Image
from playwright.sync_api import Page

from galleries import storage
from galleries.imaging.face.faces import Face
from galleries.imaging.face.reading import FrameReading
from galleries.imaging.versions import READER_VERSION
from galleries.models import Frame, Look, Proof
from galleries.steps import derived
from galleries.told import Told
from tests.cast import Cast

WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


@contextmanager
def visiting(come: Any, cast: Cast, *, trouble: str = "", **options: Any) -> Iterator[Page]:
    """The photographer's own window; `trouble` is what its console is meant to complain of in this test."""
    device = come(cast.owner, **options)
    device.page.set_default_timeout(30_000)
    yield device.page
    if trouble:
        assert any(trouble in line for line in device.troubles)
        device.troubles[:] = [line for line in device.troubles if trouble not in line]


def jpeg(shade: int, size: tuple[int, int] = (320, 480)) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", size, (shade % 256, 110, 90)).save(out, "JPEG")
    return out.getvalue()


def many_frames(cast: Cast, count: int, looks: int = 5) -> list[Frame]:
    """Rows that share a few small pictures; every tenth has its eyes shut, runs of three stand together."""
    start = datetime(2026, 3, 4, 10, tzinfo=UTC)
    per = count // looks
    parts = [cast.look(f"Look {number + 1}") for number in range(looks)]
    frames = Frame.objects.bulk_create(
        _row(cast, number, parts[min((number - 1) // per, looks - 1)], start) for number in range(1, count + 1)
    )
    storage.put(storage.private(), frames[0].key, jpeg(120))
    for frame in frames:  # as the worker leaves it beside the proof
        derived.view_place(cast.sitting, frame.sha256, derived.DESK_SIDE).kept(lambda: jpeg(120))
    keys = []
    for shade in range(8):
        data = jpeg(30 * shade)
        keys.append(storage.derived_key(cast.sitting.uid, "small", hashlib.sha256(data).hexdigest()))
        storage.put(storage.proofs(), keys[-1], data)
    Proof.objects.bulk_create(
        Proof(
            frame=frame,
            recipe="p1",
            large_key=keys[index % 8],
            large_width=320,
            large_height=480,
            small_key=keys[index % 8],
            small_width=320,
            small_height=480,
        )
        for index, frame in enumerate(frames)
    )
    return frames


def _row(cast: Cast, number: int, look: Look, start: datetime) -> Frame:
    lid = 0.12 if number % 10 == 0 else 0.31
    face = Face(
        box=(100, 100, 120, 160), right_eye=(140, 160), left_eye=(180, 160), right_openness=lid, left_openness=lid,
        iris_radius_right=5, iris_radius_left=5, roll_deg=0, crown_y=70, crown_uncertainty=8, crown_measured=False,
        chin=(160, 260), forehead=(160, 110), mouth=(160, 215), yaw_hint=0, score=0.9,
    )  # fmt: skip
    reading = FrameReading(320, 480, 1.0, face, Told(""), sharpness=0.4, soft=False)
    alike = number % 12 in (4, 5, 6)
    return Frame(
        sitting=cast.sitting,
        look=look,
        sha256=f"{number:064x}",
        key=f"{storage.home(cast.sitting.uid)}/originals/shared.jpg",
        name=f"KAL_{number:04d}.JPG",
        number=number,
        bytes=1000,
        file_format="JPEG",
        width=4000,
        height=6000,
        captured_at=start + timedelta(seconds=6 * number),
        reading=reading.as_dict(),
        reading_version=READER_VERSION,
        run=number // 12 + 1 if alike else None,
        run_place=(number % 12) - 4 if alike else 0,
    )
