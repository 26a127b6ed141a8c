"""The colours a PNG states without a profile: cICP, sRGB, gAMA and cHRM.

Layout and order of precedence after Portable Network Graphics, third edition (W3C): cICP before iCCP before sRGB
before gAMA and cHRM; numbers of cICP after ITU-T H.273 [std, from memory]. libvips reads the profile and leaves the
others alone.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass

from galleries.imaging.codes import Code
from galleries.imaging.colour import profiles
from galleries.imaging.errors import BadProfile
from galleries.told import Told, told

_SIGNATURE = 8
_MOST_CHUNKS = 4096
_SRGB_LIKE_CURVES = (1, 6, 13, 14, 15)
_SRGB_GAMMA = 45455  # what files of the sRGB curve carry for readers that know only gAMA
_SRGB_POINTS = (31270, 32900, 64000, 33000, 30000, 60000, 15000, 6000)
_NEAR = 100  # of 100,000: points nearer than this are the same


@dataclass(frozen=True)
class Colours:
    """`named`: one of `profiles.NAMES`; `icc`: a profile made from what is stated; both empty where nothing is.

    `over_profile`: what is stated here counts more than an embedded profile.
    """

    named: str = ""
    icc: bytes = b""
    problem: Told | None = None
    over_profile: bool = False


def _chunks(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Kind and content of every chunk before the pixels; ends where the file does."""
    at = _SIGNATURE
    for _ in range(_MOST_CHUNKS):
        if at + 8 > len(data):
            return
        length, kind = struct.unpack_from(">I4s", data, at)
        if kind == b"IDAT":
            return
        yield kind, data[at + 8 : at + 8 + length]
        at += 12 + length


def _by_number(content: bytes) -> Colours:
    """cICP: primaries, transfer function, matrix, full range."""
    if len(content) != 4:
        return Colours(problem=told(Code.PNG_COLOURS))
    primaries, transfer, matrix, full = content
    if primaries in profiles.BY_PRIMARIES and transfer in _SRGB_LIKE_CURVES and matrix == 0 and full == 1:
        return Colours(named=profiles.BY_PRIMARIES[primaries], over_profile=True)
    return Colours(problem=told(Code.PNG_COLOURS))


def _by_points(gamma: int | None, points: tuple[int, ...] | None, *, grey: bool) -> Colours:
    """gAMA (times 100,000) and cHRM (white, red, green, blue as x and y times 100,000)."""
    usual_points = points is None or max(abs(a - b) for a, b in zip(points, _SRGB_POINTS, strict=True)) < _NEAR
    usual_gamma = gamma is None or abs(gamma - _SRGB_GAMMA) < _NEAR
    if usual_gamma and (usual_points or grey):
        return Colours(named="Gray" if grey else "sRGB")
    exponent = 0.0 if gamma is None else 100_000 / gamma if gamma else -1.0
    x_y = [value / 100_000 for value in (_SRGB_POINTS if points is None else points)]
    white, red, green, blue = zip(x_y[::2], x_y[1::2], strict=True)
    try:
        icc = profiles.from_curve(exponent) if grey else profiles.from_points((red, green, blue), white, exponent)
    except BadProfile as error:
        return Colours(problem=error.told)
    return Colours(icc=icc)


def read_colours(data: bytes, *, grey: bool) -> Colours:
    """What a PNG states of its colours; `grey`: it has no others. Never raises."""
    chunks: dict[bytes, bytes] = {}
    for kind, content in _chunks(data):
        chunks.setdefault(kind, content)
    if b"cICP" in chunks:
        return _by_number(chunks[b"cICP"])
    if b"sRGB" in chunks:
        return Colours(named="Gray" if grey else "sRGB")
    gamma, points = chunks.get(b"gAMA"), chunks.get(b"cHRM")
    if gamma is None and points is None:
        return Colours()
    if len(gamma or bytes(4)) != 4 or len(points or bytes(32)) != 32:
        return Colours(problem=told(Code.PNG_COLOURS))
    return _by_points(
        struct.unpack(">I", gamma)[0] if gamma else None, struct.unpack(">8I", points) if points else None, grey=grey
    )
