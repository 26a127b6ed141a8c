"""24-megapixel frames like a camera's, made in code: a lit backdrop, texture, hair-fine lines, a face, grain.

The face is the public-domain astronaut portrait that comes with scikit-image, enlarged. Written at quality 95
they take 6.5 to 7.3 MB. They are kept under the temporary folder, so that only the first run pays for them.
"""

from __future__ import annotations

import io
import tempfile
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from PIL import Image
from skimage import data as skimage_data

from galleries.imaging.colour import convert, profiles
from galleries.imaging.framing import geometry
from galleries.imaging.opening import decode

WIDTH, HEIGHT = 6000, 4000
VERSION = 4
FOLDER = Path(tempfile.gettempdir()) / f"headshot-benchmark-frames-{VERSION}"


@dataclass(frozen=True)
class Kind:
    number: int
    subsampling: str
    profile: str  # "" = none embedded
    orientation: int

    @property
    def name(self) -> str:
        return f"{self.number:02d} {self.subsampling} {self.profile or 'no profile'} o{self.orientation}"


_PROFILES = ("sRGB", "Adobe RGB", "", "sRGB", "Display P3", "sRGB")
KINDS = tuple(Kind(n, ("420", "422", "444")[n % 3], _PROFILES[n % 6], n % 8 + 1) for n in range(12))


def _texture(rng: np.random.Generator, width: int, height: int) -> np.ndarray:
    """Noise with the falling spectrum of natural pictures: octaves, each half as strong as the one before."""
    out = np.zeros((height, width), np.float32)
    for octave in range(2, 10):
        side = 2**octave
        noise = rng.standard_normal((max(2, height * side // 4000), max(2, width * side // 4000)))
        out += cv2.resize(noise.astype(np.float32), (width, height), interpolation=cv2.INTER_CUBIC) / side
    return out / out.std()


def paint(number: int, width: int = WIDTH, height: int = HEIGHT) -> np.ndarray:
    """An upright sRGB frame, (height, width, 3) uint8."""
    rng = np.random.default_rng(1000 + number)
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    cx, cy = width * rng.uniform(0.35, 0.65), height * rng.uniform(0.3, 0.5)
    light = 1.15 - 0.75 * np.hypot((x - cx) / width, (y - cy) / height)
    tint = rng.uniform(70, 150) + np.array([-8, 0, 9]) * rng.uniform(-1, 1)
    texture = _texture(rng, width, height)
    frame = (light * (1 + 0.05 * texture))[:, :, None] * tint.astype(np.float32)
    face = skimage_data.astronaut()[0:300, 90:370]
    tall = int(min(height * 0.85, width * 0.8))
    wide = tall * face.shape[1] // face.shape[0]
    face = cv2.resize(face, (wide, tall), interpolation=cv2.INTER_CUBIC).astype(np.float32)
    left, top = min(max(0, int(cx - wide / 2)), width - wide), height - tall
    face *= (1 + 0.03 * texture[top:, left : left + wide])[:, :, None]
    frame[top:, left : left + wide] = face
    frame = np.clip(frame, 0, 255).astype(np.uint8)
    for _ in range(400):
        start = (left + rng.integers(0, wide), top + rng.integers(-200, tall // 3))
        bend = rng.integers(-500, 500, 2)
        curve = [(start[0] + t * bend[0], start[1] + t * t * abs(bend[1]) * 2) for t in np.linspace(0, 1, 24)]
        shade = int(rng.integers(15, 120))
        points = np.array(curve, np.float32) * 8
        cv2.polylines(frame, [points.astype(np.int32)], False, (shade + 12, shade, shade - 8),
                      int(rng.integers(2, 5)), cv2.LINE_AA, 3)  # fmt: skip
    grain = rng.standard_normal((height, width), dtype=np.float32) * 4
    grain = cv2.GaussianBlur(grain, (0, 0), 0.5)[:, :, None]  # as demosaicing leaves it
    out = cv2.GaussianBlur(frame, (0, 0), 0.7).astype(np.float32) + grain
    return np.clip(out, 0, 255).round().astype(np.uint8)


def as_camera_file(rgb: np.ndarray, kind: Kind, quality: int = 95) -> bytes:
    """The upright sRGB pixels as a camera would have written them."""
    icc = profiles.build(kind.profile or "sRGB")
    pixels = convert.between_profiles(rgb, convert.srgb_profile(), icc)
    stored = decode.turn_upright(pixels, geometry.INVERSE_ORIENTATION[kind.orientation])
    exif = Image.Exif()
    exif[0x0112] = kind.orientation
    exif[0x0110] = "Benchmark 24"
    exif.get_ifd(0x8769)[0x9003] = f"2026:03:14 10:{kind.number:02d}:00"
    out = io.BytesIO()
    options = {"icc_profile": icc} if kind.profile else {}
    Image.fromarray(np.ascontiguousarray(stored)).save(
        out, "JPEG", quality=quality, subsampling={"444": 0, "422": 1, "420": 2}[kind.subsampling],
        exif=exif, **options,
    )  # fmt: skip
    return out.getvalue()


def camera_files(count: int = len(KINDS)) -> list[tuple[Kind, Path]]:
    """The frames on disk, made when missing."""
    FOLDER.mkdir(exist_ok=True)
    files = []
    for kind in KINDS[:count]:
        path = FOLDER / f"{kind.name.replace(' ', '-')}.jpg"
        if not path.exists():
            print(f"  painting frame {kind.name} …", flush=True)
            size = (WIDTH, HEIGHT) if kind.orientation < 5 else (HEIGHT, WIDTH)
            draft = path.with_suffix(".part")
            draft.write_bytes(as_camera_file(paint(kind.number, *size), kind))
            draft.rename(path)
        files.append((kind, path))
    return files
