"""Memory that a picture has left is kept for the next one.

A proof of 24 megapixels takes and gives back 50 MB. By its own rule the C library hands most of it back to the kernel
each time, and gets it again as 3,000 to 4,000 pages to be cleared: 13 to 20 ms of a proof's 150 to 200.

It would also give each thread a heap of its own. libvips reads PNG and TIFF in a thread that ends with the picture, and
what it left lay there unused: 38 MB more for a frame of 16 bits with transparency, 59 when the machine was busy.
"""

from __future__ import annotations

import ctypes
from contextlib import suppress

_TRIM_THRESHOLD, _MMAP_THRESHOLD, _ARENA_MAX = -1, -3, -8  # mallopt(3)
_HEAPED = 32 << 20  # bytes, the most that every version takes; a plane at half size has 6 to 25 million
_KEPT = 16 << 20  # bytes; with 8 a proof asks for 2,400 pages again, with 32 a frame of 16 bits a sample holds too much


def keep_freed() -> None:
    """From now on this process keeps up to 16 MiB of freed memory at the heap's end, and takes from the heap all that
    is smaller than 32, of the one heap whichever thread asks. Nothing where the C library is another."""
    with suppress(AttributeError, OSError):
        libc = ctypes.CDLL(None)
        libc.mallopt(_MMAP_THRESHOLD, _HEAPED)
        libc.mallopt(_TRIM_THRESHOLD, _KEPT)
        libc.mallopt(_ARENA_MAX, 1)
