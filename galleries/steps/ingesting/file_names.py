"""Names of files as cameras give them, and as copies get them."""

from __future__ import annotations

import re

# DCF file names (JEITA CP-3461, from memory): four characters of A-Z, 0-9 and _, a number 0001 to 9999, three more.
_CAMERAS = re.compile(r"[A-Z0-9_]{4}(?!0000)[0-9]{4}\.[A-Z0-9]{3}", re.IGNORECASE | re.ASCII)


def is_cameras(name: str) -> bool:
    """Is this a name as cameras give it ('KAL_0412.JPG', and not 'copy of KAL_0412.JPG')?"""
    return _CAMERAS.fullmatch(name) is not None


def wins(name: str, over: str) -> bool:
    """Is `name` the camera's own, where the name so far is not?"""
    return is_cameras(name) and not is_cameras(over)
