"""Each reader's header and pixels, branch by branch: modes, depths, alpha, paddings, decoders' complaints.

Files are written by Pillow, pillow-heif and libvips; what a decoder says is taken by its own words [lib].
"""

from __future__ import annotations

import io
from dataclasses import replace
from typing import Any

import numpy as np
import pillow_heif
import pytest
import pyvips
from PIL import Image

from galleries.imaging.codes import Code
from galleries.imaging.colour import profiles
from galleries.imaging.containers import jpeg
from galleries.imaging.errors import ImagingError, TooLarge, Unreadable, Unsupported
from galleries.imaging.opening import formats
from tests.imaging.core_pictures import heif, painted, saved

RGB = painted(64, 48)
NONE = profiles.ProfileVerdict(b"", "sRGB")


def refusal(kind: type[ImagingError], call: Any, *arguments: Any) -> str:
    with pytest.raises(kind) as caught:
        call(*arguments)
    assert type(caught.value) is kind
    return caught.value.told.code


def read(data: bytes, scale: float = 1.0) -> np.ndarray:
    return np.asarray(formats.read_pixels(data, formats.read_header(data), NONE, scale))


# Headers


def vips_file(bands: int, kind: str, suffix: str, **options: Any) -> bytes:
    image = pyvips.Image.black(8, 6, bands=bands).cast(kind)
    return bytes(image.copy(**options).write_to_buffer(suffix))


@pytest.mark.parametrize(
    ("data", "mode", "bits"),
    [
        (saved(RGB, "PNG"), "RGB", 8),
        (saved(RGB[:, :, 0], "PNG"), "GRAY", 8),
        (saved(RGB, "PNG", "RGBA"), "RGBA", 8),
        (saved(RGB, "PNG", "LA"), "GRAYA", 8),
        (saved(RGB, "PNG", "P"), "RGB", 8),
        (saved(RGB, "PNG", "1"), "GRAY", 8),
        (saved(RGB[:, :, 0].astype(np.uint16) * 257, "PNG"), "GRAY", 16),
        (saved(RGB, "TIFF"), "RGB", 8),
        (saved(RGB, "TIFF", "CMYK"), "CMYK", 8),
        (saved(RGB, "TIFF", "RGBA"), "RGBA", 8),
        (vips_file(3, "ushort", ".tif", interpretation="rgb16"), "RGB", 16),
        (vips_file(4, "ushort", ".png", interpretation="rgb16"), "RGBA", 16),
        (saved(RGB), "RGB", 8),
        (saved(RGB[:, :, 0]), "GRAY", 8),
        (saved(RGB, mode="CMYK"), "CMYK", 8),
        (heif(RGB), "RGB", 8),
    ],
)
def test_a_header_says_mode_and_depth(data: bytes, mode: str, bits: int) -> None:
    header = formats.read_header(data)
    assert (header.mode, header.bits) == (mode, bits)


@pytest.mark.parametrize("kind", ["float", "uint", "short"])
def test_samples_that_no_camera_writes_are_named(kind: str) -> None:
    assert refusal(Unsupported, formats.read_header, vips_file(1, kind, ".tif")) == Code.SAMPLES


@pytest.mark.parametrize("file_format", ["PNG", "TIFF", "JPEG"])
def test_the_profile_is_in_the_header(file_format: str) -> None:
    icc = profiles.build("Display P3")
    assert formats.read_header(saved(RGB, file_format, icc_profile=icc)).icc == icc
    assert formats.read_header(saved(RGB, file_format)).icc == b""


@pytest.mark.parametrize("kind", ["PNG", "TIFF"])
def test_a_damaged_header_is_called_so(kind: str) -> None:
    data = saved(RGB, kind)
    broken = data[:12] + b"\xff" * 20 + data[32:] if kind == "PNG" else data[:4] + b"\xff\xff\xff\x7f" + data[8:]
    assert refusal(Unreadable, formats.read_header, broken) in (Code.HEADER_DAMAGED, Code.TIFF_CUT_OFF)


@pytest.mark.parametrize("data", [b"\0\0\0\x18ftypheic" + bytes(40), heif(RGB)[:200]])
def test_a_heif_that_cannot_be_opened_is_damaged_in_its_header(data: bytes) -> None:
    assert refusal(Unreadable, formats.read_header, data) == Code.HEADER_DAMAGED


# Colours that a HEIF says without a profile (ITU-T H.273: primaries 1 = BT.709, 12 = P3 D65; transfers 13 = sRGB,
# 16 = PQ, 18 = HLG) [std, from memory]


class Coded:
    size, mode = (8, 6), "RGB"

    def __init__(self, **info: Any) -> None:
        self.info = info


@pytest.mark.parametrize(
    ("info", "named", "problem"),
    [
        ({}, "", False),
        ({"nclx_profile": {"color_primaries": 12, "transfer_characteristics": 13}}, "Display P3", False),
        ({"nclx_profile": {"color_primaries": 1, "transfer_characteristics": 1}}, "sRGB", False),
        ({"nclx_profile": {"color_primaries": 1, "transfer_characteristics": 6}}, "sRGB", False),
        ({"nclx_profile": {"color_primaries": 9, "transfer_characteristics": 13}}, "", True),
        ({"nclx_profile": {"color_primaries": 12, "transfer_characteristics": 16}}, "Display P3", True),
        ({"nclx_profile": {"color_primaries": 1, "transfer_characteristics": 18}}, "sRGB", True),
        ({"nclx_profile": {"color_primaries": 9, "transfer_characteristics": 16}, "icc_profile": b"icc"}, "", False),
    ],
)
def test_colours_said_by_number_are_taken_where_they_are_known(
    monkeypatch: pytest.MonkeyPatch, info: dict[str, Any], named: str, problem: bool
) -> None:
    monkeypatch.setattr(formats, "_heif_open", lambda data: Coded(**info))
    header = formats._heif_header(b"")
    assert (header.named_space, header.icc_problem is not None) == (named, problem)
    assert (header.width, header.height, header.oriented) == (8, 6, True)
    assert header.icc == info.get("icc_profile", b"")


@pytest.mark.parametrize(
    ("mode", "expected"), [("RGB", ("RGB", 8)), ("RGBA", ("RGBA", 8)), ("L", ("GRAY", 8)), ("LA", ("GRAYA", 8)),
                           ("RGB;16", ("RGB", 16)), ("RGBA;16", ("RGBA", 16)), ("L;16", ("GRAY", 16))]
)  # fmt: skip
def test_modes_of_heif(monkeypatch: pytest.MonkeyPatch, mode: str, expected: tuple[str, int]) -> None:
    coded = Coded()
    coded.mode = mode
    monkeypatch.setattr(formats, "_heif_open", lambda data: coded)
    header = formats._heif_header(b"")
    assert (header.mode, header.bits) == expected


def test_a_heif_whose_pixels_are_not_what_its_header_says_is_refused() -> None:
    data = heif(RGB)
    header = formats.read_header(data)
    assert formats._heif_pixels(data, header, b"").shape == (48, 64, 3)
    for wrong in (replace(header, width=63), replace(header, height=47), replace(header, alpha=True)):
        assert refusal(Unreadable, formats._heif_pixels, data, wrong, b"") == Code.HEIF_SIZE


# Pixels


def test_a_transparent_picture_lies_on_mid_grey() -> None:
    rgba = np.dstack([RGB, np.full(RGB.shape[:2], 255, np.uint8)])
    rgba[:24, :, 3] = 0
    rgba[24:36, :, 3] = 128
    out = io.BytesIO()
    pillow_heif.from_pillow(Image.fromarray(rgba)).save(out, quality=-1, chroma=444)
    for data, near in ((saved(rgba, "PNG"), 1), (saved(rgba, "TIFF"), 1), (out.getvalue(), 4)):
        found = read(data).astype(int)
        assert found.shape == (48, 64, 3)
        assert np.abs(found[:22] - formats.SURROUND).max() <= near
        half = (RGB[26:34].astype(int) + formats.SURROUND) / 2
        assert np.abs(found[26:34] - half).mean() <= near
        assert np.abs(found[38:] - RGB[38:]).mean() <= near


def test_more_channels_than_one_beside_the_colours_are_left_out() -> None:
    five = np.dstack([RGB, np.full(RGB.shape[:2], 255, np.uint8), np.zeros(RGB.shape[:2], np.uint8)])
    data = bytes(pyvips.Image.new_from_array(five, interpretation="srgb").write_to_buffer(".tif"))
    assert np.array_equal(read(data), RGB)


def test_ink_of_sixteen_bits_is_read_as_eight() -> None:
    ink = np.zeros((6, 8, 4), np.uint16)
    ink[..., 3] = 0x80FF
    data = bytes(pyvips.Image.new_from_array(ink, interpretation="cmyk").write_to_buffer(".tif"))
    assert (read(data) == 255 - 0x80).all()


@pytest.mark.parametrize(("scale", "shape"), [(1.0, (48, 64)), (0.5, (24, 32)), (0.25, (12, 16)), (0.125, (6, 8))])
def test_a_jpeg_is_decoded_at_the_scale_asked(scale: float, shape: tuple[int, int]) -> None:
    assert read(saved(RGB), scale).shape[:2] == shape
    assert read(saved(RGB[:47, :63]), 0.5).shape[:2] == (24, 32), "rounded up"


def padded(data: bytes, padding: bytes) -> bytes:
    return data[:-2] + padding + data[-2:]


@pytest.mark.parametrize("padding", [b"\0" * 10, b"\xff" * 9, b"\0" * 4096])
def test_a_cameras_padding_before_the_end_is_cut_out(padding: bytes) -> None:
    assert np.array_equal(read(padded(saved(RGB), padding)), read(saved(RGB)))


@pytest.mark.parametrize("padding", [b"\0" * 5000, b"\x01\x02\x03\x04" * 3, b"\0" * 9 + b"\x07"])
def test_other_bytes_before_the_end_are_no_padding(padding: bytes) -> None:
    with pytest.raises(Unreadable):
        read(padded(saved(RGB), padding))


def test_more_scans_than_an_encoder_makes_are_refused() -> None:
    data = saved(RGB, progressive=True)
    parts = jpeg.read_parts(data)
    scan = data[parts.scan_at : data.index(b"\xff", parts.scan_at + 12)]
    many = data[: parts.scan_at] + scan * (jpeg.MOST_SCANS + 1) + data[parts.scan_at :]
    assert refusal(Unreadable, read, many) == Code.JPEG_SCANS


@pytest.mark.parametrize(
    ("message", "kind", "code"),
    [
        ("tiff2vips: out of memory", TooLarge, Code.NEEDS_MEMORY),
        ("Insufficient Memory (case 4)", TooLarge, Code.NEEDS_MEMORY),
        ("Premature end of JPEG file", Unreadable, Code.JPEG_CUT_OFF),
        ("Corrupt JPEG data: bad Huffman code", Unreadable, Code.DATA_DAMAGED),
        ("", Unreadable, Code.DATA_DAMAGED),
    ],
)
def test_a_decoders_complaint_becomes_ours(message: str, kind: type[ImagingError], code: Code) -> None:
    error = formats._refusal("JPEG", ValueError(message))
    assert (type(error), error.told.code) == (kind, code)
    if code in (Code.DATA_DAMAGED, Code.NEEDS_MEMORY):
        assert error.told.data == {"kind": "JPEG"}
    assert formats._refusal("PNG", ValueError("x"), Code.HEADER_DAMAGED).told.code == Code.HEADER_DAMAGED


def test_a_header_of_another_format_is_no_jpeg_to_decode() -> None:
    header = replace(formats.read_header(saved(RGB)), jpeg=None)
    assert refusal(Unreadable, formats._decode_jpeg, saved(RGB), header, 1.0, formats._pixels_of) == Code.JPEG_NO_FRAME
