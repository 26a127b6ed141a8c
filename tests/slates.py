"""Slates held before painted frames: turned, tilted, out of focus, in low light, small, with a lamp's reflection."""

from __future__ import annotations

import io
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import segno
from numpy.typing import NDArray
from PIL import Image

from tests import pictures

QUIET = 4  # modules of white around a code (ISO/IEC 18004)
MODULE = 14  # pixels of a module on the page before it is held anywhere


@cache
def frame_pixels(index: int, long_side: int = 720) -> NDArray[np.uint8]:
    """A painted frame as sRGB pixels; not to be written into."""
    with Image.open(io.BytesIO(pictures.camera_file(index, long_side)[1])) as picture:
        return np.asarray(picture.convert("RGB"))


def page(code: str) -> tuple[NDArray[np.uint8], float]:
    """A slate as grey pixels, and its code's side on it without the white around."""
    matrix = np.array([list(row) for row in segno.make(code, error="h", boost_error=False).matrix], np.uint8)
    white = np.pad(255 * (1 - matrix), QUIET, constant_values=255).astype(np.uint8)
    drawn = np.kron(white, np.ones((MODULE, MODULE), np.uint8))
    side = drawn.shape[0]
    slate = np.full((int(side * 1.45), side + 40), 255, np.uint8)
    slate[int(side * 0.42) : int(side * 0.42) + side, 20 : 20 + side] = drawn
    cv2.putText(slate, "Ansa Veld", (24, int(side * 0.25)), cv2.FONT_HERSHEY_SIMPLEX, 2.4, 0, 6)
    return slate, float(matrix.shape[0] * MODULE)


def _turned(width: float, height: float, yaw: float, pitch: float, roll: float) -> NDArray[np.float64]:
    """Where the corners of a page lie that is held so (degrees), seen from six times its height."""
    corners = np.array([[-1, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]], float) * [width / 2, height / 2, 0]
    a, b, c = np.radians([yaw, pitch, roll])
    about_y = np.array([[np.cos(a), 0, np.sin(a)], [0, 1, 0], [-np.sin(a), 0, np.cos(a)]])
    about_x = np.array([[1, 0, 0], [0, np.cos(b), -np.sin(b)], [0, np.sin(b), np.cos(b)]])
    about_z = np.array([[np.cos(c), -np.sin(c), 0], [np.sin(c), np.cos(c), 0], [0, 0, 1]])
    turned = corners @ (about_z @ about_x @ about_y).T
    far = 6 * height
    seen: NDArray[np.float64] = turned[:, :2] * far / (turned[:, 2:] + far)
    return seen


def held(
    frame: NDArray[np.uint8],
    code: str,
    *,
    side: float = 160,
    yaw: float = 0,
    pitch: float = 0,
    roll: float = 0,
    blur: float = 0,
    light: float = 1,
    noise: float = 0,
    glare: float = 0,
    chance: Any = None,
) -> NDArray[np.uint8]:
    """The frame with a slate before it whose code is `side` pixels wide, as a camera sees it: `light` 1 is as exposed,
    `glare` a reflection over a corner of the code."""
    slate, code_side = page(code)
    height, width = slate.shape
    if glare:
        y, x = np.mgrid[:height, :width]
        lamp = np.exp(-(((x - width * 0.66) / (width * 0.2)) ** 2 + ((y - height * 0.76) / (height * 0.11)) ** 2))
        slate = np.clip(slate + lamp * 255 * glare, 0, 255).astype(np.uint8)
    scale, tall, wide = side / code_side, *frame.shape[:2]
    corners = np.add(_turned(width * scale, height * scale, yaw, pitch, roll), (wide / 2, tall * 0.4))
    flat = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)
    twice = cv2.getPerspectiveTransform(flat, (2 * corners).astype(np.float32))  # drawn twice as large, then shrunk
    size = (2 * wide, 2 * tall)
    paper = cv2.resize(cv2.warpPerspective(slate, twice, size), (wide, tall), interpolation=cv2.INTER_AREA)
    covered = cv2.warpPerspective(np.full_like(slate, 255), twice, size)
    share = cv2.resize(covered, (wide, tall), interpolation=cv2.INTER_AREA)[..., None] / 255
    seen = frame * (1 - share) + paper[..., None] * share * 0.9
    if blur:
        seen = cv2.GaussianBlur(seen, (0, 0), blur)
    seen = seen * light
    if noise:
        seen = seen + chance.normal(0, noise, seen.shape[:2])[..., None]
    return np.clip(seen, 0, 255).astype(np.uint8)


def exposure(pixels: NDArray[np.uint8], number: int, camera: str = "One") -> bytes:
    """A JPEG file as a camera writes it: `number` minutes after nine, by that camera's clock."""
    exif = Image.Exif()
    exif[271], exif[272] = "Painted", camera  # Make, Model (EXIF 2.32)
    exif.get_ifd(0x8769)[36867] = f"2026:11:26 {9 + number // 60:02d}:{number % 60:02d}:00"  # DateTimeOriginal
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "JPEG", quality=88, exif=exif)
    return out.getvalue()


def put_day(folder: Path, order: str, codes: dict[str, str], camera: str = "One", first: int = 1) -> list[Path]:
    """A card: for each sign of `order` one exposure a minute, a letter is the slate of that code and '.' a frame."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for number, sign in enumerate(order, first):
        frame = frame_pixels(number % 2, 480)
        pixels = held(frame, codes[sign], side=120) if sign in codes else frame
        paths.append(folder / f"DAY_{number:04d}.JPG")
        paths[-1].write_bytes(exposure(pixels, number, camera))
    return paths
