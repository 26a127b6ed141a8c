"""The opener: formats, orientations, profiles, facts, limits, and first pictures of several."""

from __future__ import annotations

import io
import random
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pillow_heif
import pytest
import pyvips
from PIL import Image, ImageOps

from galleries.imaging.colour import convert, profiles
from galleries.imaging.errors import ImagingError, TooLarge, Unreadable, Unsupported
from galleries.imaging.framing import geometry
from galleries.imaging.opening import decode, formats
from galleries.imaging.opening.decode import open_picture, probe, verify
from galleries.imaging.opening.picture import FrameFacts, Limits
from galleries.imaging.output import encode
from tests.imaging.core_pictures import exif, files, heif, mpo, painted, saved
from tests.telling import refused, sentence_of

RGB = painted()


def _far(one: np.ndarray, other: np.ndarray) -> float:
    return float(np.abs(one.astype(float) - other.astype(float)).mean())


# --- formats --------------------------------------------------------------------------------------------


def test_lossless_formats_come_back_to_the_bit() -> None:
    for file_format in ("PNG", "TIFF"):
        assert np.array_equal(open_picture(saved(RGB, file_format)).pixels, RGB)


def test_sixteen_bits_stay_sixteen() -> None:
    fine = (RGB.astype(np.uint16) << 8) + np.arange(160, dtype=np.uint16)[None, :, None]
    picture = open_picture(encode.encode_tiff(fine, ppi=300))
    assert picture.pixels.dtype == np.uint16
    assert picture.facts.bits == 16
    assert np.array_equal(picture.pixels, fine)
    png = pyvips.Image.new_from_array(fine, interpretation="rgb16").pngsave_buffer(bitdepth=16)
    assert np.array_equal(open_picture(png).pixels, fine)


@pytest.mark.parametrize("name", ["jpeg", "jpeg-progressive", "heif", "jpeg-mpo"])
def test_lossy_formats_come_back_close(name: str) -> None:
    reference = np.asarray(Image.open(io.BytesIO(files()["png"])))
    assert _far(open_picture(files()[name]).pixels, reference) < 3


def test_big_endian_tiff() -> None:
    data = pyvips.Image.new_from_array(RGB, interpretation="srgb").tiffsave_buffer()
    swapped = io.BytesIO()
    Image.open(io.BytesIO(data)).save(swapped, "TIFF", big_endian=True)
    assert np.array_equal(open_picture(swapped.getvalue()).pixels, RGB)


def test_a_palette_png_is_read_as_colours() -> None:
    flat = np.zeros((20, 30, 3), np.uint8)
    flat[:, :15] = (200, 30, 60)
    assert np.array_equal(open_picture(_palette(flat)).pixels, flat)


def _palette(pixels: np.ndarray) -> bytes:
    out = io.BytesIO()
    Image.fromarray(pixels).quantize(16).save(out, "PNG")
    assert Image.open(io.BytesIO(out.getvalue())).mode == "P"
    return out.getvalue()


@pytest.mark.parametrize("depth", [8, 16])
def test_transparency_lies_on_the_mid_grey_surround(depth: int) -> None:
    alpha = np.zeros((40, 60, 1), np.uint8)
    alpha[:, 30:] = 255
    alpha[:, 20:30] = 128
    rgba = np.concatenate([np.full((40, 60, 3), (200, 100, 50), np.uint8), alpha], axis=2)
    data = saved(rgba, "PNG")
    if depth == 16:
        wide = rgba.astype(np.uint16) * 257
        data = pyvips.Image.new_from_array(wide, interpretation="rgb16").pngsave_buffer(bitdepth=16)
    picture = open_picture(data)
    pixels = picture.pixels / (257 if depth == 16 else 1)
    assert picture.facts.mode == "RGBA"
    assert np.abs(pixels[:, :20] - formats.SURROUND).max() <= 1
    assert np.abs(pixels[:, 30:] - (200, 100, 50)).max() <= 1
    halfway = np.array((200, 100, 50)) * 128 / 255 + formats.SURROUND * 127 / 255
    assert np.abs(pixels[:, 20:30] - halfway).max() <= 1


def test_the_surround_is_the_grey_of_half_lightness() -> None:
    import colour as science  # independent: CIE L* of an sRGB grey

    lab = science.XYZ_to_Lab(science.sRGB_to_XYZ(np.full(3, formats.SURROUND / 255)))
    assert lab[0] == pytest.approx(50, abs=0.2)


def test_the_first_of_several_pictures_is_taken() -> None:
    other = RGB[::-1].copy()
    assert _far(open_picture(mpo(RGB, other)).pixels, RGB) < 3
    pages = io.BytesIO()
    Image.fromarray(RGB).save(pages, "TIFF", save_all=True, append_images=[Image.fromarray(other)])
    assert np.array_equal(open_picture(pages.getvalue()).pixels, RGB)


@pytest.mark.parametrize("sampling", [0, 1, 2])
@pytest.mark.parametrize("progressive", [False, True])
def test_jpeg_samplings_match_another_decoder(sampling: int, progressive: bool) -> None:
    data = saved(RGB, quality=95, subsampling=sampling, progressive=progressive)
    assert _far(open_picture(data).pixels, np.asarray(Image.open(io.BytesIO(data)))) < 0.5


def test_padding_before_the_end_is_no_damage_but_more_data_are() -> None:
    data = saved(RGB, quality=90)
    padded = data[:-2] + bytes(600) + data[-2:]
    assert np.array_equal(open_picture(padded).pixels, open_picture(data).pixels)
    with pytest.raises(Unreadable):
        verify(data[:-2] + bytes(range(1, 250)) + data[-2:])


def damaged(data: bytes, chance: random.Random) -> Iterator[bytes]:
    """Cut off, with bytes changed, gone or too many, and with a marker where none belongs."""
    for _time in range(9):
        at, some = chance.randrange(2, len(data)), chance.randint(1, 40)
        yield data[:at]
        yield data[:at] + bytes([chance.randrange(256)]) + data[at + 1 :]
        yield data[:at] + data[at + some :]
        yield data[:at] + chance.randbytes(some) + data[at:]
        yield data[:at] + bytes([0xFF, chance.choice([0xC4, 0xD0, 0xD9, 0xDA])]) + data[at:]


def test_verifying_makes_no_picture_and_sees_all_damage_that_a_full_decode_sees() -> None:
    chance, opened, refusals = random.Random(11), 0, 0
    noise = np.clip(painted(72, 56) + np.random.default_rng(3).normal(0, 20, (56, 72, 3)), 0, 255).astype(np.uint8)
    kinds: list[dict[str, Any]] = [{"subsampling": n, "progressive": way} for n in range(3) for way in (False, True)]
    kinds += [{"subsampling": 2, "restart_marker_blocks": 3}, {"keep_rgb": True}, {"mode": "L"}, {"mode": "CMYK"}]
    for kind in kinds:
        for data in damaged(saved(noise, quality=88, **kind), chance):
            answers: list[Any] = []
            for look in (decode.open_stored, verify):
                try:
                    look(data, Limits(max_pixels=1_000_000))
                    answers.append(None)
                except ImagingError as error:
                    answers.append((type(error), error.told))
            assert answers[0] == answers[1]
            opened, refusals = opened + (answers[0] is None), refusals + (answers[0] is not None)
    assert opened > 20
    assert refusals > 300


def test_a_trailer_after_the_picture_is_ignored() -> None:
    data = saved(RGB, quality=90)
    assert np.array_equal(open_picture(data + b"maker's trailer" * 50).pixels, open_picture(data).pixels)


def test_a_flood_of_scans_is_refused_unread() -> None:
    data = saved(RGB, progressive=True)
    at = data.rindex(b"\xff\xda")
    scan = data[at:-2]
    with refused(Unreadable, "more than 64 scans"):
        verify(data[:-2] + scan * 80 + data[-2:])


def test_float_tiff_says_what_to_do() -> None:
    data = saved(RGB[:, :, 0].astype(np.float32), "TIFF")
    with refused(Unsupported, "export it as 8 or 16 bit"):
        verify(data)


def test_half_size_only_where_wanted() -> None:
    data = saved(painted(800, 600), quality=90)
    assert open_picture(data).scale == 1.0
    half = open_picture(data, at_least=400)
    assert half.scale == 0.5
    assert half.pixels.shape == (300, 400, 3)
    assert (half.facts.width, half.facts.height) == (800, 600)
    assert open_picture(data, at_least=401).scale == 1.0
    assert open_picture(data, at_least=90).pixels.shape == (75, 100, 3)
    odd = open_picture(saved(painted(801, 599), quality=90), at_least=300)
    assert odd.pixels.shape == (300, 401, 3)


# --- orientation ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("file_format", ["JPEG", "PNG", "TIFF"])
def test_all_orientations_match_another_reader(orientation: int, file_format: str) -> None:
    options = {"quality": 95, "subsampling": 0} if file_format == "JPEG" else {}
    data = saved(RGB, file_format, exif=exif(orientation=orientation), **options)
    picture = open_picture(data)
    expected = np.asarray(ImageOps.exif_transpose(Image.open(io.BytesIO(data))))
    assert picture.facts.orientation == orientation
    assert (picture.facts.width, picture.facts.height) == expected.shape[1::-1]
    assert picture.pixels.shape == expected.shape
    assert _far(picture.pixels, expected) < 0.6
    assert np.array_equal(decode.view_upright(decode.open_stored(data).pixels, orientation), picture.pixels)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_turning_pixels_agrees_with_turning_rectangles(orientation: int) -> None:
    rect = geometry.Rect(11, 7, 30, 20)
    shown = geometry.orient_rect(orientation, 160, 120, rect)
    upright = decode.turn_upright(RGB, orientation)
    there = upright[shown.y : shown.bottom, shown.x : shown.right]
    here = decode.turn_upright(RGB[rect.y : rect.bottom, rect.x : rect.right], orientation)
    assert np.array_equal(there, here)


def test_heif_is_turned_once_by_its_own_box() -> None:
    """ISO/IEC 23008-12: the irot and imir boxes rule, an EXIF tag doesn't turn again [std, from memory]."""
    upright = Image.fromarray(RGB)
    upright.info["exif"] = exif(orientation=6).tobytes()
    out = io.BytesIO()
    pillow_heif.from_pillow(upright).save(out, quality=90)
    with Image.open(io.BytesIO(out.getvalue())) if _registered() else upright as seen:
        expected = np.asarray(seen.convert("RGB"))
    picture = open_picture(out.getvalue())
    assert picture.pixels.shape == expected.shape
    assert _far(picture.pixels, expected) < 4


def _registered() -> bool:
    pillow_heif.register_heif_opener()
    return True


def test_a_nonsense_orientation_counts_as_upright() -> None:
    assert probe(saved(RGB, exif=exif(orientation=77))).orientation == 1


# --- facts ----------------------------------------------------------------------------------------------


def test_facts_of_a_camera_file() -> None:
    block = exif(orientation=8, taken="2026:03:14 10:11:12", subsec="345", number=4711, camera="Nordlicht 24")
    facts = probe(saved(RGB, exif=block))
    assert facts.captured_at == datetime(2026, 3, 14, 10, 11, 12, 345_000)
    assert (facts.camera, facts.frame_number) == ("Nordlicht 24", 4711)
    assert (facts.width, facts.height, facts.format, facts.bits) == (120, 160, "JPEG", 8)
    assert FrameFacts.from_dict(facts.as_dict()) == facts


@pytest.mark.parametrize("taken", ["", "0000:00:00 00:00:00", "yesterday", "2026:13:40 99:99:99"])
def test_an_impossible_moment_is_unknown(taken: str) -> None:
    assert probe(saved(RGB, exif=exif(taken=taken))).captured_at is None


def test_every_format_gives_its_moment() -> None:
    block = exif(taken="2026:03:14 10:11:12")
    for data in (saved(RGB, "PNG", exif=block), heif(RGB, exif=block.tobytes())):
        assert probe(data).captured_at == datetime(2026, 3, 14, 10, 11, 12)


@pytest.mark.parametrize("file_format", ["JPEG", "TIFF", "PNG"])
def test_facts_written_by_an_outside_tool(file_format: str, tmp_path: Path) -> None:
    path = tmp_path / "frame"
    path.write_bytes(saved(RGB, file_format))
    tags = ("DateTimeOriginal=2026:03:14 10:11:12", "SubSecTimeOriginal=07", "Make=Nordlicht", "Model=N 24",
            "Orientation#=6", "ImageNumber=99")  # fmt: skip
    subprocess.run(["exiftool", "-q", "-overwrite_original", *(f"-EXIF:{tag}" for tag in tags), path], check=True)
    facts = verify(path)
    assert facts.captured_at == datetime(2026, 3, 14, 10, 11, 12, 70_000)
    assert (facts.camera, facts.orientation, facts.frame_number) == ("Nordlicht N 24", 6, 99)


def test_the_name_decides_nothing(tmp_path: Path) -> None:
    path = tmp_path / "frame.jpg"
    path.write_bytes(saved(RGB, "PNG"))
    assert verify(path).format == "PNG"


def test_a_missing_file_is_a_sentence(tmp_path: Path) -> None:
    with refused(Unreadable, r"gone\.jpg cannot be read"):
        probe(tmp_path / "gone.jpg")


# --- profiles -------------------------------------------------------------------------------------------


def test_a_missing_profile_is_srgb_and_said_to_be_assumed() -> None:
    picture = open_picture(saved(RGB))
    assert (picture.facts.profile_name, picture.facts.profile_assumed) == ("sRGB", True)
    assert picture.facts.profile_problem is None
    assert picture.profile == convert.srgb_profile()


@pytest.mark.parametrize("file_format", ["JPEG", "PNG", "TIFF", "HEIF"])
@pytest.mark.parametrize("name", ["sRGB", "Adobe RGB", "Display P3", "ProPhoto RGB"])
def test_embedded_profiles_are_kept_and_named(file_format: str, name: str) -> None:
    icc = profiles.build(name)
    data = heif(RGB, icc_profile=icc) if file_format == "HEIF" else saved(RGB, file_format, icc_profile=icc)
    picture = open_picture(data)
    assert picture.profile == icc
    assert picture.facts.profile_name.startswith(name)
    assert not picture.facts.profile_assumed


def test_adobe_rgb_said_by_exif_alone_is_believed() -> None:
    """DCF 2.0: interoperability index R03 stands for the optional Adobe RGB colour space [std, from memory]."""
    facts = probe(saved(RGB, exif=exif(space=0xFFFF, interop="R03")))
    assert "R03" in facts.profile_name
    assert not facts.profile_assumed
    picture = open_picture(saved(RGB, exif=exif(space=0xFFFF, interop="R03")))
    assert picture.profile == profiles.build("Adobe RGB")
    tagged = probe(saved(RGB, exif=exif(interop="R03"), icc_profile=profiles.build("Display P3")))
    assert tagged.profile_name.startswith("Display P3")


BROKEN_PROFILES = {
    "noise": b"no profile at all" * 9,
    "cut off": profiles.build("Adobe RGB")[:200],
    "for grey": profiles.build("Gray"),
    "empty body": profiles.build("Adobe RGB")[:128] + bytes(400),
}


@pytest.mark.parametrize("what", BROKEN_PROFILES)
@pytest.mark.parametrize("file_format", ["JPEG", "PNG", "TIFF", "HEIF"])
def test_a_broken_profile_is_named_and_the_frame_opens(what: str, file_format: str) -> None:
    icc = BROKEN_PROFILES[what]
    data = heif(RGB, icc_profile=icc) if file_format == "HEIF" else saved(RGB, file_format, icc_profile=icc)
    picture = open_picture(data)
    assert picture.profile == convert.srgb_profile()
    assert picture.facts.profile_assumed
    if picture.facts.profile_problem or file_format in ("JPEG", "TIFF"):
        assert "profile" in sentence_of(picture.facts.profile_problem)
        assert picture.facts.profile_assumed


def test_a_profile_with_a_piece_missing_is_named() -> None:
    icc = profiles.build("Adobe RGB") + bytes(70_000)
    data = saved(RGB, icc_profile=icc)
    second = data.rindex(b"ICC_PROFILE\0")
    broken = data[: second + 12] + b"\x07" + data[second + 13 :]
    facts = verify(broken)
    assert "pieces" in sentence_of(facts.profile_problem)
    assert facts.profile_assumed


# --- limits ---------------------------------------------------------------------------------------------


def test_limits_are_checked_before_decoding() -> None:
    data = saved(RGB)
    cut = data[: len(data) // 2]  # decoding it would say 'cut off'
    with refused(TooLarge, "19,200 pixels"):
        verify(cut, Limits(max_pixels=10_000))
    with refused(TooLarge, "no side may exceed 150"):
        verify(cut, Limits(max_side=150))
    with refused(TooLarge, "at most 100 are accepted"):
        verify(cut, Limits(max_bytes=100))


def test_the_byte_limit_is_checked_before_reading(tmp_path: Path) -> None:
    path = tmp_path / "huge.jpg"
    with path.open("wb") as file:
        file.truncate(400_000_000)
    with refused(TooLarge, "400,000,000 bytes"):
        probe(path)


def test_hundred_megapixels_are_within_the_limits() -> None:
    data = saved(np.zeros((8708, 11656), np.uint8), quality=50)
    assert verify(data).width == 11656


def test_facts_can_be_compared() -> None:
    facts = probe(saved(RGB))
    assert replace(facts, camera="x") != facts


def test_heif_with_transparency_and_with_grey() -> None:
    alpha = np.zeros((64, 96, 1), np.uint8)
    alpha[:, 48:] = 255
    rgba = np.concatenate([np.full((64, 96, 3), (200, 100, 50), np.uint8), alpha], axis=2)
    out = io.BytesIO()
    pillow_heif.from_pillow(Image.fromarray(rgba)).save(out, quality=95)
    picture = open_picture(out.getvalue())
    assert picture.facts.mode == "RGBA"
    assert np.abs(picture.pixels[:, :40].astype(int) - formats.SURROUND).max() <= 3
    assert np.abs(picture.pixels[:, 56:].astype(int) - (200, 100, 50)).max() <= 8
    grey = open_picture(heif(RGB[:, :, 1]))
    assert grey.pixels.shape == RGB.shape
    assert np.ptp(grey.pixels.astype(int), axis=2).max() <= 2
    assert _far(grey.pixels[:, :, 1], RGB[:, :, 1]) < 3


def test_ten_bit_heif_keeps_its_depth() -> None:
    ramp = np.linspace(16_000, 20_000, 160).round().astype(np.uint16)
    wide = np.repeat(np.repeat(ramp[None, :, None], 64, axis=0), 3, axis=2)
    out = io.BytesIO()
    pillow_heif.from_bytes("RGB;16", (160, 64), wide.tobytes()).save(out, quality=95)
    picture = open_picture(out.getvalue())
    assert (picture.facts.bits, picture.pixels.dtype) == (16, np.uint16)
    assert np.abs(picture.pixels[32, :, 1].astype(int) - ramp).max() < 400
    assert len(np.unique(picture.pixels[32, :, 1])) > 40  # eight bits would leave 16
