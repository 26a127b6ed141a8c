"""What a gel does to the light, for the look's form."""

from __future__ import annotations

from django.utils.translation import gettext as _


def words_for(name: str, mired: str) -> dict[str, str]:
    """{} when nothing is known or nothing was asked."""
    try:
        shift = int(mired)
    except ValueError:
        return {}
    return {"words": _("A shift of %+d mired.") % shift} if name or shift else {}
