"""Border and name strip: exactly where they belong, white and black in every depth, the name never over the edge."""

from __future__ import annotations

import io

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from galleries.imaging import preview
from galleries.imaging.codes import Code
from galleries.imaging.drawing import border
from galleries.imaging.errors import ImagingError
from galleries.imaging.framing.cut_order import CutOrder
from galleries.imaging.framing.geometry import Rect
from galleries.imaging.framing.sizes import SizeSpec
from galleries.imaging.recipes import make_finals
from galleries.told import told
from tests import retouches

GREY = 120


def _size(**fields: object) -> SizeSpec:
    values = {"border": 15, "name_strip": True, "bleed": 7.5, "ppi": 60, **fields}
    return SizeSpec("print", "Print", "print", 480, 600, **values)  # type: ignore[arg-type]


def _drawn(size: SizeSpec, name: str = "Ansa Veld", dtype: type = np.uint8) -> np.ndarray:
    grey = GREY * (257 if dtype is np.uint16 else 1)
    return border.draw(np.full((size.out_height, size.out_width, 3), grey, dtype), size, name)


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_border_and_strip_lie_where_the_size_says(dtype: type) -> None:
    size = _size()
    left, top, right, bottom = border.insets(size)
    assert (left, top, right) == (15 + 7, 15 + 7, 15 + 8)  # 15 px of bleed in all: 7 and 8
    assert bottom == 15 + 8 + round(border.STRIP * 600)
    out = _drawn(size, dtype=dtype)
    white = np.iinfo(dtype).max
    h, w = out.shape[:2]
    picture = out[top : h - bottom, left : w - right]
    assert (picture == picture[0, 0]).all()
    assert picture[0, 0, 0] < white
    for part in (out[:top], out[:, :left], out[:, w - right :], out[h - 23 :]):
        assert (part == white).all()
    strip = out[h - bottom : h - 23, left : w - right]
    assert strip.min() < 0.2 * white  # the letters
    assert (strip[..., 0] == strip[..., 2]).all()  # neutral
    ink = np.nonzero((strip[..., 0] < white / 2).any(axis=0))[0]
    assert abs((ink[0] + ink[-1]) / 2 - strip.shape[1] / 2) <= 2  # in the middle


def test_a_size_without_either_is_left_alone() -> None:
    pixels = np.full((600, 480, 3), GREY, np.uint8)
    assert border.draw(pixels, _size(border=0, name_strip=False, bleed=0), "Ansa Veld") is pixels


def test_a_border_alone_leaves_the_rest_alone() -> None:
    size = _size(name_strip=False, bleed=0)
    out = _drawn(size)
    assert (out[15:-15, 15:-15] == GREY).all()
    assert border.insets(size) == (15, 15, 15, 15)


@settings(max_examples=25, deadline=None)
@given(st.text(st.characters(codec="latin-1", categories=["L", "Zs"]), min_size=1, max_size=60))
def test_no_name_leaves_its_strip(name: str) -> None:
    size = _size()
    try:
        out = _drawn(size, name)
    except ImagingError:  # cannot be set: told before anything is drawn
        assert border.name_problem(size, name) is not None
        return
    left, _top, right, bottom = border.insets(size)
    h, w = out.shape[:2]
    assert (out[22 : h - bottom, left : w - right] == GREY).all()
    assert (out[:, :left] == 255).all()
    assert (out[:, w - right :] == 255).all()
    assert (out[h - 23 :] == 255).all()


@pytest.mark.parametrize(
    "name", ["Zoë Œuvrard-Ångström", "Иванова", "Ελένη", "Ansa Wilhelmina Cornelia van der Veld-Achterberg"]
)
def test_names_of_many_kinds_are_set(name: str) -> None:
    assert border.name_problem(_size(), name) is None


def test_what_no_font_has_is_told() -> None:
    assert border.name_problem(_size(), "𓀀") == told(Code.STRIP_NO_LETTERS, letters="𓀀", name="𓀀")
    assert border.name_problem(_size(name_strip=False), "𓀀") is None


def test_the_preview_is_the_export_made_small() -> None:
    rng = np.random.default_rng(3)
    frame = np.kron(rng.integers(40, 220, (20, 16, 3)), np.ones((60, 60, 1))).astype(np.uint8)
    source = retouches.as_jpeg(frame, 95)
    order = CutOrder(_size(bleed=0), Rect(60, 100, 800, 1000), 2.0)
    (final,) = make_finals(source, [order], finish=border.border_and_name("Ansa Veld"))
    (small,) = preview.cut_small(source, [order], 300, name="Ansa Veld")
    whole = Image.open(io.BytesIO(final.data)).convert("RGB").resize((240, 300), Image.Resampling.LANCZOS)
    apart = np.abs(np.asarray(whole, int) - retouches.opened(small))
    assert apart.mean() < 4
    assert np.percentile(apart, 99) < 40
