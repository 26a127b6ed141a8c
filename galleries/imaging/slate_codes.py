"""Codes of slates: the page with a sitter's name that is photographed before them names the sitting by a QR code.

The code is a QR code of ISO/IEC 18004 with error correction level H (about 30 % of its codewords may be lost): 20 signs
of the alphanumeric mode, which fit version 2 (25 × 25 modules). Nothing here loads a library of pixels.
"""

from __future__ import annotations

import re
import secrets

PREFIX = "SL"
_SIGNS = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"  # 32: five bits each, none that is taken for another when typed
_LENGTH = 18
_FORM = re.compile(rf"{PREFIX}[{_SIGNS}]{{{_LENGTH}}}")
CORRECTION = "h"


def new_code() -> str:
    """A code of a slate: 90 bits by chance, nothing of a person or a day in it. It opens nothing."""
    return PREFIX + "".join(secrets.choice(_SIGNS) for _place in range(_LENGTH))


def is_code(text: str) -> bool:
    return bool(_FORM.fullmatch(text))
