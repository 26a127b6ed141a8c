"""What the reader of the tracer knows of a proof beforehand: the picture, what was added, and where."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import simplejpeg
from numpy.typing import NDArray

from galleries.imaging.arrays import Floats
from galleries.imaging.tracer.code import Code
from galleries.imaging.tracer.pattern import is_prepared, pair, prepare


@dataclass(frozen=True)
class Reference:
    """What the reader knows of a proof: mean luma, added luma, the piece every MCU belongs to, the code."""

    mean: Floats
    added: Floats
    piece: NDArray[np.int64]
    mcu: tuple[int, int]
    code: Code


def reference_of(proof: bytes, key: bytes) -> Reference:
    """The reader's knowledge of a prepared pair or plain proof; kept for the last few."""
    return _reference(proof if is_prepared(proof) else prepare(proof, key), key)


@lru_cache(maxsize=2)
def _reference(prepared: bytes, key: bytes) -> Reference:
    first, second, per_piece, mcu = pair(prepared)
    one = simplejpeg.decode_jpeg(first, colorspace="GRAY")[..., 0].astype(np.float32)
    two = simplejpeg.decode_jpeg(second, colorspace="GRAY")[..., 0].astype(np.float32)
    across, down = -(-one.shape[1] // mcu[0]), -(-one.shape[0] // mcu[1])
    piece = np.arange(across * down).reshape(down, across) // per_piece
    return Reference((one + two) / 2, (one - two) / 2, piece, mcu, Code(key, int(piece.max()) + 1))
