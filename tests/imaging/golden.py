"""Digests of what each recipe makes of a picture that is arithmetic: `python -m tests.imaging.golden` prints them.

OpenCV's float sums differ in the last bit with the processor's features, so they are switched off (`PLAIN`).
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable

import numpy as np

from galleries.imaging import preview, recipes, tracer
from galleries.imaging.drawing.border import border_and_name
from galleries.imaging.drawing.stamp import StampText
from galleries.imaging.face.faces import Face
from galleries.imaging.face.reading import FrameReading
from galleries.imaging.framing.cut_order import CutOrder
from galleries.imaging.framing.geometry import Rect
from galleries.imaging.framing.sizes import SizeSpec
from tests.imaging.core_pictures import saved

WIDTH, HEIGHT = 960, 1280
TEXT = StampText(studio="Harbour Light", label="0001")
KEY = bytes(range(32))
SIZE = SizeSpec("golden", "Golden", "print", 480, 600, ppi=60, bleed=3, border=8, name_strip=True)
ORDERS = [
    CutOrder(SIZE, Rect(100, 100, 729, 909)),
    CutOrder(SIZE, Rect(200, 200, 486, 606), 3.0, monochrome=True),
    CutOrder(SizeSpec("whole", "Whole", "full", 0, 0, file_format="TIFF", bits=16), Rect(0, 0, 400, 300)),
]
PLAIN_PRINT = CutOrder(SizeSpec("plain", "Plain", "print", 300, 400), Rect(33, 51, 601, 801))


def frame(file_format: str = "PNG", **options: int) -> bytes:
    """Smooth ramps with fine waves; lossless unless it is a JPEG."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH].astype(np.int64)
    waves = (x * y // 37 + 5 * x + 3 * y) % 61
    pixels = np.stack([x * 160 // WIDTH + waves, y * 160 // HEIGHT + waves, (x + y) * 90 // WIDTH + waves], axis=-1)
    return saved(np.clip(pixels, 0, 255).astype(np.uint8), file_format, **options)


FRAME = frame()
IN_PLANES = frame("JPEG", quality=95, subsampling=2)  # light and colour apart, colour at half of both sides
LOUPE = [CutOrder(SizeSpec("loupe", "Loupe", "full", 0, 0, quality=90), Rect(9, 9, 300, 200))]
FACE = Face(
    (330.0, 300.0, 300.0, 400.0), (420.0, 460.0), (540.0, 462.0), 0.3, 0.3, 12.0, 12.0, 1.0, 220.0, 8.0, True,
    (480.0, 700.0), (480.0, 300.0), (480.0, 600.0), 0.0, 0.9,
)  # fmt: skip
KNOWN = FrameReading(WIDTH, HEIGHT, 1.0, FACE, "")


def proof() -> recipes.ProofFiles:
    return recipes.make_proof(FRAME, TEXT, large=900, middle=480, small=240, known=KNOWN)


def pair() -> bytes:
    """Of an unstamped picture, so that only the tracer counts."""
    return tracer.prepare(recipes.make_view(FRAME, 900), KEY)


RECIPES: dict[str, Callable[[], list[bytes]]] = {
    "proof": lambda: [(files := proof()).large, files.middle, files.small],
    "view": lambda: [recipes.make_view(FRAME, 640)],
    "loupe": lambda: [recipes.make_finals(source, LOUPE)[0].data for source in (FRAME, IN_PLANES)],
    "preview": lambda: preview.cut_small(FRAME, ORDERS, 200, name="Ansa Veld"),
    "pairs": lambda: [pair()],
    "marked": lambda: [tracer.embed(pair(), KEY, 7)],
    "final": lambda: [
        file.data
        for source in (FRAME, IN_PLANES)
        for file in recipes.make_finals(source, [*ORDERS, PLAIN_PRINT], finish=border_and_name("Ansa Veld"))
    ],
}

PLAIN = {"OPENCV_CPU_DISABLE": "AVX512_SKX,AVX2"}  # in the environment before OpenCV is loaded


def digest(recipe: str) -> str:
    return hashlib.sha256(b"".join(hashlib.sha256(data).digest() for data in RECIPES[recipe]())).hexdigest()


if __name__ == "__main__":
    print(json.dumps({name: digest(name) for name in RECIPES}))
