"""Several things in one sentence."""

from __future__ import annotations

from collections.abc import Sequence

from django.utils.translation import gettext as _


def listed(parts: Sequence[str]) -> str:
    """'a, b and c'; '' for none."""
    if len(parts) < 2:
        return "".join(parts)
    return _("%(first)s and %(last)s") % {"first": ", ".join(parts[:-1]), "last": parts[-1]}
