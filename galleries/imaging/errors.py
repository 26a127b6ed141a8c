"""What can go wrong with a picture, each told in one sentence a person can act on."""

from __future__ import annotations


class ImagingError(Exception):
    """Base of everything `galleries.imaging` raises on purpose; `str(error)` is a whole sentence."""


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
