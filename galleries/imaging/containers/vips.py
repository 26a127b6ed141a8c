"""libvips, set up once for workers: one thread a process, no operation cache, nothing guessed."""

from __future__ import annotations

import logging
import os
from typing import Any

os.environ.setdefault("VIPS_CONCURRENCY", "1")  # read when the library starts: workers are processes

import numpy as np
import pyvips
from numpy.typing import NDArray

logging.getLogger("pyvips").setLevel(logging.ERROR)  # its warnings are about files that get refused
pyvips.cache_set_max(0)  # one-off pictures: a cache would only hold memory

Image = pyvips.Image
Region = pyvips.Region  # computes a part in the thread that asks for it
Source = pyvips.Source  # looks at the bytes where they are; loading "from a buffer" copies them first
Error = pyvips.Error
BLOB = pyvips.GValue.blob_type

_FORMATS = {"uchar": np.uint8, "ushort": np.uint16, "float": np.float32}
_BANDS_8 = {1: "b-w", 3: "srgb", 4: "cmyk"}
_BANDS_16 = {1: "grey16", 3: "rgb16", 4: "cmyk"}


def from_array(pixels: NDArray[Any]) -> pyvips.Image:
    """A picture over the array's own memory when contiguous; (h, w, bands) uint8, uint16 or float32."""
    pixels = np.ascontiguousarray(pixels)
    height, width, bands = pixels.shape
    name = next(name for name, kind in _FORMATS.items() if pixels.dtype == kind)
    image = pyvips.Image.new_from_memory(pixels, width, height, bands, name)
    table = {"uchar": _BANDS_8, "ushort": _BANDS_16}.get(name)
    return image.copy(interpretation=table[bands]) if table else image


def to_array(image: pyvips.Image) -> NDArray[Any]:
    """(h, w, bands) array of the picture's own type; computes it.

    Into memory of numpy's, which asks the system for large pages: eight resizes to prints take a twelfth less.
    """
    width, height, bands, name = image.width, image.height, image.bands, image.format
    pixels = np.empty((height, width, bands), _FORMATS[name])
    image.write(pyvips.Image.new_from_memory(pixels, width, height, bands, name))
    return pixels
