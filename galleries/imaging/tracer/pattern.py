"""The invisible tracer: a faint pattern that names the invite a proof was served to.

A proof is prepared once: two JPEGs are made, with a keyed pattern added and taken away, cut into the same
restart intervals (ITU-T T.81, F.1.1.5). An invite's copy is then put together piece by piece from the one or
the other without decoding anything, its choice of pieces being the invite's code word. The reader holds both,
so it knows exactly what was added where. Informed spread spectrum after Cox, Kilian, Leighton and Shamoon
1997, IEEE Transactions on Image Processing 6(12) (from memory).

What does not survive (measured by `python -m tests.benchmarks trace`): an eighth of the size or a crop to 15 %
of each side are read reliably only against the list of invites that were served; four copies averaged likewise.
Not tried: real photographs of screens and prints, generative repainting, warps that are no homography. A
proof under about 725 pixels square has no room for it. Whoever repaints the picture is not traced.
"""

from __future__ import annotations

import hashlib
import io
import itertools
import re

import cv2
import numpy as np
import simplejpeg
from PIL import Image, JpegImagePlugin

from galleries.imaging import codes
from galleries.imaging.arrays import Pixels
from galleries.imaging.errors import Unreadable, Unsupported
from galleries.imaging.tracer.code import SYMBOLS, Code

CHIP = 4  # pixels of one element of the pattern
STRENGTH = 1.1  # root mean square of the pattern in 8-bit luma; 1.1 alone is 47.3 dB
PIECES = 3072  # restart intervals aimed at: more would cost bytes, fewer room for the code
_MAGIC = b"tracer-pair-1\n"
_RESTART = re.compile(rb"\xff[\xd0-\xd7]")
_MCU = {0: (8, 8), 1: (16, 8), 2: (16, 16)}  # width and height in pixels by Pillow's number of the sampling


def is_prepared(data: bytes) -> bool:
    """Whether these bytes came from `prepare`."""
    return data.startswith(_MAGIC)


def prepare(proof: bytes, key: bytes) -> bytes:
    """The pair of JPEGs in one piece, deterministic for a proof and key; keep it where proofs are kept.

    `proof` is a baseline or progressive JPEG; raises Unsupported when it is none or too small, Unreadable
    when it is broken. About 30 ms for 2048 pixels.
    """
    rgb, options, mcu = _opened(proof)
    height, width = rgb.shape[:2]
    across, down = -(-width // mcu[0]), -(-height // mcu[1])
    per_piece = max(1, across * down // PIECES)
    pieces = -(-across * down // per_piece)
    if pieces < SYMBOLS:
        raise Unsupported(codes.Code.TRACER_TOO_SMALL, width_px=width, height_px=height)
    plus, minus = _pattern(rgb, key)
    options["restart_marker_blocks"] = per_piece
    first = _saved(cv2.subtract(cv2.add(rgb, plus), minus), options)
    second = _saved(cv2.subtract(cv2.add(rgb, minus), plus), options)
    return b"%s%d %d %d %d\n" % (_MAGIC, len(first), per_piece, *mcu) + first + second


def embed(proof: bytes, key: bytes, payload: int) -> bytes:
    """The copy for one invite, a JPEG; `proof` is a prepared pair (1 ms) or a plain proof (prepared first).

    `payload` is a number of 32 bits. Raises as `prepare`, and ValueError for a payload out of range.
    """
    first, second, _, _ = pair(proof if is_prepared(proof) else prepare(proof, key))
    head, one = _pieces(first)
    other_head, two = _pieces(second)
    if head != other_head or len(one) != len(two):
        raise Unreadable(codes.Code.TRACER_HALVES)
    choose = Code(key, len(one)).signs(payload) > 0
    body = [a if up else b for a, b, up in zip(one, two, choose.tolist(), strict=True)]
    return head + b"".join(body)


def _opened(proof: bytes) -> tuple[Pixels, dict[str, object], tuple[int, int]]:
    try:
        with Image.open(io.BytesIO(proof)) as image:
            if not isinstance(image, JpegImagePlugin.JpegImageFile) or image.mode != "RGB":
                raise Unsupported(codes.Code.TRACER_NOT_COLOUR)
            sampling = JpegImagePlugin.get_sampling(image)
            if sampling not in _MCU:
                raise Unsupported(codes.Code.TRACER_SAMPLING)
            options = {
                "qtables": image.quantization,
                "subsampling": sampling,
                "icc_profile": image.info.get("icc_profile"),
                "dpi": image.info.get("dpi", (72, 72)),
            }
        rgb = simplejpeg.decode_jpeg(proof)
    except (OSError, ValueError) as error:
        raise Unreadable(codes.Code.TRACER_PROOF_UNREADABLE) from error
    return rgb, options, _MCU[sampling]


def _saved(rgb: Pixels, options: dict[str, object]) -> bytes:
    out = io.BytesIO()
    Image.fromarray(rgb).save(out, "JPEG", **options)
    return out.getvalue()


def _pattern(rgb: Pixels, key: bytes) -> tuple[Pixels, Pixels]:
    """The pattern's positive and negative part (h, w, 3): keyed ±1 elements, stronger where detail hides them."""
    height, width = rgb.shape[:2]
    grid_w, grid_h = -(-width // CHIP), -(-height // CHIP)
    rng = np.random.default_rng(list(hashlib.sha256(b"tracer pattern" + key).digest()))
    chips = rng.integers(0, 2, (grid_h, grid_w), dtype=np.int8).astype(np.float32) * 2 - 1
    grey = cv2.resize(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), (grid_w, grid_h), interpolation=cv2.INTER_AREA)
    level = grey.astype(np.float32)
    near = cv2.blur(level, (5, 5))
    detail = cv2.sqrt(np.maximum(cv2.blur(level * level, (5, 5)) - near * near, 0))
    gain = np.clip(1.0 + 0.12 * detail, 1.0, 3.5) * (0.6 + 0.4 * np.minimum(near, 80) / 80)
    for _ in range(2):  # whole steps, right on average; the second pass meets the strength asked for
        steps = np.floor(gain + rng.random(gain.shape, np.float32))
        gain *= STRENGTH / float(np.sqrt(np.mean(steps * steps)))
    fine = cv2.resize(
        chips * np.floor(gain + rng.random(gain.shape, np.float32)),
        None,
        fx=CHIP,
        fy=CHIP,
        interpolation=cv2.INTER_NEAREST,
    )[:height, :width]
    plus, minus = cv2.convertScaleAbs(np.maximum(fine, 0)), cv2.convertScaleAbs(np.minimum(fine, 0))
    return cv2.merge([plus] * 3), cv2.merge([minus] * 3)


def pair(prepared: bytes) -> tuple[bytes, bytes, int, tuple[int, int]]:
    """The two JPEGs of a prepared pair, coded blocks per piece, width and height of a block in pixels."""
    line_end = prepared.index(b"\n", len(_MAGIC))
    length, per_piece, mcu_w, mcu_h = map(int, prepared[len(_MAGIC) : line_end].split())
    start = line_end + 1
    return prepared[start : start + length], prepared[start + length :], per_piece, (mcu_w, mcu_h)


def _pieces(data: bytes) -> tuple[bytes, list[bytes]]:
    """A JPEG's head up to the coded data, and its restart intervals, each with the marker that ends it."""
    scan = data.index(b"\xff\xda")
    start = scan + 2 + int.from_bytes(data[scan + 2 : scan + 4], "big")
    ends = [match.end() for match in _RESTART.finditer(data, start)]
    places = [start, *ends, len(data)]
    return data[:start], [data[a:b] for a, b in itertools.pairwise(places)]
