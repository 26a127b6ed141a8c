"""Every profile of Debian's icc-profiles-free and colord-data, and those of inks that other packages lay beside them,
against LittleCMS, in ΔE00.

LittleCMS is reached through Pillow. Where our own arithmetic stands against it (grey, and profiles without tables) it
is told to leave out its shortcuts, which are off by up to ten code values in the shades of a linear grey and round one
dark colour in NTSC the other way (ΔE00 1.02).
"""

from __future__ import annotations

import colour as science
import numpy as np
import pytest
from PIL import Image, ImageCms

from galleries.imaging.colour import convert, matrix_shaper, profiles
from galleries.told import Told
from tests import outside

SRGB = convert.srgb_profile()
SPACES = {b"RGB ": "RGB", b"GRAY": "GRAY", b"CMYK": "CMYK"}
FILES = sorted(
    str(path.relative_to(outside.DEBIAN_PROFILES))
    for path in outside.DEBIAN_PROFILES.rglob("*")
    if path.suffix.lower() in (".icc", ".icm")
)
EVEN = np.linspace(0, 255, 17).round().astype(np.uint8)
COLOURS = np.stack(np.meshgrid(EVEN, EVEN, EVEN), axis=-1).reshape(17, 289, 3)
INKS = np.stack(np.meshgrid(*[EVEN[::4]] * 4), axis=-1).reshape(25, 25, 4)
GREYS = np.arange(256, dtype=np.uint8).reshape(1, 256, 1)
_FLAGS = ImageCms.Flags.BLACKPOINTCOMPENSATION


def _space(icc: bytes) -> str:
    """The space of pixels a profile is for; "" for links, abstract profiles, named colours and spaces of no file."""
    return SPACES.get(icc[16:20], "") if icc[12:16] in (b"scnr", b"mntr", b"prtr", b"spac") else ""


def _by_littlecms(pixels: np.ndarray, icc: bytes, *, shortcuts: bool) -> np.ndarray:
    mode = {1: "L", 3: "RGB", 4: "CMYK"}[pixels.shape[2]]
    flags = _FLAGS if shortcuts else _FLAGS | ImageCms.Flags.NOOPTIMIZE
    way = ImageCms.buildTransform(
        profiles.opened(icc), profiles.opened(SRGB), mode, "RGB", ImageCms.Intent.RELATIVE_COLORIMETRIC, flags
    )
    return np.asarray(way.apply(Image.fromarray(pixels[:, :, 0] if mode == "L" else pixels, mode)))


def _lab(srgb: np.ndarray) -> np.ndarray:
    return science.XYZ_to_Lab(science.sRGB_to_XYZ(srgb.reshape(-1, 3)))


def _farthest(ours: np.ndarray, theirs: np.ndarray) -> float:
    ours_01 = ours / (255 if ours.dtype == np.uint8 else 65535)
    return float(science.delta_E(_lab(ours_01), _lab(theirs / 255), method="CIE 2000").max())


def test_the_packages_are_all_there() -> None:
    spaces = [_space(outside.profile(name)) for name in FILES]
    assert spaces.count("RGB") >= 30
    assert spaces.count("GRAY") >= 2


@pytest.mark.parametrize("name", [name for name in FILES if _space(outside.profile(name))])
@pytest.mark.parametrize("bits", [8, 16])
def test_colours_are_those_littlecms_gives(name: str, bits: int) -> None:
    icc = outside.profile(name)
    if _space(icc) == "CMYK":
        inks = convert.cmyk_to_srgb(convert.depth(INKS, bits), icc)
        assert _farthest(inks, _by_littlecms(INKS, icc, shortcuts=True)) <= 1.0
        return
    grey = _space(icc) == "GRAY"
    pixels = GREYS if grey else COLOURS
    fine = convert.depth(pixels, bits)
    ours = convert.grey_to_srgb(fine, icc) if grey else convert.between_profiles(fine, icc, SRGB, bits)
    by_tables = matrix_shaper.read(icc) is None
    assert _farthest(ours, _by_littlecms(pixels, icc, shortcuts=bits == 8 and not grey and by_tables)) <= 1.0


@pytest.mark.parametrize("name", [name for name in FILES if not _space(outside.profile(name))])
def test_what_is_for_no_picture_is_named_and_not_used(name: str) -> None:
    icc = outside.profile(name)
    verdict = profiles.examine(icc, "RGB")
    assert verdict.icc == b""
    assert isinstance(verdict.problem, Told)
    assert matrix_shaper.read(icc) is None
