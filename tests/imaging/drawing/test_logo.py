"""A logo becomes ink, whatever its ground; the stamp draws it. Read back by Pillow, which the product's opener does not
use."""

from __future__ import annotations

from io import BytesIO

import cv2
import numpy as np
import pytest
from PIL import Image

from galleries.imaging import preview
from galleries.imaging.drawing.logo import TALLEST, WIDEST, make_logo, mask_of
from galleries.imaging.drawing.stamp import StampText, stamp
from galleries.imaging.errors import Unsupported


def drawn(ground: tuple[int, ...], ink: tuple[int, ...], size: tuple[int, int] = (300, 200)) -> bytes:
    """A disc of 100 px across on an even ground."""
    image = Image.new("RGBA" if len(ground) == 4 else "RGB", size, ground)
    middle = size[0] // 2, size[1] // 2
    pixels = np.array(image)
    cv2.circle(pixels, middle, 50, ink, -1)
    file = BytesIO()
    Image.fromarray(pixels).save(file, "PNG")
    return file.getvalue()


@pytest.mark.parametrize(
    ("ground", "ink"),
    [
        ((255, 255, 255), (0, 0, 0)), ((20, 20, 20), (240, 240, 240)), ((240, 240, 240), (200, 30, 30)),
        ((0, 0, 0, 0), (0, 0, 0, 255)), ((0, 0, 0, 0), (255, 255, 255, 255)),
    ],
)  # fmt: skip
def test_the_drawing_is_cut_out_and_read_back_as_it_was(ground: tuple[int, ...], ink: tuple[int, ...]) -> None:
    logo = make_logo(drawn(ground, ink))
    with Image.open(BytesIO(logo)) as image:
        assert image.mode == "LA"
        assert abs(image.width - 101) <= 1
        assert abs(image.height - 101) <= 1
        alpha = np.asarray(image)[:, :, 1]
    assert alpha[50, 50] == 255
    assert alpha[2, 2] == 0
    assert np.abs(mask_of(logo).astype(int) - alpha).max() <= 3  # through the opener's own surround


def test_a_large_one_is_made_small_and_an_even_picture_is_none() -> None:
    wide = np.full((400, 3000, 3), 255, np.uint8)
    wide[50:350, 50:2950] = 0
    file = BytesIO()
    Image.fromarray(wide).save(file, "PNG")
    with Image.open(BytesIO(make_logo(file.getvalue()))) as image:
        assert image.width <= WIDEST
        assert image.height <= TALLEST
    with pytest.raises(Unsupported):
        make_logo(drawn((128, 128, 128), (140, 140, 140)))


def test_the_stamp_draws_it_in_the_place_of_the_name() -> None:
    grey = np.full((480, 360, 3), 128, np.uint8)
    by_name, by_logo = (
        stamp(grey, StampText("Quay", logo=logo), []) for logo in (b"", make_logo(drawn((255,) * 3, (0,) * 3)))
    )
    assert (by_logo != 128).any()
    assert (by_logo != by_name).any()


def test_the_sample_shows_the_stamp_and_a_free_face() -> None:
    quiet, strong = (
        np.asarray(Image.open(BytesIO(preview.stamp_sample(StampText("Quay", strength=strength)))).convert("L"), int)
        for strength in (0.0, 1.3)
    )
    assert quiet.shape == (600, 480)
    changed = np.abs(strong - quiet) > 16  # more than JPEG's own noise
    assert 0.02 < changed.mean() < 0.5
    eyes = changed[232:248, 190:290]
    assert not eyes.any()
