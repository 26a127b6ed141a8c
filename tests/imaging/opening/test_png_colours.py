"""Colours that a PNG states without a profile: chunks laid by hand after the W3C's Portable Network Graphics, third
edition (precedence in its section on colour; from memory), conversions held against colour-science [lib]."""

from __future__ import annotations

import struct
import zlib

import colour as science
import numpy as np
import pytest

from galleries.imaging.codes import Code
from galleries.imaging.colour import convert, profiles
from galleries.imaging.opening import png_colours
from galleries.imaging.opening.decode import open_picture
from tests.imaging.core_pictures import saved

EVEN = np.linspace(0, 255, 9).round().astype(np.uint8)
COLOURS = np.stack(np.meshgrid(EVEN, EVEN, EVEN), axis=-1).reshape(27, 27, 3)
SRGB_POINTS = (31270, 32900, 64000, 33000, 30000, 60000, 15000, 6000)
P3_POINTS = (31270, 32900, 68000, 32000, 26500, 69000, 15000, 6000)
ADOBE_POINTS = (31270, 32900, 64000, 33000, 21000, 71000, 15000, 6000)


def chunk(kind: bytes, content: bytes) -> bytes:
    return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))


def gama(value: int) -> bytes:
    return chunk(b"gAMA", struct.pack(">I", value))


def chrm(points: tuple[int, ...]) -> bytes:
    return chunk(b"cHRM", struct.pack(">8I", *points))


def cicp(primaries: int, transfer: int, matrix: int = 0, full: int = 1) -> bytes:
    return chunk(b"cICP", bytes((primaries, transfer, matrix, full)))


SRGB = chunk(b"sRGB", b"\0")


def file(*chunks: bytes, pixels: np.ndarray = COLOURS, **options: object) -> bytes:
    """A PNG with these chunks before its pixels."""
    data = saved(pixels, "PNG", **options)
    return data[:33] + b"".join(chunks) + data[33:]  # signature and header are 33 bytes


def shown(data: bytes) -> np.ndarray:
    """The picture in sRGB code values."""
    picture = open_picture(data)
    return convert.between_profiles(picture.pixels, picture.profile, convert.srgb_profile(), 16) / 257


def as_science(space: str, gamma: float) -> np.ndarray:
    linear = (COLOURS / 255) ** gamma
    there = science.RGB_to_RGB(linear, science.RGB_COLOURSPACES[space], science.RGB_COLOURSPACES["sRGB"])
    return science.cctf_encoding(np.clip(there, 0, 1), "sRGB") * 255


@pytest.mark.parametrize(
    ("chunks", "expected"),
    [
        ([gama(55556), chrm(SRGB_POINTS)], as_science("sRGB", 1.8)),
        ([gama(100000)], as_science("sRGB", 1.0)),
        ([gama(45475), chrm(ADOBE_POINTS)], as_science("Adobe RGB (1998)", 100000 / 45475)),
    ],
)
def test_gamma_and_points_are_honoured(chunks: list[bytes], expected: np.ndarray) -> None:
    data = file(*chunks)
    assert not open_picture(data).facts.profile_assumed
    assert np.abs(shown(data) - expected).max() < 0.6


@pytest.mark.parametrize(
    ("chunks", "name"),
    [
        ([SRGB], "sRGB"),
        ([SRGB, gama(100000), chrm(P3_POINTS)], "sRGB"),
        ([gama(45455), chrm(SRGB_POINTS)], "sRGB"),
        ([gama(45455)], "sRGB"),
        ([chrm(SRGB_POINTS)], "sRGB"),
        ([cicp(1, 13)], "sRGB"),
        ([cicp(12, 13)], "Display P3"),
        ([cicp(12, 13), SRGB, gama(100000)], "Display P3"),
    ],
)
def test_what_is_stated_by_name_or_by_the_values_of_a_name(chunks: list[bytes], name: str) -> None:
    facts = open_picture(file(*chunks)).facts
    assert (facts.profile_name, facts.profile_assumed, facts.profile_problem) == (name, False, None)


def test_points_alone_keep_the_srgb_curve() -> None:
    p3 = open_picture(file(cicp(12, 13)))
    assert np.abs(shown(file(chrm(P3_POINTS))) - shown(file(cicp(12, 13)))).max() < 0.6
    assert p3.profile == profiles.build("Display P3")


def test_a_profile_counts_more_than_points_and_less_than_cicp() -> None:
    adobe = profiles.build("Adobe RGB")
    assert open_picture(file(gama(100000), icc_profile=adobe)).profile == adobe
    assert open_picture(file(cicp(12, 13), icc_profile=adobe)).profile == profiles.build("Display P3")
    assert open_picture(file(cicp(9, 16), icc_profile=adobe)).profile == adobe  # not read here: the profile then


@pytest.mark.parametrize(
    "chunks",
    [
        [cicp(9, 16)],  # BT.2020 with PQ
        [cicp(9, 18)],  # BT.2020 with HLG
        [cicp(1, 13, 1)],  # a matrix, which PNG does not allow
        [cicp(1, 13, 0, 0)],  # narrow range
        [chunk(b"cICP", b"\1")],
        [chunk(b"gAMA", b"\0\0")],
        [chunk(b"cHRM", bytes(31))],
    ],
)
def test_what_is_not_read_is_named(chunks: list[bytes]) -> None:
    stated = png_colours.read_colours(file(*chunks), grey=False)
    assert stated.problem
    assert stated.problem.code == Code.PNG_COLOURS
    facts = open_picture(file(*chunks)).facts
    assert facts.profile_assumed
    assert facts.profile_problem == stated.problem


@pytest.mark.parametrize(
    "chunks",
    [
        [gama(0)],
        [gama(1)],
        [gama(4_000_000_000)],
        [chrm((31270, 0, *SRGB_POINTS[2:]))],
        [chrm((31270, 32900) * 4)],
        [chrm((4_000_000_000,) * 8)],
    ],
)
def test_numbers_that_span_no_colours_are_named(chunks: list[bytes]) -> None:
    problem = open_picture(file(*chunks)).facts.profile_problem
    assert problem
    assert problem.code == Code.PROFILE_POINTS


def test_a_grey_png_is_lifted_by_its_gamma() -> None:
    ramp = np.arange(256, dtype=np.uint8).reshape(16, 16)
    grey = open_picture(file(gama(100000), pixels=ramp)).pixels
    expected = science.cctf_encoding(ramp / 255, "sRGB") * 255
    assert np.abs(grey[:, :, 1] - expected).max() <= 0.51
    assert np.array_equal(open_picture(file(gama(45455), chrm(P3_POINTS), pixels=ramp)).pixels[:, :, 0], ramp)


def test_nothing_stated_is_assumed() -> None:
    assert open_picture(file()).facts.profile_assumed
    assert png_colours.read_colours(file()[:40], grey=False) == png_colours.Colours()
