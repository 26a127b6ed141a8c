"""What a TIFF is, told from its content: raw file of a camera, colours in CIELAB, or picture. Written by tifffile."""

from __future__ import annotations

import io
import struct

import numpy as np
import pytest
import tifffile

from galleries.imaging.codes import Code
from galleries.imaging.errors import Unreadable, Unsupported
from galleries.imaging.opening.decode import open_picture, probe
from galleries.imaging.opening.picture import Shown
from tests.imaging.core_pictures import painted, saved

PICTURE = np.full((64, 48, 3), 120, np.uint8)
SENSOR = np.arange(64 * 48, dtype=np.uint16).reshape(64, 48)
DNG_VERSION = (50706, "B", 4, bytes((1, 4, 0, 0)), True)
Page = tuple[np.ndarray, dict[str, object]]


def tiff(*pages: Page) -> bytes:
    out = io.BytesIO()
    with tifffile.TiffWriter(out) as writer:
        for pixels, how in pages:
            writer.write(pixels, **how)
    return out.getvalue()


THUMBNAIL: Page = (PICTURE, {"photometric": "rgb", "subifds": 1, "subfiletype": 1})
RAW = {
    "a thumbnail, then the sensor as its part": tiff(THUMBNAIL, (SENSOR, {"photometric": "cfa"})),
    "a whole picture first, then the sensor": tiff(
        (PICTURE, {"photometric": "rgb", "subifds": 1}), (SENSOR, {"photometric": "cfa"})
    ),
    "the sensor as a page of its own": tiff((PICTURE, {"photometric": "rgb"}), (SENSOR, {"photometric": "cfa"})),
    "the sensor alone": tiff((SENSOR, {"photometric": "cfa"})),
    "linear raw": tiff((PICTURE.astype(np.uint16), {"photometric": "linear_raw"})),
    "the version of DNG": tiff((PICTURE, {"photometric": "rgb", "extratags": [DNG_VERSION]})),
    "a reduced picture first": tiff((PICTURE[::4, ::4], {"photometric": "rgb", "subfiletype": 1}), (PICTURE, {})),
    "a maker's letters behind the header": b"II*\0\x10\0\0\0CR\2\0" + bytes(4) + struct.pack("<HI", 0, 0),
}


OPENED = {
    "a thumbnail, then the sensor as its part", "a whole picture first, then the sensor",
    "the sensor as a page of its own", "the sensor alone",
}  # fmt: skip


@pytest.mark.parametrize("what", RAW)
def test_a_raw_file_is_called_one_whatever_its_name(what: str) -> None:
    """Its thumbnail was taken for the picture (160 × 120, once 1 × 1). Without a maker's tags LibRaw reads the plain
    ones all the same; what it does not know, or finds empty, is refused."""
    if what not in OPENED:
        with pytest.raises((Unsupported, Unreadable)) as refusal:
            probe(RAW[what])
        assert refusal.value.told.code in (Code.RAW_FRAME, Code.DATA_DAMAGED)
    else:
        facts = probe(RAW[what])
        assert (facts.format, facts.shown, facts.width, facts.height) == ("RAW", Shown.SENSOR, 48, 64)


@pytest.mark.parametrize("photometric", ["cielab", "icclab", "itulab"])
def test_colours_in_cielab_are_refused_by_their_name(photometric: str) -> None:
    """TIFF 6.0 section 23 (8), and the later 9 and 10 [std, from memory]."""
    with pytest.raises(Unsupported) as refusal:
        probe(tiff((PICTURE, {"photometric": photometric})))
    assert refusal.value.told.code == Code.CIELAB


@pytest.mark.parametrize(
    "pages",
    [
        [(PICTURE, {"photometric": "rgb"})],
        [(PICTURE, {"photometric": "rgb"}), (PICTURE[::4, ::4], {"photometric": "rgb", "subfiletype": 1})],
        [(PICTURE, {"photometric": "rgb", "subifds": 1}), (PICTURE[::2, ::2], {"photometric": "rgb"})],
        [(PICTURE[:, :, 0], {"photometric": "minisblack"})],
    ],
)
def test_a_picture_with_smaller_ones_behind_it_opens(pages: list[Page]) -> None:
    opened = open_picture(tiff(*pages))
    assert opened.pixels.shape == PICTURE.shape
    assert np.abs(opened.pixels.astype(int) - 120).max() <= 0


def test_directories_in_a_ring_end() -> None:
    data = bytearray(saved(painted(40, 30), "TIFF"))
    (start,) = struct.unpack_from("<I", data, 4)
    (count,) = struct.unpack_from("<H", data, start)
    struct.pack_into("<I", data, start + 2 + 12 * count, start)
    assert probe(bytes(data)).format == "TIFF"
