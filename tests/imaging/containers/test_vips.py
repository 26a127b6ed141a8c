"""Arrays handed to libvips and back: every type and number of bands, and which colours they are taken for."""

from __future__ import annotations

import os

import numpy as np
import pytest
import pyvips

from galleries.imaging.containers import vips


@pytest.mark.parametrize("kind", [np.uint8, np.uint16, np.float32])
@pytest.mark.parametrize("bands", [1, 3])
def test_there_and_back_is_the_same_to_the_bit(kind: type, bands: int) -> None:
    pixels = (np.arange(5 * 7 * bands).reshape(5, 7, bands) * 1.5).astype(kind)
    back = vips.to_array(vips.from_array(pixels))
    assert back.dtype == kind
    assert np.array_equal(back, pixels)


# libvips' own names: VipsInterpretation [lib].
@pytest.mark.parametrize(
    ("kind", "bands", "name"),
    [
        (np.uint8, 1, "b-w"),
        (np.uint8, 3, "srgb"),
        (np.uint8, 4, "cmyk"),
        (np.uint16, 1, "grey16"),
        (np.uint16, 3, "rgb16"),
        (np.uint16, 4, "cmyk"),
    ],
)
def test_bands_say_what_colours_they_are(kind: type, bands: int, name: str) -> None:
    image = vips.from_array(np.zeros((4, 6, bands), kind))
    assert image.interpretation == name
    assert (image.width, image.height, image.bands) == (6, 4, bands)


def test_a_part_of_an_array_is_that_part() -> None:
    whole = np.arange(8 * 9 * 3, dtype=np.uint8).reshape(8, 9, 3)
    assert np.array_equal(vips.to_array(vips.from_array(whole[2:7:2, ::-1])), whole[2:7:2, ::-1])


def test_a_worker_keeps_to_one_thread_and_no_memory_of_pictures() -> None:
    assert os.environ["VIPS_CONCURRENCY"] == "1"
    assert pyvips.cache_get_max() == 0
