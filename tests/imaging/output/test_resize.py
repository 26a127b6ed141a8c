"""Resizing against a float reference, hair before a bright backdrop, exact sizes, turned crops."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from skimage.metrics import peak_signal_noise_ratio, structural_similarity

from galleries.imaging.framing import geometry
from galleries.imaging.framing.geometry import Rect
from galleries.imaging.opening.decode import open_picture
from galleries.imaging.output import resize, sharpen
from tests.imaging.core_pictures import painted, saved

BACKDROP, HAIR = 230, 28


def _detailed(width: int = 900, height: int = 600) -> np.ndarray:
    """Smooth light, fractal texture, hair-fine lines and grain."""
    rng = np.random.default_rng(4)
    picture = painted(width, height).astype(np.float32)
    for step in (4, 8, 16, 64):
        noise = rng.normal(0, 2 + step / 8, (height // step, width // step, 1)).astype(np.float32)
        picture += cv2.resize(noise, (width, height), interpolation=cv2.INTER_CUBIC)[:, :, None]
    out = np.clip(picture, 0, 255).astype(np.uint8)
    for _ in range(120):
        a, b = rng.integers(0, [width, height], 2), rng.integers(0, [width, height], 2)
        shade = tuple(int(c) for c in rng.integers(10, 90, 3))
        cv2.line(out, tuple(map(int, a)), tuple(map(int, b)), shade, int(rng.integers(1, 4)), cv2.LINE_AA)
    return np.clip(out + rng.normal(0, 2, out.shape), 0, 255).astype(np.uint8)


def _reference(pixels: np.ndarray, width: int, height: int) -> np.ndarray:
    """Pillow's Lanczos in 32-bit float: another library's arithmetic."""
    bands = [
        Image.fromarray(pixels[:, :, i].astype(np.float32)).resize((width, height), Image.Resampling.LANCZOS)
        for i in range(3)
    ]
    return np.stack([np.asarray(band) for band in bands], axis=2).clip(0, 255)


def _likeness(one: np.ndarray, reference: np.ndarray) -> tuple[float, float]:
    weights = np.array([0.2126, 0.7152, 0.0722])
    a, b = one.astype(np.float64) @ weights, reference.astype(np.float64) @ weights
    ssim = structural_similarity(a, b, data_range=255, gaussian_weights=True, sigma=1.5, use_sample_covariance=False)
    return float(ssim), float(peak_signal_noise_ratio(b, a, data_range=255))


def test_a_final_is_as_good_as_a_float_reference() -> None:
    pixels = _detailed()
    ssim, psnr = _likeness(resize.resize_to(pixels, 400, 267), _reference(pixels, 400, 267))
    assert ssim > 0.999
    assert psnr > 45


def test_a_proof_from_the_half_size_decode_stays_close() -> None:
    data = saved(_detailed(1200, 800), quality=95, subsampling=0)
    full, half = open_picture(data).pixels, open_picture(data, at_least=410).pixels
    assert half.shape == (400, 600, 3)
    ssim, psnr = _likeness(resize.resize_to(half, 410, 273), _reference(full, 410, 273))
    assert ssim > 0.99
    assert psnr > 38


def test_small_proofs_averaged_first_stay_close() -> None:
    pixels = _detailed(1200, 800)
    ssim, _ = _likeness(resize.shrink_far(pixels, 240, 160), _reference(pixels, 240, 160))
    assert ssim > 0.99


def _hair(width: int = 1000, height: int = 800) -> np.ndarray:
    """Dark strands of 2 to 5 px across a bright even backdrop, anti-aliased."""
    picture = np.full((height, width, 3), BACKDROP, np.uint8)
    rng = np.random.default_rng(9)
    for n in range(18):
        x = 40 + n * 52
        points = [(x + 30 * np.sin(t * 2 + n), 800 * t) for t in np.linspace(0, 1, 40)]
        shade = (HAIR + 6, HAIR, HAIR - 4)
        cv2.polylines(picture, [np.array(points, np.float32).round().astype(np.int32)], False, shade,
                      int(rng.integers(2, 6)), cv2.LINE_AA)  # fmt: skip
    return picture


@pytest.mark.parametrize("use", ["print", "casting"])
@pytest.mark.parametrize("factor", [1.33, 2.0, 2.6, 4.3])
def test_no_light_rim_along_hair_before_a_bright_backdrop(use: str, factor: float) -> None:
    hair = _hair()
    width, height = round(1000 / factor), round(800 / factor)
    plain = resize.resize_to(hair, width, height)
    sharp = sharpen.sharpen(plain, sharpen.amount_for(use, factor))
    final = sharpen.without_halos(sharp, hair)
    assert int(final.max()) - BACKDROP <= sharpen.OVERSHOOT
    assert int(sharp.max()) - BACKDROP > 2 * sharpen.OVERSHOOT  # what would be seen without it
    weight = (BACKDROP - final.mean()) / (BACKDROP - hair.mean())
    assert weight == pytest.approx(1, abs=0.06)  # the hair keeps its share of darkness
    assert final.min() <= HAIR + 12


def test_texture_is_sharpened_in_full_under_the_bound() -> None:
    rng = np.random.default_rng(2)
    source = np.clip(128 + cv2.GaussianBlur(rng.normal(0, 30, (600, 600, 3)), (0, 0), 2.5), 0, 255).astype(np.uint8)
    plain = resize.resize_to(source, 300, 300)
    sharp = sharpen.sharpen(plain, 45)
    bounded = sharpen.without_halos(sharp, source)
    assert np.mean(bounded != sharp) < 0.01
    assert bounded.astype(float).std() > plain.astype(float).std()


def test_sharpening_leaves_flat_fields_and_depth_alone() -> None:
    flat = np.full((50, 60, 3), 117, np.uint8)
    assert np.array_equal(sharpen.sharpen(flat, 45), flat)
    wide = np.full((50, 60, 3), 30_000, np.uint16)
    assert np.array_equal(sharpen.without_halos(sharpen.sharpen(wide, 45), wide), wide)


def test_sixteen_bit_finals_equal_eight_bit_ones() -> None:
    pixels = _detailed(400, 300)
    wide = pixels.astype(np.uint16) * 257
    eight = sharpen.without_halos(sharpen.sharpen(resize.resize_to(pixels, 170, 128), 22), pixels)
    sixteen = sharpen.without_halos(sharpen.sharpen(resize.resize_to(wide, 170, 128), 22), wide)
    assert np.abs(sixteen / 257 - eight).mean() < 0.6


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 90), st.integers(1, 90), st.integers(1, 200), st.integers(1, 200))
def test_the_size_is_exact_whatever_it_is(width: int, height: int, to_width: int, to_height: int) -> None:
    pixels = np.full((height, width, 3), 90, np.uint8)
    out = resize.resize_to(pixels, to_width, to_height)
    assert out.shape == (to_height, to_width, 3)
    assert np.abs(out.astype(int) - 90).max() <= 1


@given(st.integers(1, 12_000), st.integers(1, 12_000), st.integers(1, 4_000))
def test_fitting_within_keeps_shape_and_never_enlarges(width: int, height: int, side: int) -> None:
    w, h = resize.fit_within(width, height, side)
    assert max(w, h) == min(side, max(width, height))
    assert w <= width
    assert h <= height
    assert abs(w / width - h / height) <= 1.01 / min(width, height)


def test_a_crop_is_the_pixels_under_it() -> None:
    pixels = _detailed(300, 200)
    part = Rect(31, 17, 120, 90)
    assert np.array_equal(resize.resize_to(pixels, 120, 90, part), pixels[17:107, 31:151])
    copied = np.ascontiguousarray(pixels[17:107, 31:151])
    assert np.array_equal(resize.resize_to(pixels, 60, 45, part), resize.resize_to(copied, 60, 45))


def test_a_turned_crop_shows_what_geometry_says() -> None:
    """A bright dot put where `from_turned` says must appear at the crop's own coordinates."""
    rect, tilt = Rect(60, 50, 120, 90), 14.0
    for u, v in ((20.5, 30.5), (100.5, 70.5), (60.5, 10.5)):
        x, y = geometry.from_turned(rect, tilt, (u, v))
        frame = np.zeros((220, 260, 3), np.uint8)
        yy, xx = np.mgrid[0:220, 0:260] + 0.5
        frame[:] = (250 * np.exp(-((xx - x) ** 2 + (yy - y) ** 2) / 8))[:, :, None].astype(np.uint8)
        cut = resize.cut_turned(frame, rect, tilt)
        assert cut.shape == (90, 120, 3)
        weights = cut[:, :, 0].astype(float)
        rows, columns = np.mgrid[0:90, 0:120] + 0.5
        cx, cy = (float((weights * axis).sum() / weights.sum()) for axis in (columns, rows))
        assert (cx, cy) == pytest.approx((u, v), abs=0.15)


def test_a_crop_turned_by_nothing_is_the_crop() -> None:
    pixels = _detailed(300, 200)
    rect = Rect(40, 30, 100, 80)
    assert np.array_equal(resize.cut_turned(pixels, rect, 0.0), pixels[30:110, 40:140])
