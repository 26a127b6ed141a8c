"""The limits in force, from the settings."""

from __future__ import annotations

from django.conf import settings

from galleries.imaging.opening.picture import Limits


def limits() -> Limits:
    return Limits(
        max_bytes=settings.MAX_FRAME_BYTES,
        max_pixels=settings.MAX_FRAME_PIXELS,
        max_side=settings.MAX_FRAME_SIDE,
    )
