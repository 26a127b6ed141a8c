"""The raw file beside a painted JPEG, read back by ExifTool and LibRaw, and the two as one frame."""

from __future__ import annotations

import io
import json
import subprocess
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image, ImageOps

from galleries.imaging.opening import decode
from galleries.imaging.opening.picture import Shown
from galleries.painter import paint_frame, plan_sitting, write_frame
from galleries.painter.negative import write_negative
from galleries.steps.demo import demo_sitting
from tests.cast import make_cast

PLAN = plan_sitting(4)
SIDE = 2048  # the camera's picture is shown from here on


@pytest.fixture(scope="module")
def jpeg() -> bytes:
    """An upright frame of the first look, painted small and stored large."""
    frame = next(one for one in PLAN.frames if one.look == PLAN.looks[0].slug and one.orientation == 6)
    return write_frame(PLAN, frame, cv2.resize(paint_frame(PLAN, frame, 512), None, fx=SIDE / 512, fy=SIDE / 512))


def test_exiftool_finds_a_valid_dng_of_the_same_moment_with_the_whole_jpeg_inside(jpeg: bytes, tmp_path: Path) -> None:
    path = tmp_path / "raw.dng"
    path.write_bytes(write_negative(jpeg))
    asked = ["exiftool", "-json", "-validate", "-warning", "-FileType", "-DateTimeOriginal", "-SubSecTimeOriginal",
             "-Model", "-Orientation#", "-ImageNumber", "-SubIFD:ImageWidth", path]  # fmt: skip
    (told,) = json.loads(subprocess.run(asked, capture_output=True, check=True).stdout)
    assert (told["FileType"], told["Validate"], "Warning" in told) == ("DNG", "OK", False)
    assert (told["Orientation"], told["ImageWidth"]) == (6, SIDE // 8)
    inside = subprocess.run(["exiftool", "-b", "-PreviewImage", path], capture_output=True, check=True).stdout
    assert inside == jpeg


def test_libraw_develops_the_same_picture_and_the_opener_shows_the_jpeg(jpeg: bytes) -> None:
    data = write_negative(jpeg)
    here, there = decode.verify(data), decode.verify(jpeg)
    assert (here.format, here.shown, here.sensor_height) == ("DNG", Shown.EMBEDDED, SIDE // 8)
    for name in ("width", "height", "orientation", "captured_at", "camera", "frame_number"):
        assert getattr(here, name) == getattr(there, name), name
    developed = decode.open_sensor(data)
    with Image.open(io.BytesIO(jpeg)) as opened:
        shown = np.asarray(ImageOps.exif_transpose(opened).resize(developed.shape[1::-1]))
    assert np.abs(developed.astype(int) - shown).mean() < 4


@pytest.mark.django_db
def test_the_demo_brings_both_in_as_one_frame(jpeg: bytes, tmp_path: Path) -> None:
    cast = make_cast(stage="planning")
    path = tmp_path / "DAM_0417.JPG"
    path.write_bytes(jpeg)
    demo_sitting._add(cast.sitting, path, cast.as_owner)
    demo_sitting._add_raw(cast.sitting, path, cast.as_owner)
    demo_sitting._add_raw(cast.sitting, path, cast.as_owner)  # again changes nothing
    frame = cast.sitting.frames.get()
    assert (frame.name, frame.raw.name, frame.raw.file_format) == ("DAM_0417.JPG", "DAM_0417.DNG", "DNG")
