"""A description for people who cannot see the picture, proposed from what is known of it: nothing is read off a face.

IPTC's 'Alt Text (Accessibility)' recommends 250 characters at most [std, from memory].
"""

from __future__ import annotations

from django.utils.translation import gettext as _

from galleries.access import one_line
from galleries.models import Final, Look

MOST = 250


def proposed(final: Final) -> str:
    """In the active language: who, what they wear, before what, whether black and white. At most MOST signs."""
    sitting, look = final.sitting, final.frame.look
    sentences = [_("Portrait of %s.") % sitting.subject_name]
    if look is not None:
        if look.wardrobe:
            sentences.append(_("Wardrobe: %s.") % _bare(look.wardrobe))
        if look.backdrop:
            sentences.append(_("Backdrop: %s.") % _bare(look.backdrop))
        if not look.wardrobe and not look.backdrop:
            sentences.append(_("Look: %s.") % _bare(look.title))
        if look.treatment == Look.Treatment.MONOCHROME:
            sentences.insert(1, _("Black and white."))
    return _cut(" ".join(sentences))


def written(final: Final) -> str:
    """What goes into the files: the photographer's words, or else the proposal."""
    return final.alt_text or proposed(final)


def _bare(text: str) -> str:
    return one_line(text).rstrip(".")


def _cut(text: str) -> str:
    """Whole words only, where all does not fit."""
    return text if len(text) <= MOST else f"{text[: MOST - 1].rsplit(' ', 1)[0]}…"
