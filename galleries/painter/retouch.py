"""A plausible retouched version of a painted frame, for the finishing stage of the demo."""

from __future__ import annotations

import io
from pathlib import PurePath

import cv2
import numpy as np
from PIL import ExifTags, Image, ImageOps

from .noise import smoothstep


def retouched_name(name: str) -> str:
    """KAL_0412.JPG -> KAL_0412_retouched.jpg: the camera's name with the editor's suffix."""
    return f"{PurePath(name).stem}_retouched.jpg"


def retouch(data: bytes, *, warmth: float = 0.02, smoothing: float = 0.6) -> bytes:
    """The file with calmer skin and slightly warmer, clearer colour: an upright JPEG of the same pixels' size.

    `smoothing` 0..1 takes out that share of the mid-sized unevenness of skin; `warmth` lifts red over blue.
    Keeps the profile and the capture time, as an editor's export would. Raises OSError for a file that is no picture.
    """
    with Image.open(io.BytesIO(data)) as opened:
        profile, taken = opened.info.get("icc_profile"), opened.getexif().get_ifd(ExifTags.IFD.Exif)
        when = taken.get(ExifTags.Base.DateTimeOriginal)
        subsec = taken.get(ExifTags.Base.SubsecTimeOriginal)
        upright = np.asarray(ImageOps.exif_transpose(opened).convert("RGB"))
    height, width = upright.shape[:2]
    factor = min(1.0, 1500 / max(height, width))
    small = cv2.resize(upright, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    ycc = cv2.cvtColor(small, cv2.COLOR_RGB2YCrCb).astype(np.float32)
    skin = smoothstep(3.0, 9.0, ycc[..., 1] - 128.0) * smoothstep(2.0, -4.0, ycc[..., 2] - 128.0)
    even = cv2.bilateralFilter(small, 9, 26.0, 4.0 + 6.0 * factor).astype(np.float32) - small.astype(np.float32)
    change = even * (cv2.GaussianBlur(skin, (0, 0), 3.0) * np.float32(smoothing))[..., None]
    lift = np.array([1.0 + warmth, 1.0 + warmth * 0.2, 1.0 - warmth * 0.8], np.float32)
    out = np.empty_like(upright)
    grown = cv2.resize(change, (width, height), interpolation=cv2.INTER_LINEAR)
    curve = np.linspace(0, 1, 256, dtype=np.float32)
    curve = (curve + 0.10 * curve * (1 - curve) * (2 * curve - 1) + 0.03 * curve * (1 - curve)) * 255.0
    for top in range(0, height, 512):
        rows = slice(top, top + 512)
        toned = curve[upright[rows]] * lift
        out[rows] = np.clip(toned + grown[rows] + 0.5, 0, 255).astype(np.uint8)
    exif = Image.Exif()
    tags = exif.get_ifd(ExifTags.IFD.Exif)
    if when:
        tags[ExifTags.Base.DateTimeOriginal] = when
    if subsec:
        tags[ExifTags.Base.SubsecTimeOriginal] = subsec
    target = io.BytesIO()
    Image.fromarray(out).save(target, "JPEG", quality=95, subsampling=0, exif=exif, icc_profile=profile)
    return target.getvalue()
