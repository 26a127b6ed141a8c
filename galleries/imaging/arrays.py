"""What arrays and files' bytes are called throughout, each declared once.

A function says shape and element type where it matters.
"""

from __future__ import annotations

import mmap
from typing import Any

from numpy.typing import NDArray

Pixels = NDArray[Any]  # (h, w, 3), uint8 or uint16; OpenCV's results declare no element type
Bytes = bytes | mmap.mmap  # of a file: read, or mapped where only parts of a large one are looked at
Floats = NDArray[Any]  # float32 or float64, of any shape
