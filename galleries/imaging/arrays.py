"""What arrays are called throughout: one declaration each. A function says shape and element type where it matters."""

from __future__ import annotations

from typing import Any

from numpy.typing import NDArray

Pixels = NDArray[Any]  # (h, w, 3), uint8 or uint16; OpenCV's results declare no element type
Floats = NDArray[Any]  # float32 or float64, of any shape
