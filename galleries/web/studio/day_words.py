"""Why a strip of a day's frames is nobody's yet, in the reader's language."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from galleries.sorting.strips import Doubt

DOUBTS = {
    Doubt.NO_SLATE: _("no slate before these frames"),
    Doubt.UNREAD: _("the slate before these frames could not be read"),
    Doubt.UNKNOWN: _("the slate is of nobody of this day"),
    Doubt.OTHER_CAMERA: _("this camera took no slate"),
    Doubt.AFTERWARDS: _("the first frames have no slate, the last slate has no frames: were slates taken afterwards?"),
    Doubt.NO_TIME: _("these files tell no time"),
    Doubt.NOT_READ: _("not all frames of this camera have been looked at yet"),
}  # fmt: skip
