"""Profile conversion by LittleCMS: relative colorimetric with black point compensation, 8 or 16 bit.

Between matrix profiles, nearly all of RGB, it is `matrix_shaper`'s arithmetic: 2.8 megapixels of 8 bits to sRGB in 0.28
times the time of LittleCMS by libvips. Other RGB goes through libvips' binding, CMYK through Pillow's;
both are LittleCMS. A profile that turns every colour into its sRGB value within one code value is sRGB in all but name:
nothing is converted then, which saves both time and a rounding.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

from galleries.imaging.arrays import Pixels
from galleries.imaging.codes import Code
from galleries.imaging.colour import matrix_shaper, profiles
from galleries.imaging.containers import vips
from galleries.imaging.errors import BadProfile

_INTENT = ImageCms.Intent.RELATIVE_COLORIMETRIC
_FLAGS = ImageCms.Flags.BLACKPOINTCOMPENSATION
_MODES = {"RGB": "RGB", "GRAY": "L", "CMYK": "CMYK"}
_STRIP = 512  # rows converted at a time: keeps Pillow's four-byte copies small


def srgb_profile() -> bytes:
    """The sRGB profile every screen file carries; always the same bytes."""
    return profiles.build("sRGB")


def output_profile(name: str) -> bytes:
    """The RGB profile a size names (see `profiles.NAMES`); raises `BadProfile`."""
    icc = profiles.build(name)
    if name == "Gray":
        raise BadProfile(Code.PROFILE_GREY)
    return icc


@lru_cache(maxsize=32)
def _transform(from_icc: bytes, to_icc: bytes, mode: str) -> ImageCms.ImageCmsTransform:
    try:
        return ImageCms.buildTransform(profiles.opened(from_icc), profiles.opened(to_icc), mode, "RGB", _INTENT, _FLAGS)
    except (OSError, ValueError, ImageCms.PyCMSError) as error:
        raise BadProfile(Code.PROFILE_NO_WAY) from error


def _by_pillow(pixels: NDArray[np.uint8], from_icc: bytes, to_icc: bytes, mode: str) -> NDArray[np.uint8]:
    transform = _transform(from_icc, to_icc, mode)
    out = np.empty((*pixels.shape[:2], 3), np.uint8)
    for top in range(0, pixels.shape[0], _STRIP):
        part = np.ascontiguousarray(pixels[top : top + _STRIP])
        image = Image.fromarray(part[:, :, 0] if mode == "L" else part, mode)
        out[top : top + _STRIP] = np.asarray(transform.apply(image))
    return out


@contextmanager
def _as_file(icc: bytes) -> Iterator[str]:
    """libvips takes an output profile by file name only: a file in memory has one too."""
    handle = os.memfd_create("profile", os.MFD_CLOEXEC)
    try:
        os.write(handle, icc)
        yield f"/proc/self/fd/{handle}"
    finally:
        os.close(handle)


def _by_vips(pixels: Pixels, from_icc: bytes, to_icc: bytes, bits: int) -> Pixels:
    """8 to 8 bit in one step; finer ones by way of Lab, where LittleCMS is nearer the truth (see `matrix_shaper`)."""
    image = vips.from_array(pixels)
    image.set_type(vips.BLOB, "icc-profile-data", from_icc)
    how = {"intent": "relative", "black_point_compensation": True}
    with _as_file(to_icc) as name:
        try:
            if bits == 8 and pixels.dtype == np.uint8 and pixels.shape[2] == 3:
                return vips.to_array(image.icc_transform(name, embedded=True, depth=8, **how))
            lab = image.icc_import(embedded=True, pcs="lab", **how)
            return vips.to_array(lab.icc_export(output_profile=name, pcs="lab", depth=bits, **how))
        except vips.Error as error:
            raise BadProfile(Code.PROFILE_NO_WAY) from error


@lru_cache(maxsize=64)
def _same(from_icc: bytes, to_icc: bytes) -> bool:
    """Whether every colour keeps its code value within one, tried on an even grid of 17³ colours."""
    if from_icc == to_icc:
        return True
    steps = np.round(np.linspace(0, 255, 17)).astype(np.uint8)
    grid = np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(17, 289, 3)
    changed = _by_pillow(grid, from_icc, to_icc, "RGB")
    return int(np.abs(changed.astype(np.int16) - grid).max()) <= 1


def same_colours(from_icc: bytes, to_icc: bytes) -> bool:
    """Whether two RGB profiles mean the same colours within one 8-bit code value."""
    return _same(from_icc, to_icc)


def depth(pixels: Pixels, bits: int) -> Pixels:
    """The same values as 8 or 16 bits a sample."""
    if pixels.dtype == np.uint8 and bits == 16:
        return np.multiply(pixels, np.uint16(257), dtype=np.uint16)
    if pixels.dtype == np.uint16 and bits == 8:
        out = np.empty(pixels.shape, np.uint8)
        for top in range(0, len(pixels), _STRIP):  # in strips: whole, it would hold 24 bytes more for each pixel
            out[top : top + _STRIP] = (pixels[top : top + _STRIP].astype(np.uint32) * 255 + 32767) // 65535
        return out
    return pixels


def between_profiles(pixels: Pixels, from_icc: bytes, to_icc: bytes, bits: int = 8) -> Pixels:
    """RGB pixels (h, w, 3) uint8 or uint16 from one profile to another, as `bits` (8 or 16) a sample.

    Returns the array itself when there is nothing to do. Raises `BadProfile`.
    """
    if same_colours(from_icc, to_icc):
        return depth(pixels, bits)
    source, target = matrix_shaper.read(from_icc), matrix_shaper.read(to_icc)
    if source is not None and target is not None:
        if bits == 16 or pixels.dtype == np.uint16:
            return matrix_shaper.apply(pixels, source, target, bits)
        return matrix_shaper.apply_8(pixels, source, target)
    return _by_vips(pixels, from_icc, to_icc, bits)


def cmyk_to_srgb(ink: Pixels, icc: bytes, *, inverted: bool = False) -> NDArray[np.uint8]:
    """CMYK (h, w, 4) uint8 or uint16, full value = full ink (`inverted`: = bare paper), to sRGB; without a profile
    plainly (1 − ink)(1 − black). In strips: beside `ink` only the answer is held."""
    out = np.empty((*ink.shape[:2], 3), np.uint8)
    for top in range(0, len(ink), _STRIP):
        part = ink[top : top + _STRIP]
        part = (part >> 8).astype(np.uint8) if part.dtype == np.uint16 else part
        part = 255 - part if inverted else part
        if icc:
            out[top : top + _STRIP] = _by_pillow(part, icc, srgb_profile(), "CMYK")
        else:
            paper = 255 - part.astype(np.uint16)
            out[top : top + _STRIP] = (paper[:, :, :3] * paper[:, :, 3:] + 127) // 255
    return out


@lru_cache(maxsize=8)
def _grey_table(icc: bytes, bits: int) -> Pixels:
    """Grey code value to the neutral sRGB value of the same lightness, 256 or 65536 entries."""
    source, target = matrix_shaper.read(icc), matrix_shaper.read(srgb_profile())
    if source is not None and target is not None:
        table = matrix_shaper.grey_table(source, target)
        return np.array(table if bits == 16 else depth(table[::257], 8))
    ramp = np.arange(65536, dtype=np.uint16).reshape(1, 65536, 1)
    # One channel for all three: they may be rounded apart by one, which would tint the grey.
    fine = _by_vips(ramp, icc, srgb_profile(), 16)[0, :, 1]
    return np.array(fine if bits == 16 else depth(fine[::257], 8))


def grey_to_srgb(grey: Pixels, icc: bytes) -> Pixels:
    """Grey (h, w) or (h, w, 1) to neutral sRGB (h, w, 3); no profile = the sRGB curve, values kept."""
    grey = grey.reshape(grey.shape[:2])
    if icc:
        grey = _grey_table(icc, 8 * grey.dtype.itemsize)[grey]
    return np.repeat(grey[:, :, None], 3, axis=2)


def to_monochrome(pixels: Pixels, icc: bytes) -> Pixels:
    """Black and white of the same luminance (CIE Y), neutral, in the same profile; (h, w, 3) and bits kept.

    A profile with tables is asked by way of Lab, where lightness stands by itself.
    """
    shaper = matrix_shaper.read(icc)
    if shaper is not None:
        return matrix_shaper.monochrome(pixels, shaper)
    return _lightness_alone(pixels, icc)


def _lightness_alone(pixels: Pixels, icc: bytes) -> Pixels:
    image = vips.from_array(pixels)
    image.set_type(vips.BLOB, "icc-profile-data", icc)
    how = {"intent": "relative", "black_point_compensation": True}
    with _as_file(icc) as name:
        try:
            lab = image.icc_import(embedded=True, pcs="lab", **how)
            neutral = lab.linear([1, 0, 0], [0, 0, 0]).copy(interpretation="lab")
            bits = 8 * pixels.dtype.itemsize
            return vips.to_array(neutral.icc_export(output_profile=name, pcs="lab", depth=bits, **how))
        except vips.Error as error:
            raise BadProfile(Code.PROFILE_NO_WAY) from error
