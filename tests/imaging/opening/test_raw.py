"""Raw files: DNG written here after Adobe's specification (`negatives`), read back by ExifTool and by the opener.

What the sensor's light comes out as is reckoned by IEC 61966-2-1 alone: 0.5 is 188 of 255, 0.18 is 118, 0.05 is 63.
"""

from __future__ import annotations

import json
import mmap
import struct
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from galleries.imaging import errors, recipes
from galleries.imaging.codes import Code
from galleries.imaging.colour import profiles
from galleries.imaging.contained import door
from galleries.imaging.containers import raw as containers
from galleries.imaging.framing.geometry import Rect
from galleries.imaging.opening import decode
from galleries.imaging.opening import raw as opening
from galleries.imaging.opening.picture import FrameFacts, Limits, Shown
from tests import outside
from tests.imaging.core_pictures import exif, painted, saved
from tests.imaging.negatives import Negative, dng, scene, with_preview
from tests.telling import sentence_of

RED, GREEN, BLUE, GREY = (188, 63, 63), (63, 188, 63), (63, 63, 188), (118, 118, 118)
# Upright corners, from above left row by row. EXIF 2.32: 3 is turned by 180°, 6 by 90° clockwise, 8 the other way.
TURNED = {
    1: (RED, GREEN, BLUE, GREY), 3: (GREY, BLUE, GREEN, RED), 6: (BLUE, RED, GREY, GREEN), 8: (GREEN, GREY, RED, BLUE),
}  # fmt: skip


@pytest.fixture(scope="module", autouse=True)
def _ended() -> Iterator[None]:
    yield
    door.close()


def quarters(pixels: np.ndarray) -> list[tuple[int, ...]]:
    height, width = pixels.shape[:2]
    return [tuple(int(v) for v in pixels[height * y // 4, width * x // 4]) for y in (1, 3) for x in (1, 3)]


def near(one: tuple[int, ...], other: tuple[int, ...], most: int) -> bool:
    return max(abs(a - b) for a, b in zip(one, other, strict=True)) <= most


def code_of(data: bytes, limits: Limits | None = None) -> Code:
    with pytest.raises(errors.ImagingError) as refused:
        decode.verify(data, limits or Limits())
    sentence = sentence_of(refused.value)
    assert sentence.endswith(".")
    return Code(refused.value.told.code)


@pytest.mark.parametrize("orientation", TURNED)
def test_without_a_preview_the_sensor_is_developed_upright_in_the_cameras_white_balance(orientation: int) -> None:
    picture = decode.open_picture(dng(Negative(scene(), orientation=orientation)))
    assert all(near(*pair, 2) for pair in zip(quarters(picture.pixels), TURNED[orientation], strict=True))
    facts = picture.facts
    size = (96, 64) if orientation < 5 else (64, 96)
    assert (facts.format, facts.shown, facts.profile_name) == ("DNG", Shown.SENSOR, "sRGB")
    assert (facts.width, facts.height) == (facts.sensor_width, facts.sensor_height) == size
    assert FrameFacts.from_dict(facts.as_dict()) == facts


def test_a_dark_exposure_stays_dark() -> None:
    """No brightening of its own: a frame a hundredth as bright is that, not a picture at full range."""
    pixels = decode.open_picture(dng(Negative(scene() / 100))).pixels
    assert pixels.max() <= 188 // 10


def test_the_sensor_comes_at_half_size_where_that_is_enough_and_whole_where_not() -> None:
    data = dng(Negative(scene(600, 400)))
    half = decode.open_stored(data, at_least=300)
    assert (half.pixels.shape, half.scale) == ((200, 300, 3), 0.5)
    assert all(near(*pair, 2) for pair in zip(quarters(half.pixels), TURNED[1], strict=True))
    assert decode.open_stored(data, at_least=301).pixels.shape == (400, 600, 3)
    assert decode.open_stored(data).scale == 1


@pytest.mark.parametrize("orientation", TURNED)
def test_a_large_embedded_picture_is_what_is_seen_turned_as_the_file_says(orientation: int) -> None:
    data = with_preview(orientation=orientation)
    picture = decode.open_picture(data, at_least=256)
    colours = {RED: (220, 30, 30), GREEN: (30, 220, 30), BLUE: (30, 30, 220), GREY: GREY}
    wanted = [colours[one] for one in TURNED[orientation]]
    assert all(near(*pair, 6) for pair in zip(quarters(picture.pixels), wanted, strict=True))
    facts = picture.facts
    assert (facts.shown, facts.camera, facts.orientation) == (Shown.EMBEDDED, "Nordlicht 24", orientation)
    assert (facts.width, facts.height) == ((2048, 1366) if orientation < 5 else (1366, 2048))
    assert facts.captured_at == datetime(2026, 3, 14, 10, 11, 12)


def test_a_preview_that_stands_upright_already_is_not_turned_again() -> None:
    assert decode.probe(with_preview(1366, 2048, orientation=6)).width == 1366


@pytest.mark.parametrize(
    ("how", "name"),
    [
        ({"icc": profiles.build("Display P3")}, "Display P3"),
        ({"preview_space": 3}, "Adobe RGB"),
        ({"preview_space": 2}, "sRGB"),
    ],
)
def test_the_colours_of_the_preview_are_those_it_names(how: dict[str, object], name: str) -> None:
    """Its own profile, else DNG's PreviewColorSpace (50970): 2 sRGB, 3 Adobe RGB."""
    facts = decode.probe(with_preview(**how))
    assert facts.profile_name.startswith(name)
    assert not facts.profile_assumed


def test_a_preview_under_2048_pixels_or_none_that_is_a_jpeg_leaves_the_sensor() -> None:
    assert decode.probe(with_preview(2047, 1366)).shown == Shown.SENSOR
    small = saved(painted(320, 214))
    for preview, size in ((small, (320, 214)), (small, (4096, 2730)), (b"no JPEG" * 40, (2048, 1366))):
        facts = decode.verify(dng(Negative(scene(), preview=preview, preview_size=size)))
        assert (facts.shown, facts.width) == (Shown.SENSOR, 96)


@pytest.mark.parametrize("active", [None, (2, 4, 62, 90)])
@pytest.mark.parametrize("orientation", TURNED)
def test_a_dng_with_a_large_picture_is_read_without_libraw_and_says_the_same(
    monkeypatch: pytest.MonkeyPatch, active: tuple[int, int, int, int] | None, orientation: int
) -> None:
    """LibRaw is the reference; the file is mapped, and of the sensor's data no byte is looked at."""
    data = with_preview(active=active, orientation=orientation)
    there = opening._by_libraw(data, "DNG")
    assert (there.width, there.height) == ((86, 60) if active else (96, 64))
    monkeypatch.setattr(opening, "_opened", None)
    here = opening.look(data, "DNG")
    assert replace(here, embedded=there.embedded, embedded_orientation=1, embedded_space="") == there
    assert here.embedded in data, "its very bytes: LibRaw lays a head of its own before them"
    pictures = [decode.open_stored(one).pixels for one in (here.embedded, there.embedded)]
    assert np.array_equal(*pictures)
    assert here.embedded_orientation == orientation


def test_raw_files_and_jpegs_on_the_disk_are_mapped_and_any_other_is_read(tmp_path: Path) -> None:
    jpeg, png = saved(painted(64, 48)), saved(painted(64, 48), "PNG")
    files = {"raw": (with_preview(), mmap.mmap), "jpeg": (jpeg, mmap.mmap), "png": (png, bytes), "none": (b"", bytes)}
    for name, (data, kind) in files.items():
        path = tmp_path / name
        path.write_bytes(data)
        loaded = decode.load_bytes(path, Limits())
        assert isinstance(loaded, kind)
        assert loaded[:] == data
        if data:
            assert decode.verify(path) == decode.verify(data)
            assert np.array_equal(decode.open_picture(path).pixels, decode.open_picture(data).pixels)


def test_a_preview_that_breaks_off_is_told() -> None:
    whole = saved(painted(2048, 1366))
    broken = dng(Negative(scene(), preview=whole[: len(whole) // 2], preview_size=(2048, 1366)))
    assert code_of(broken) == Code.JPEG_CUT_OFF


@pytest.mark.parametrize("data", [dng(Negative(scene())), with_preview()], ids=["sensor", "preview"])
def test_a_truncated_file_is_told_wherever_it_ends(data: bytes) -> None:
    for share in (0.01, 0.1, 0.3, 0.5, 0.8, 0.95, 1):
        cut = data[: min(len(data) - 12, int(len(data) * share))]  # the last four say that no directory follows
        assert code_of(cut) in {Code.RAW_CUT_OFF, Code.TIFF_CUT_OFF, Code.DATA_DAMAGED, Code.HEADER_DAMAGED}


def test_a_sensor_that_claims_more_than_it_holds_or_than_may_be() -> None:
    assert code_of(dng(Negative(scene(), claims=(4000, 3000)))) == Code.RAW_CUT_OFF
    assert code_of(dng(Negative(scene(), claims=(60_000, 60_000)))) == Code.RAW_CUT_OFF
    assert code_of(with_preview(claims=(4000, 3000))) == Code.RAW_CUT_OFF
    assert code_of(dng(Negative(scene(600, 400))), Limits(max_pixels=100_000)) == Code.TOO_MANY_PIXELS
    assert code_of(with_preview(), Limits(max_pixels=1_000_000)) == Code.TOO_MANY_PIXELS


# Make as ExifTool's tag names list the makers; kinds that have no magic are told by it.
@pytest.mark.parametrize(
    ("make", "kind"),
    [("NIKON CORPORATION", "NEF"), ("SONY", "ARW"), ("PENTAX", "PEF"), ("Hasselblad", "3FR"), ("Nordlicht", "RAW")],
)
def test_kinds_told_by_their_maker_open_too(make: str, kind: str) -> None:
    facts = decode.verify(dng(Negative(scene(), make=make, dng=False)))
    assert (facts.format, facts.shown) == (kind, Shown.SENSOR)


def test_kinds_told_by_their_magic() -> None:
    heads = {
        "CR2": b"II*\0\x10\0\0\0CR\2\0" + bytes(10), "CR3": b"\0\0\0\x18ftypcrx \0\0\0\1crx isom", "ORF": b"IIRO",
        "RW2": b"IIU\0", "RAF": b"FUJIFILMCCD-RAW 0201", "IIQ": b"II*\0\x10\0\0\0IIII" + bytes(10),
    }  # fmt: skip
    for kind, head in heads.items():
        assert containers.kind_of(head) == kind
        assert code_of(head + bytes(200)) in {Code.RAW_CUT_OFF, Code.DATA_DAMAGED, Code.RAW_FRAME}


def test_facts_of_a_crx_file_stand_in_its_boxes_and_of_a_raf_in_its_jpeg() -> None:
    """ISO/IEC 14496-12: size, name, content. CMT1 and CMT2 in the maker's uuid box are directories by themselves."""

    def box(name: bytes, content: bytes) -> bytes:
        return struct.pack(">I4s", len(content) + 8, name) + content

    def directory(tag: int, text: bytes) -> bytes:
        return b"II*\0\x08\0\0\0" + struct.pack("<HHHIII", 1, tag, 2, len(text), 26, 0) + text

    inner = box(b"CMT1", directory(272, b"Nordlicht 30\0")) + box(b"CMT2", directory(36867, b"2026:03:14 10:11:12\0"))
    uuid = bytes.fromhex("85c0b687820f11e08111f4ce462b6a48")
    data = box(b"ftyp", b"crx \0\0\0\1crx isom") + box(b"moov", box(b"uuid", uuid + inner))
    first, detail = containers.exif_blocks(data, "CR3")
    assert b"Nordlicht 30" in first
    assert b"2026:03:14" in detail
    containers.check(data, "CR3")
    with pytest.raises(errors.Unreadable):
        containers.check(data[:-1], "CR3")
    jpeg = saved(painted(40, 30), exif=exif(subsec="5"))
    head = b"FUJIFILMCCD-RAW ".ljust(84, b"0") + struct.pack(">6I", 108, len(jpeg), 0, 0, 0, 0)
    assert b"2026:03:14" in containers.exif_blocks(head + jpeg, "RAF")[0]
    containers.check(head + jpeg, "RAF")
    with pytest.raises(errors.Unreadable):
        containers.check(head + jpeg[:-1], "RAF")


def test_exiftool_reads_the_same_out_of_each(tmp_path: Path) -> None:
    """One process for all four ways up. -validate: errors, warnings, minor ones."""
    paths = {orientation: tmp_path / f"{orientation}.dng" for orientation in TURNED}
    for orientation, path in paths.items():
        path.write_bytes(with_preview(orientation=orientation, subsec="25"))
    command = [outside.program("exiftool"), "-json", "-n", "-G1", "-all", "-validate", *map(str, paths.values())]
    answers = json.loads(subprocess.run(command, check=True, capture_output=True).stdout)
    for (orientation, path), read in zip(paths.items(), answers, strict=True):
        facts = decode.probe(path)
        assert read["File:FileType"] == facts.format == "DNG"
        assert read["ExifTool:Validate"] == "0 0 0"
        assert read["IFD0:Orientation"] == facts.orientation == orientation
        stored = [(read[f"{part}:ImageWidth"], read[f"{part}:ImageHeight"]) for part in ("SubIFD", "SubIFD1")]
        upright = [(facts.sensor_width, facts.sensor_height), (facts.width, facts.height)]
        assert stored == [size if orientation < 5 else size[::-1] for size in upright]
        assert facts.captured_at == datetime(2026, 3, 14, 10, 11, 12, 250_000)
        assert read["ExifIFD:SubSecTimeOriginal"] == 25


@pytest.mark.parametrize("orientation", TURNED)
def test_a_part_of_the_sensor_is_cut_upright_whatever_else_is_shown(orientation: int) -> None:
    """From above left, two corners high and wide, in the upright picture's own pixels."""
    data = with_preview(orientation=orientation)
    part = decode.open_picture(recipes.cut_sensor(data, Rect(-5, -5, 40, 30))).pixels
    assert part.shape == (30, 40, 3)
    assert near(tuple(int(v) for v in part[10, 10]), TURNED[orientation][0], 6)
    size = (64, 96) if orientation < 5 else (96, 64)
    assert decode.open_sensor(data).shape[:2] == size
    with pytest.raises(errors.Unsupported):
        decode.open_sensor(saved(painted(40, 30)))


def test_sixty_megabytes_never_stand_whole_in_the_child_twice(tmp_path: Path) -> None:
    """Its memory is limited to the file and three quarters of it again: a second copy would not fit."""
    path = tmp_path / "large.dng"
    negative = Negative(scene(), preview=saved(painted(2048, 1366)), preview_size=(2048, 1366), claims=(6000, 5000))
    path.write_bytes(dng(negative, sensor=bytes(60_000_000)))
    facts = door.verify(path, memory=105_000_000)
    assert (facts.shown, facts.width, facts.sensor_width) == (Shown.EMBEDDED, 2048, 6000)


def test_a_proof_is_made_of_either_picture() -> None:
    for data, size in ((with_preview(), (2048, 1366)), (dng(Negative(scene(600, 400))), (600, 400))):
        facts, reading = recipes.read_frame(data)
        assert (facts.width, facts.height) == (reading.width, reading.height) == size
