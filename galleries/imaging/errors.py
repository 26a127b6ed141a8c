"""What can go wrong with a picture: a code and its values, so that everybody reads it in their own language."""

from __future__ import annotations

import errno
from typing import Self

from galleries.imaging.codes import Code
from galleries.told import Told, Value


class ImagingError(Exception):
    """Base of everything `galleries.imaging` raises on purpose; `galleries.words.sentence(error.told)` is its
    sentence, `str(error)` is for logs."""

    def __init__(self, code: Code, **data: Value) -> None:
        self.told = Told(code, data)
        super().__init__(str(self.told))

    @classmethod
    def of(cls, told: Told) -> Self:
        """From what was told already."""
        error = cls(Code(told.code), **told.data)
        error.told = told
        error.args = (str(told),)
        return error


class Unreadable(ImagingError):
    """The content claims to be a picture but cannot be decoded to the end."""


class Unsupported(ImagingError):
    """The content is no picture, or a format outside JPEG, TIFF, PNG and HEIF."""


class TooLarge(ImagingError):
    """Bytes, pixels or a side are over the limits in force."""


class BadProfile(ImagingError):
    """An ICC profile that cannot be used for what was asked."""


class BadCrop(ImagingError):
    """A crop that does not lie inside its frame or does not have its size's shape."""


class DoesNotFit(ImagingError):
    """No quality at or above the floor brings the file under its byte cap."""


class BadRights(ImagingError):
    """A rights record that contradicts itself or cannot be written whole."""


class BadCredentials(ImagingError):
    """Content credentials that cannot be written into a file, or do not read back as written."""


def error_name(error: OSError) -> str:
    """What the system calls it, such as ENOENT: the same in every language."""
    return errno.errorcode.get(error.errno or 0, type(error).__name__)
