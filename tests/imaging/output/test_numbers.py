"""Sizes, amounts, qualities and the search for a byte cap, in numbers worked out by hand."""

from __future__ import annotations

import hashlib
import io
import math

import cv2
import numpy as np
import pytest
from PIL import Image

from galleries.imaging.codes import Code
from galleries.imaging.colour import profiles
from galleries.imaging.containers import vips
from galleries.imaging.errors import BadProfile, DoesNotFit
from galleries.imaging.framing.geometry import Rect
from galleries.imaging.output import encode, resize, sharpen, softproof
from tests.imaging.core_pictures import painted

# Sizes


@pytest.mark.parametrize(
    ("size", "side", "fit"),
    [
        ((6000, 4000), 2048, (2048, 1365)),
        ((4000, 6000), 2048, (1365, 2048)),
        ((3, 2), 3, (3, 2)),
        ((2, 3), 4, (2, 3)),
        ((4, 3), 2, (2, 2)),  # 1.5 rounds half up
        ((10_000, 1), 100, (100, 1)),
        ((1, 10_000), 100, (1, 100)),
        ((100, 100), 99, (99, 99)),
    ],
)
def test_the_long_side_is_met_and_the_short_one_rounds_half_up(
    size: tuple[int, int], side: int, fit: tuple[int, int]
) -> None:
    assert resize.fit_within(*size, side) == fit


@pytest.mark.parametrize(
    ("use", "size", "sampling"),
    [
        ("print", (9000, 9000), "444"),
        ("full", (9000, 9000), "444"),
        ("web", (1000, 999), "444"),
        ("web", (1000, 1000), "420"),
        ("casting", (999, 1001), "444"),
        ("casting", (1001, 1000), "420"),
    ],
)
def test_large_screen_files_alone_give_up_colour_samples(use: str, size: tuple[int, int], sampling: str) -> None:
    assert encode.subsampling_for(use, *size) == sampling


@pytest.mark.parametrize(
    ("use", "reduction", "percent"),
    [("print", 2, 45), ("print", 1, 45), ("print", 0.99, 22), ("web", 1, 22), ("casting", 0.5, 11), ("full", 3, 0)],
)
def test_an_enlarged_picture_is_sharpened_half(use: str, reduction: float, percent: int) -> None:
    assert sharpen.amount_for(use, reduction) == percent


def test_a_picture_is_averaged_two_by_two_while_it_is_twice_as_large() -> None:
    rng = np.random.default_rng(2)
    pixels = rng.integers(0, 256, (40, 64, 3), np.uint8)
    blocks = pixels.reshape(10, 4, 16, 4, 3).astype(float).mean(axis=(1, 3))
    assert np.abs(resize.plain_average(pixels, 16, 10) - blocks).max() <= 1  # two roundings
    assert np.array_equal(resize.plain_average(pixels, 64, 40), pixels)


@pytest.mark.parametrize("size", [(33, 21), (31, 41), (16, 39)])
def test_an_average_of_any_size_has_it_and_never_overshoots(size: tuple[int, int]) -> None:
    pixels = np.where(np.arange(64)[None, :, None] < 32, 10, 240).astype(np.uint8).repeat(40, axis=0).repeat(3, axis=2)
    found = resize.plain_average(pixels, *size)
    assert found.shape == (size[1], size[0], 3)
    assert (found.min(), found.max()) == (10, 240)


@pytest.mark.parametrize("long_side", [12, 16, 17])
def test_far_smaller_pictures_are_averaged_first(monkeypatch: pytest.MonkeyPatch, long_side: int) -> None:
    seen: list[tuple[int, ...]] = []
    plain = resize.resize_to

    def watched(pixels: np.ndarray, width: int, height: int) -> np.ndarray:
        seen.append(pixels.shape)
        return plain(pixels, width, height)

    monkeypatch.setattr(resize, "resize_to", watched)
    resize.shrink_far(painted(64, 40), long_side, long_side * 10 // 16)
    assert seen == [(20, 32, 3) if long_side <= 16 else (40, 64, 3)]


# Turned crops


@pytest.mark.parametrize(("tilt", "quarter"), [(90.0, 1), (-90.0, -1), (180.0, 2)])
def test_quarter_turns_are_those_of_numpy(tilt: float, quarter: int) -> None:
    """A tilt turns the crop clockwise, so its content comes out turned the other way."""
    pixels = painted(60, 60)
    found = resize.cut_turned(pixels, Rect(10, 20, 30, 30), tilt)
    assert np.abs(found.astype(int) - np.rot90(pixels[20:50, 10:40], quarter)).max() <= 1


@pytest.mark.parametrize(
    "corner", [Rect(0, 0, 20, 16), Rect(140, 0, 20, 16), Rect(0, 104, 20, 16), Rect(140, 104, 20, 16)]
)
def test_a_crop_turned_over_the_edge_repeats_it(corner: Rect) -> None:
    pixels = np.full((120, 160, 3), 90, np.uint8)
    assert (resize.cut_turned(pixels, corner, 7.0) == 90).all()


def test_only_the_neighbourhood_is_looked_at() -> None:
    """The same crop of a large picture and of its surroundings alone: the same pixels."""
    pixels = painted(400, 300)
    rect = Rect(200, 150, 40, 30)
    part = resize.cut_turned(pixels[110:230, 160:300], rect.moved(-160, -110), 11.0)
    assert np.array_equal(resize.cut_turned(pixels, rect, 11.0), part)


# Sharpening


def test_the_kernel_adds_back_what_a_binomial_blur_takes() -> None:
    """One lit pixel: the blur leaves a quarter of it, so 40 % of the other three quarters are added."""
    pixels = np.full((7, 7, 3), 100, np.uint8)
    pixels[3, 3] = 140
    found = sharpen.sharpen(pixels, 40).astype(int)
    assert tuple(found[3, 3]) == (152,) * 3  # 140 + 0.4 × (140 - 110)
    assert found[3, 2, 0] == 98  # 100 - 0.4 × 5
    assert found[2, 2, 0] == 99  # 100 - 0.4 × 2.5
    assert found[0, 0, 0] == 100
    assert sharpen.sharpen(pixels, 0) is pixels


def test_sharpening_is_within_one_value_of_the_sum_in_floats() -> None:
    pixels = np.random.default_rng(5).integers(0, 256, (60, 70, 3), np.uint8)
    wide = np.pad(pixels.astype(float), ((1, 1), (1, 1), (0, 0)), "edge")
    rows = (wide[:-2] + 2 * wide[1:-1] + wide[2:]) / 4
    blurred = (rows[:, :-2] + 2 * rows[:, 1:-1] + rows[:, 2:]) / 4
    exact = np.clip(pixels + 0.45 * (pixels - blurred), 0, 255)
    assert np.abs(sharpen.sharpen(pixels, 45) - exact).max() < 1


@pytest.mark.parametrize(("kind", "unit"), [(np.uint8, 1), (np.uint16, 257)])
def test_no_pixel_leaves_its_neighbourhood_by_more_than_a_few_values(kind: type, unit: int) -> None:
    source = np.full((20, 20, 3), 100 * unit, kind)
    source[:, 10:] = 150 * unit
    wild = source.copy()
    wild[5, 5], wild[5, 15], wild[15, 9], wild[15, 2] = 0, 250 * unit, 200 * unit, 104 * unit
    held = sharpen.without_halos(wild, source)
    assert held.dtype == kind
    assert tuple(held[5, 5]) == ((100 - sharpen.OVERSHOOT) * unit,) * 3
    assert tuple(held[5, 15]) == ((150 + sharpen.OVERSHOOT) * unit,) * 3
    assert tuple(held[15, 9]) == ((150 + sharpen.OVERSHOOT) * unit,) * 3  # beside the edge the brighter side counts
    assert tuple(held[15, 2]) == (104 * unit,) * 3
    assert wild[5, 5, 0] == 0


# The byte cap


@pytest.mark.parametrize(
    ("quality", "percent"), [(1, 5000), (10, 500), (25, 200), (49, 5000 / 49), (50, 100), (75, 50), (90, 20), (100, 1)]
)
def test_libjpegs_scale_of_its_tables(quality: int, percent: float) -> None:
    """jpeg_quality_scaling of the IJG's libjpeg: 5000 / q under 50, 200 - 2 q from there [lib, from memory]."""
    assert encode._strength(quality) == pytest.approx(math.log(percent))


@pytest.mark.parametrize("quality", [10, 25, 50, 75, 90])
def test_pillow_scales_its_tables_so(quality: int) -> None:
    """The luminance table of T.81 annex K.1 begins with 16; Pillow writes it scaled."""
    out = io.BytesIO()
    Image.new("RGB", (8, 8)).save(out, "JPEG", quality=quality)
    with Image.open(out) as image:
        first = image.quantization[0][0]  # type: ignore[attr-defined]
    assert first == math.floor((16 * math.exp(encode._strength(quality)) + 50) / 100)


def test_a_line_through_two_trials_meets_the_cap() -> None:
    """Sizes that follow a power of the strength exactly: the secant then names the quality at once."""

    def log_size(quality: int, power: float) -> float:
        return 12 - power * encode._strength(quality)

    for power in (0.4, 0.6, 0.9):
        for wanted in (55, 62, 70, 80):
            cap = log_size(wanted, power) + 0.0101
            assert encode._secant(90, log_size(90, power), (60, log_size(60, power)), cap) == wanted
    assert encode._secant(90, log_size(90, 0.6), None, log_size(70, 0.6) + 0.0101) == 70
    assert encode._secant(90, log_size(90, 0.6), (90, 1.0), log_size(70, 0.6) + 0.0101) == 70
    assert encode._secant(60, log_size(60, 0.6), None, log_size(40, 0.6) + 0.0101) == 40


def test_two_trials_on_a_plateau_still_move() -> None:
    """Two qualities of nearly the same size say nothing of the slope: it is taken as 0.2 at least."""
    assert encode._secant(80, 10.0, (85, 10.0), 9.5) < 80
    assert encode._secant(80, 10.0, (85, 10.0), 10.5) > 80


NOISE = np.random.default_rng(4).integers(0, 256, (96, 128, 3), np.uint8)


def _sizes() -> dict[int, int]:
    return {quality: len(encode.encode_jpeg(NOISE, quality=quality, icc=b"")) for quality in range(50, 96)}


def test_the_quality_found_is_the_best_that_fits_or_close_to_its_cap() -> None:
    """Against trying every quality, the plain way."""
    sizes = _sizes()
    for cap in (sizes[50], sizes[50] + 1, sizes[63] - 1, sizes[63], sizes[72] + 5, sizes[85], sizes[85] * 9):
        found = encode.encode_within(NOISE, cap, icc=b"")
        best = max(quality for quality in range(50, 86) if sizes[quality] <= cap)
        assert len(found.data) <= cap
        assert found.quality == best or len(found.data) >= encode.CLOSE_ENOUGH * cap
        assert found.data == encode.encode_jpeg(NOISE, quality=found.quality, icc=b"")
        assert found.sha256 == hashlib.sha256(found.data).hexdigest()
        assert found.encodes <= 6


@pytest.mark.parametrize("power", [0.4, 0.6, 0.9, 1.3])
def test_sizes_of_any_power_law_are_met_in_three_trials_on_average(
    monkeypatch: pytest.MonkeyPatch, power: float
) -> None:
    def size(quality: int) -> int:
        return round(math.exp(11 - power * encode._strength(quality)))

    monkeypatch.setattr(encode, "encode_jpeg", lambda rgb, *, quality: bytes(size(quality)))
    trials = 0
    for wanted in range(50, 86):
        found = encode.encode_within(NOISE, size(wanted))
        assert found.quality == wanted or 0.93 * size(wanted) <= size(found.quality) <= size(wanted)
        trials += found.encodes
    assert trials <= 3 * 36


@pytest.mark.parametrize("step", range(51, 85))
def test_a_sudden_step_of_the_sizes_is_found_to_the_quality(monkeypatch: pytest.MonkeyPatch, step: int) -> None:
    """No line runs through such sizes, yet the search ends, and at the best quality."""
    monkeypatch.setattr(encode, "encode_jpeg", lambda rgb, *, quality: bytes(5000 if quality > step else 1000))
    found = encode.encode_within(NOISE, 3000)
    assert (found.quality, len(found.data)) == (step, 1000)


def test_a_ceiling_over_the_start_is_climbed_to() -> None:
    sizes = _sizes()
    assert encode.encode_within(NOISE, sizes[95] * 2, start=80, ceiling=95, icc=b"").quality == 95
    assert encode.encode_within(NOISE, sizes[95] * 2, start=80, ceiling=60, icc=b"").quality == 80
    assert encode.encode_within(NOISE, sizes[95] * 2, start=80, icc=b"").encodes == 1


def test_no_byte_is_no_cap_and_the_floor_is_the_floor() -> None:
    sizes = _sizes()
    for cap, code in ((0, Code.CAP_UNDER_RIGHTS), (-5, Code.CAP_UNDER_RIGHTS), (sizes[50] - 1, Code.CAP_WOULD_FIT)):
        with pytest.raises(DoesNotFit) as caught:
            encode.encode_within(NOISE, cap, icc=b"")
        assert caught.value.told.code == code
    data = caught.value.told.data
    assert (data["quality"], data["width_px"], data["height_px"], data["size_bytes"]) == (50, 128, 96, sizes[50])
    smaller = resize.resize_to(NOISE, int(str(data["fits_width_px"])), int(str(data["fits_height_px"])))
    assert len(encode.encode_jpeg(smaller, quality=50, icc=b"")) < sizes[50]
    assert encode.encode_within(NOISE, sizes[50] - 1, floor=40, icc=b"").quality < 50


def test_a_cap_that_no_picture_meets_is_told_with_what_the_tags_take() -> None:
    overhead = len(encode.encode_jpeg(NOISE[:16, :16], quality=50, icc=b""))
    for cap, code in ((overhead, Code.CAP_UNDER_TAGS), (overhead + 1, Code.CAP_NOTHING_FITS)):
        told = encode._what_would_fit(np.ascontiguousarray(NOISE[:20, :20]), cap, 50, 5000, {"icc": b""})
        assert told.code in (code, Code.CAP_WOULD_FIT if code == Code.CAP_NOTHING_FITS else code)
    assert encode._what_would_fit(NOISE, overhead, 50, 5000, {"icc": b""}).data["tags_bytes"] == overhead


def test_what_would_fit_is_worked_out_from_the_pixels_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """A file of 400 bytes and one for each pixel: 64 % of the pixels' bytes are 80 % of each side."""
    seen: list[tuple[int, int]] = []

    def size(rgb: np.ndarray, *, quality: int) -> bytes:
        seen.append((rgb.shape[1], rgb.shape[0]))
        return bytes(400 + rgb.shape[0] * rgb.shape[1])

    monkeypatch.setattr(encode, "encode_jpeg", size)
    told = encode._what_would_fit(np.zeros((200, 300, 3), np.uint8), 400 + 38_400, 50, 400 + 60_000, {})
    assert (told.data["fits_width_px"], told.data["fits_height_px"]) == (240, 160)
    assert seen == [(16, 16), (240, 160)]


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
def test_a_tiff_is_lossless_with_its_resolution_and_profile(kind: type) -> None:
    pixels = (painted().astype(kind) * (257 if kind == np.uint16 else 1)).astype(kind)
    for icc, wanted in ((None, profiles.build("sRGB")), (profiles.build("Display P3"), profiles.build("Display P3"))):
        data = encode.encode_tiff(pixels, ppi=300, icc=icc)
        with Image.open(io.BytesIO(data)) as image:
            assert image.info["icc_profile"] == wanted
            assert [round(side, 2) for side in image.info["dpi"]] == [300, 300]
            assert image.info["compression"] == "tiff_adobe_deflate"
        assert np.array_equal(vips.to_array(vips.Image.new_from_buffer(data, "")), pixels)


def test_only_the_side_that_shrinks_is_averaged() -> None:
    """Stripes along the side that shrinks stay as they are: nothing is halved across them."""
    stripes = (np.arange(40) % 2 * 200).astype(np.uint8)
    rows = np.broadcast_to(stripes[:, None, None], (40, 64, 3)).copy()
    assert np.array_equal(resize.plain_average(rows, 16, 40), rows[:, :16])
    columns = rows.transpose(1, 0, 2).copy()
    assert np.array_equal(resize.plain_average(columns, 40, 16), columns[:16])


# On paper


@pytest.mark.parametrize(
    ("outside", "share"), [(0.0, None), (0.0049, None), (0.005, 0.01), (0.014, 0.01), (0.016, 0.02), (0.5, 0.5)]
)
def test_a_share_out_of_reach_is_told_from_half_a_percent(outside: float, share: float | None) -> None:
    warning = softproof.PaperView(np.zeros((1, 1, 3), np.uint8), outside).warning
    assert (warning.data["outside_share"] if warning else None) == share


SRGB = profiles.build("sRGB")


@pytest.mark.parametrize(
    ("icc", "code"),
    [
        (b"", Code.LAB_NO_PROFILE),
        (SRGB[:131], Code.LAB_NO_PROFILE),
        (SRGB[:36] + b"ACSP" + SRGB[40:], Code.LAB_NO_PROFILE),
        (SRGB[:12] + b"link" + SRGB[16:], Code.LAB_CLASS),
        (SRGB[:12] + b"abst" + SRGB[16:], Code.LAB_CLASS),
        (profiles.build("Gray"), Code.LAB_SPACE),
        (SRGB[:16] + b"CMYK" + SRGB[20:], Code.LAB_SPACE),
    ],
)
def test_a_labs_profile_is_one_for_rgb_files(icc: bytes, code: Code) -> None:
    """ICC.1 7.2: 'acsp' at byte 36, the class at 12 (scnr, mntr, prtr, spac, link, abst, nmcl), the space at 16."""
    with pytest.raises(BadProfile) as caught:
        softproof.check_profile(icc)
    assert caught.value.told.code == code


def test_the_space_that_is_wrong_is_named() -> None:
    with pytest.raises(BadProfile) as caught:
        softproof.check_profile(profiles.build("Gray"))
    assert caught.value.told.data == {"space": "GRAY"}
    assert softproof.check_profile(SRGB).name == "sRGB"


def test_srgb_on_srgb_paper_is_as_it_was() -> None:
    view = softproof.on_paper(painted(), SRGB)
    assert view.outside == 0
    assert np.abs(view.rgb.astype(int) - painted()).max() <= 1


def test_wide_colours_are_out_of_reach_of_a_narrow_paper() -> None:
    """A paper whose primaries are half way to its white shows no saturated colour (a profile of our own arithmetic)."""
    rgb = np.zeros((10, 20, 3), np.uint8)
    rgb[:, :10] = (0, 255, 0)
    rgb[:, 10:] = 128
    narrow = profiles._SPACES["sRGB"][0]
    pale = tuple(((x + 0.3127) / 2, (y + 0.329) / 2) for x, y in narrow)
    colorants = profiles._colorants(pale, (0.3127, 0.329))  # type: ignore[arg-type]
    icc = SRGB
    for at, tag in enumerate((b"rXYZ", b"gXYZ", b"bXYZ")):
        entry = icc.index(tag)
        offset = int.from_bytes(icc[entry + 4 : entry + 8], "big")
        icc = icc[:offset] + profiles._s15(colorants[:, at]) + icc[offset + 20 :]
    view = softproof.on_paper(rgb, icc)
    assert view.outside == pytest.approx(0.5)
    assert np.abs(view.rgb[:, 10:].astype(int) - 128).max() <= 2


@pytest.mark.parametrize("rgb", [(255, 255, 255), (0, 0, 0), (119, 119, 119), (200, 120, 80)])
def test_lab_is_opencvs_of_the_same_pixels(rgb: tuple[int, int, int]) -> None:
    pixel = np.array([[rgb]], np.uint8)
    coarse = cv2.cvtColor(pixel, cv2.COLOR_RGB2LAB)[0, 0].astype(float)  # 8 bit: L × 2.55, a and b + 128
    fine = softproof._lab(pixel)[0, 0]
    assert fine == pytest.approx((coarse[0] / 2.55, coarse[1] - 128, coarse[2] - 128), abs=0.8)
