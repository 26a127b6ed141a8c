"""How a picture will look printed with a lab's profile, and which of its colours the paper cannot show."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

from galleries.imaging.arrays import Pixels
from galleries.imaging.codes import Code
from galleries.imaging.colour import convert, profiles
from galleries.imaging.errors import BadProfile
from galleries.told import Told, told

VISIBLE = 4.0  # difference in Lab (CIE 1976) over which a colour counts as out of reach
_CLASSES = {b"prtr", b"mntr", b"spac"}


@dataclass(frozen=True)
class PrintProfile:
    """A usable RGB profile of a lab."""

    icc: bytes
    name: str


@dataclass(frozen=True)
class PaperView:
    """What the print will look like, sRGB (h, w, 3), and the share of pixels whose colour it cannot show."""

    rgb: Pixels
    outside: float

    @property
    def warning(self) -> Told | None:
        """None when nothing worth a word is out of reach."""
        if self.outside < 0.005:
            return None
        return told(Code.PAPER_LACKS, outside_share=max(0.01, round(self.outside, 2)))


def check_profile(icc: bytes) -> PrintProfile:
    """Raises `BadProfile` with the reason when a lab's profile cannot be used for RGB files."""
    if len(icc) < 132 or icc[36:40] != b"acsp":
        raise BadProfile(Code.LAB_NO_PROFILE)
    if icc[12:16] not in _CLASSES:
        raise BadProfile(Code.LAB_CLASS)
    if icc[16:20] != b"RGB ":
        space = icc[16:20].decode("latin-1").strip()
        raise BadProfile(Code.LAB_SPACE, space=space)
    verdict = profiles.examine(icc, "RGB")
    if verdict.problem:
        raise BadProfile.of(verdict.problem)
    convert.between_profiles(
        np.zeros((1, 1, 3), np.uint8), convert.srgb_profile(), icc, 8
    )  # there must be a way to it too
    return PrintProfile(icc, verdict.name)


def on_paper(rgb: Pixels, icc: bytes) -> PaperView:
    """Simulate sRGB pixels (h, w, 3) printed by way of the profile. Raises `BadProfile`."""
    srgb = convert.srgb_profile()
    try:
        transform = ImageCms.buildProofTransform(
            profiles.opened(srgb), profiles.opened(srgb), profiles.opened(icc), "RGB", "RGB",
            ImageCms.Intent.RELATIVE_COLORIMETRIC, ImageCms.Intent.RELATIVE_COLORIMETRIC,
            ImageCms.Flags.SOFTPROOFING | ImageCms.Flags.BLACKPOINTCOMPENSATION,
        )  # fmt: skip
        image = transform.apply(Image.fromarray(np.ascontiguousarray(rgb), "RGB"))
    except (OSError, ValueError, ImageCms.PyCMSError) as error:
        raise BadProfile(Code.NOT_SIMULATED) from error
    there = convert.between_profiles(rgb, srgb, icc, 8)
    back = convert.between_profiles(there, icc, srgb, 8)
    apart = np.linalg.norm(_lab(back) - _lab(rgb), axis=2)
    return PaperView(np.asarray(image, np.uint8), float((apart > VISIBLE).mean()))


def _lab(rgb: Pixels) -> NDArray[np.float32]:
    return np.asarray(cv2.cvtColor(np.asarray(rgb / 255.0, np.float32), cv2.COLOR_RGB2Lab), np.float32)
