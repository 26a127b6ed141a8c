"""ICC profiles: built in code from published primaries, named, and checked before use.

Built profiles are version 2 matrix profiles (ICC.1:2001-04 [std, from memory]) with a fixed date, so that
the same input always gives the same bytes. Primaries: sRGB IEC 61966-2-1, Adobe RGB (1998), Display P3
(trade.md), ROMM RGB ISO 22028-2; D65 adapted to D50 by Bradford as ICC.1 asks.
"""

from __future__ import annotations

import hashlib
import io
import struct
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

from galleries.imaging.codes import Code
from galleries.imaging.errors import BadProfile
from galleries.told import Told, told

_D50 = np.array([0.9642, 1.0, 0.8249])
_BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
_D65_XY = (0.3127, 0.3290)
_D50_XY = (0.3457, 0.3585)
_CURVE_POINTS = 256  # an 8-bit value falls on a point exactly; between points the error is under 1/65535

Primaries = tuple[tuple[float, float], tuple[float, float], tuple[float, float]]
_SPACES: dict[str, tuple[Primaries, tuple[float, float], float]] = {
    # name: primaries, white, gamma (0 = the sRGB curve)
    "sRGB": (((0.64, 0.33), (0.30, 0.60), (0.15, 0.06)), _D65_XY, 0),
    "Adobe RGB": (((0.64, 0.33), (0.21, 0.71), (0.15, 0.06)), _D65_XY, 563 / 256),
    "Display P3": (((0.68, 0.32), (0.265, 0.69), (0.15, 0.06)), _D65_XY, 0),
    "ProPhoto RGB": (((0.7347, 0.2653), (0.1596, 0.8404), (0.0366, 0.0001)), _D50_XY, 1.8),
}
# The words 'compatible' say that these are our own profiles with those primaries, nobody's own file.
_DESCRIPTIONS = {
    "sRGB": "sRGB",
    "Adobe RGB": "Adobe RGB (1998) compatible",
    "Display P3": "Display P3 compatible",
    "ProPhoto RGB": "ProPhoto RGB compatible",
}
NAMES = (*_SPACES, "Gray")
BY_PRIMARIES = {1: "sRGB", 12: "Display P3"}  # colour primaries of ITU-T H.273
LARGEST = 16_000_000  # bytes of an embedded profile that is still opened


def _xyz(xy: tuple[float, float]) -> NDArray[np.float64]:
    return np.array([xy[0] / xy[1], 1.0, (1 - xy[0] - xy[1]) / xy[1]])


def _colorants(primaries: Primaries, white: tuple[float, float]) -> NDArray[np.float64]:
    """3×3, columns the XYZ of red, green and blue, adapted to D50."""
    matrix = np.stack([_xyz(xy) for xy in primaries], axis=1)
    matrix = matrix * np.linalg.solve(matrix, _xyz(white))
    return to_d50(_xyz(white)) @ matrix


def to_d50(white: NDArray[np.float64]) -> NDArray[np.float64]:
    """3×3: XYZ seen under `white` (its XYZ) to XYZ under D50, by Bradford."""
    scale = np.diag((_BRADFORD @ _D50) / (_BRADFORD @ white))
    return np.asarray(np.linalg.inv(_BRADFORD) @ scale @ _BRADFORD)


def srgb_to_linear(values: NDArray[np.floating]) -> NDArray[np.float64]:
    """The sRGB curve, 0..1 to linear 0..1 (IEC 61966-2-1)."""
    v = np.asarray(values, dtype=np.float64)
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def _curve(gamma: float) -> bytes:
    if gamma:
        return b"curv\0\0\0\0" + struct.pack(">IH", 1, round(gamma * 256)) + b"\0\0"
    points = np.round(srgb_to_linear(np.linspace(0, 1, _CURVE_POINTS)) * 65535).astype(">u2")
    return b"curv\0\0\0\0" + struct.pack(">I", _CURVE_POINTS) + points.tobytes()


def _s15(values: NDArray[np.float64]) -> bytes:
    return b"XYZ \0\0\0\0" + struct.pack(">3i", *(round(float(value) * 65536) for value in values))


def _text(text: str) -> bytes:
    return b"text\0\0\0\0" + text.encode("ascii") + b"\0"


def _rights() -> tuple[bytes, bytes]:
    return b"cprt", _text("Public domain: no rights reserved.")


def _description(text: str) -> bytes:
    raw = text.encode("ascii") + b"\0"
    return b"desc\0\0\0\0" + struct.pack(">I", len(raw)) + raw + bytes(8 + 2 + 1 + 67)


def _assemble(space: bytes, tags: list[tuple[bytes, bytes]]) -> bytes:
    start = 128 + 4 + 12 * len(tags)
    table, body, seen = b"", b"", {}
    for name, payload in tags:
        if payload not in seen:
            body += bytes(-len(body) % 4)
            seen[payload] = start + len(body)
            body += payload
        table += name + struct.pack(">II", seen[payload], len(payload))
    body += bytes(-len(body) % 4)
    size = start + len(body)
    header = struct.pack(">I4sI4s4s4s", size, b"\0\0\0\0", 0x02100000, b"mntr", space, b"XYZ ")
    header += struct.pack(">6H", 2025, 1, 1, 0, 0, 0) + b"acsp" + bytes(24) + struct.pack(">I", 1)
    header += struct.pack(">3i", *(round(float(value) * 65536) for value in _D50))
    return header.ljust(128, b"\0") + struct.pack(">I", len(tags)) + table + body


@lru_cache(maxsize=16)
def build(name: str) -> bytes:
    """The profile of that name (one of NAMES); raises `BadProfile` for another."""
    if name == "Gray":
        return _grey(_curve(0), "Gray, sRGB curve")
    if name not in _SPACES:
        raise BadProfile(Code.PROFILE_UNKNOWN, name=name, known=", ".join(NAMES))
    primaries, white, gamma = _SPACES[name]
    return _rgb(_colorants(primaries, white), _curve(gamma), _DESCRIPTIONS[name], white)


def _grey(curve: bytes, description: str) -> bytes:
    return _assemble(
        b"GRAY", [(b"desc", _description(description)), _rights(), (b"wtpt", _s15(_D50)), (b"kTRC", curve)]
    )


def _rgb(colorants: NDArray[np.float64], curve: bytes, description: str, white: tuple[float, float]) -> bytes:
    return _assemble(
        b"RGB ",
        [
            (b"desc", _description(description)), _rights(),
            (b"wtpt", _s15(_xyz(white))),
            *((tag, _s15(colorants[:, i])) for i, tag in enumerate((b"rXYZ", b"gXYZ", b"bXYZ"))),
            *((tag, curve) for tag in (b"rTRC", b"gTRC", b"bTRC")),
        ],
    )  # fmt: skip


def from_curve(gamma: float) -> bytes:
    """A grey profile of that gamma (0: the sRGB curve); raises `BadProfile` for one outside 1/8 to 8."""
    _check_gamma(gamma)
    return _grey(_curve(gamma), "Gray, curve as the file states it")


def from_points(primaries: Primaries, white: tuple[float, float], gamma: float) -> bytes:
    """An RGB profile of those chromaticities (x, y of red, green, blue and white) and gamma (0: the sRGB curve).

    Raises `BadProfile` where they span no colours.
    """
    _check_gamma(gamma)
    points = np.array([*primaries, white], dtype=np.float64)
    if points.min() < 0 or points.max() > 1 or points[:, 1].min() < 1e-5:
        raise BadProfile(Code.PROFILE_POINTS)
    try:
        colorants = _colorants(primaries, white)
    except np.linalg.LinAlgError as error:
        raise BadProfile(Code.PROFILE_POINTS) from error
    if not np.all(np.abs(colorants) < 8) or abs(np.linalg.det(colorants)) < 1e-4 or colorants[1].min() < 0:
        raise BadProfile(Code.PROFILE_POINTS)
    return _rgb(colorants, _curve(gamma), "Colours as the file states them", white)


def _check_gamma(gamma: float) -> None:
    if gamma and not 1 / 8 <= gamma <= 8:
        raise BadProfile(Code.PROFILE_POINTS)


@dataclass(frozen=True)
class ProfileVerdict:
    """`icc` is what to use (b"" when the profile given is unusable), `problem` why."""

    icc: bytes
    name: str
    problem: Told | None = None


def opened(icc: bytes) -> ImageCms.ImageCmsProfile:
    """The profile opened by LittleCMS; raises `BadProfile`."""
    try:
        return ImageCms.ImageCmsProfile(io.BytesIO(icc))
    except (OSError, ValueError, TypeError, ImageCms.PyCMSError) as error:
        raise BadProfile(Code.PROFILE_DAMAGED) from error


def _printable(text: str) -> str:
    return "".join(sign for sign in text if sign.isprintable())[:80].strip()


def _name(profile: ImageCms.ImageCmsProfile) -> str:
    try:
        return _printable(profile.profile.profile_description or "") or "unnamed profile"
    except (ValueError, OSError):  # no text of its encoding, or letters beyond the last one there is
        return "unnamed profile"


@lru_cache(maxsize=64)
def _examined(icc: bytes, space: str) -> ProfileVerdict:
    try:
        profile = opened(icc)
    except BadProfile as error:
        return ProfileVerdict(b"", "", error.told)
    name = _name(profile)
    actual = _printable(icc[16:20].decode("latin-1"))
    if actual != space:
        return ProfileVerdict(b"", name, told(Code.PROFILE_SPACE, name=name, actual=actual, space=space))
    mode = {"RGB": "RGB", "GRAY": "L", "CMYK": "CMYK"}[space]
    try:
        ImageCms.buildTransform(profile, opened(build("sRGB")), mode, "RGB").apply(Image.new(mode, (1, 1)))
    except (OSError, ValueError, ImageCms.PyCMSError):
        return ProfileVerdict(b"", name, told(Code.PROFILE_LACKS, name=name))
    return ProfileVerdict(icc, name)


def examine(icc: bytes, space: str) -> ProfileVerdict:
    """Whether an embedded profile can be used for pixels of `space` ("RGB", "GRAY" or "CMYK")."""
    if len(icc) > LARGEST:
        return ProfileVerdict(b"", "", told(Code.PROFILE_LARGE, most_bytes=LARGEST))
    return _examined(icc, space)


def fingerprint(icc: bytes) -> str:
    return hashlib.sha256(icc).hexdigest()
