"""The files of a painted sitting, read back by Pillow, by LittleCMS and, where it is installed, by ExifTool."""

from __future__ import annotations

import io
import json
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import ExifTags, Image, ImageCms, ImageOps

import galleries.painter.sitting as sitting
from galleries.painter import (
    PlannedFrame,
    SittingPlan,
    paint_frame,
    paint_sitting,
    plan_sitting,
    retouch,
    retouched_name,
    sitting_folder,
    write_frame,
)
from galleries.painter.camera import wide_profile

PLAN = plan_sitting(4)
SIDE = 420


def file_of(frame: PlannedFrame) -> bytes:
    return write_frame(PLAN, frame, paint_frame(PLAN, frame, SIDE))


def first(**wanted: Any) -> PlannedFrame:
    return next(frame for frame in PLAN.frames if all(getattr(frame, key) == value for key, value in wanted.items()))


def test_the_clock_the_camera_and_the_number_are_in_the_file() -> None:
    frame = PLAN.frames[5]
    with Image.open(io.BytesIO(file_of(frame))) as opened:
        exif, tags = opened.getexif(), opened.getexif().get_ifd(ExifTags.IFD.Exif)
    assert exif[ExifTags.Base.Make] == "Lumora"
    assert tags[ExifTags.Base.DateTimeOriginal] == frame.captured_at.strftime("%Y:%m:%d %H:%M:%S")
    assert int(tags[ExifTags.Base.SubsecTimeOriginal]) == frame.captured_at.microsecond // 1000
    assert tags[ExifTags.Base.ImageNumber] == frame.number
    assert tags[ExifTags.Base.ISOSpeedRatings] == 100


@pytest.mark.parametrize("orientation", sorted({frame.orientation for frame in PLAN.frames}))
def test_the_stored_picture_is_turned_as_its_tag_says(orientation: int) -> None:
    frame = first(orientation=orientation, wide=False, look=PLAN.looks[0].slug)
    upright = paint_frame(PLAN, frame, SIDE)
    with Image.open(io.BytesIO(write_frame(PLAN, frame, upright))) as opened:
        assert (opened.width > opened.height) == (orientation in (6, 8))
        shown = np.asarray(ImageOps.exif_transpose(opened).convert("RGB"))
    assert shown.shape == upright.shape
    assert np.abs(shown.astype(int) - upright).mean() < 4


def test_private_things_are_on_some_frames_only() -> None:
    with Image.open(io.BytesIO(file_of(first(located=True)))) as opened:
        exif = opened.getexif()
        assert exif.get_ifd(ExifTags.IFD.GPSInfo)[ExifTags.GPS.GPSLatitudeRef] == "N"
        assert exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.BodySerialNumber].isdigit()
        assert exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.CameraOwnerName]
    with Image.open(io.BytesIO(file_of(first(located=False)))) as opened:
        exif = opened.getexif()
        assert not exif.get_ifd(ExifTags.IFD.GPSInfo)
        assert ExifTags.Base.BodySerialNumber not in exif.get_ifd(ExifTags.IFD.Exif)


def test_the_wide_profile_is_a_profile_and_the_pixels_are_in_it() -> None:
    """Check values: Adobe RGB (1998) to sRGB by colour-science 0.4.7, (200,120,80) -> (223.75,120.84,76.54)."""
    profile = ImageCms.ImageCmsProfile(io.BytesIO(wide_profile()))
    srgb = ImageCms.createProfile("sRGB")
    patch = Image.new("RGB", (4, 4), (200, 120, 80))
    seen = ImageCms.profileToProfile(patch, profile, srgb, ImageCms.Intent.RELATIVE_COLORIMETRIC).getpixel((1, 1))
    assert np.abs(np.subtract(seen, (223.75, 120.84, 76.54))).max() < 1.0
    frame = next(frame for frame in PLAN.frames if PLAN.look(frame.look).adobe)
    upright = paint_frame(PLAN, frame, SIDE)
    with Image.open(io.BytesIO(write_frame(PLAN, frame, upright))) as opened:
        assert opened.info["icc_profile"] == wide_profile()
        shown = ImageCms.profileToProfile(ImageOps.exif_transpose(opened), profile, srgb)
    assert np.abs(np.asarray(shown).astype(int) - upright).mean() < 4


def test_exiftool_reads_the_file_without_a_complaint(tmp_path: Path) -> None:
    frame = first(located=True, look=next(look.slug for look in PLAN.looks if not look.adobe))
    path = tmp_path / frame.name
    path.write_bytes(file_of(frame))
    said = subprocess.run(["exiftool", "-json", "-n", "-warning", "-error", "-a", "-G1", str(path)],
                          capture_output=True, text=True, check=True)  # fmt: skip
    every = subprocess.run(["exiftool", "-json", "-n", str(path)], capture_output=True, text=True, check=True)
    found = json.loads(every.stdout)[0]
    complaints = {text for key, text in json.loads(said.stdout)[0].items() if "Warning" in key or "Error" in key}
    assert complaints == {"[minor] Unrecognized MakerNotes"}  # of a maker nobody knows
    assert found["Orientation"] == frame.orientation
    assert found["GPSLatitude"] == pytest.approx(12.5 / 60, abs=1e-4)
    assert found["SerialNumber"]
    assert found["YCbCrSubSampling"] in ("2 1", "2 2")


def test_a_sitting_is_painted_once_and_found_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    steps: list[tuple[int, int]] = []
    done = paint_sitting(tmp_path, 4, SIDE, processes=1, count=3, progress=lambda n, of: steps.append((n, of)))
    assert steps == [(1, 3), (2, 3), (3, 3)]
    assert done.folder == sitting_folder(tmp_path, 4, SIDE, 3)
    assert [path.name for path in done.frames] == [frame.name for frame in PLAN.frames[:3]]
    record = json.loads((done.folder / "truth.json").read_text())
    assert record["frames"] == json.loads(json.dumps(list(done.truths)))
    assert [look["slug"] for look in record["looks"]] == [look.slug for look in PLAN.looks]
    before = {path.name: path.stat().st_mtime_ns for path in done.folder.iterdir()}

    def never(*_: object) -> None:
        raise AssertionError("painted twice")

    monkeypatch.setattr(sitting, "paint_frame", never)
    again = paint_sitting(tmp_path, 4, SIDE, processes=1, count=3)
    assert again == done
    assert {path.name: path.stat().st_mtime_ns for path in done.folder.iterdir()} == before
    assert [path.name for path in tmp_path.iterdir()] == [done.folder.name]


def test_a_run_cut_short_leaves_nothing_that_looks_finished(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def breaks(plan: SittingPlan, frame: PlannedFrame, long_side: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(sitting, "paint_frame", breaks)
    with pytest.raises(KeyboardInterrupt):
        paint_sitting(tmp_path, 4, SIDE, processes=1)
    assert list(tmp_path.iterdir()) == []


def test_processes_paint_the_same_files(tmp_path: Path) -> None:
    """Two fresh processes; one of their files is compared with the one painted here."""
    done = paint_sitting(tmp_path, 4, 300, processes=2, count=3)
    assert len(done.frames) == 3
    frame = PLAN.frames[1]
    assert (done.folder / frame.name).read_bytes() == write_frame(PLAN, frame, paint_frame(PLAN, frame, 300))
    assert not sitting_folder(tmp_path, 4, 300).exists()


def test_a_retouch_is_upright_smoother_and_keeps_the_clock() -> None:
    frame = first(wide=False, look=PLAN.looks[0].slug, framing="head")
    upright = paint_frame(PLAN, frame, 900)
    with Image.open(io.BytesIO(retouch(write_frame(PLAN, frame, upright)))) as opened:
        assert opened.size == (600, 900)
        assert "icc_profile" in opened.info
        exif = opened.getexif()
        assert ExifTags.Base.Make not in exif
        taken = exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal]
        pixels = np.asarray(opened.convert("RGB")).astype(int)
    assert taken == frame.captured_at.strftime("%Y:%m:%d %H:%M:%S")
    change = np.abs(pixels - upright)
    assert 0.5 < change.mean() < 16
    assert (pixels[..., 0] - pixels[..., 2]).mean() > (upright[..., 0].astype(int) - upright[..., 2]).mean()
    assert retouched_name("KAL_0412.JPG") == "KAL_0412_retouched.jpg"
