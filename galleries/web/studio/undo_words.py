"""What “Undo” would undo, in the reader's language."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from galleries.models import Undoable, Verb
from galleries.steps.sorting import before


def hint(act: Undoable | None) -> str:
    """'' where there is nothing to undo."""
    if act is None:
        return ""
    was = before.of(act)
    names = {"look": was.into_title, "count": was.frames}
    match act.verb:
        case Verb.FRAMES_MOVED if not was.into_title:
            return ngettext("%d frame taken out of its look", "%d frames taken out of their looks", was.frames) % (
                was.frames
            )
        case Verb.FRAMES_MOVED:
            return ngettext(
                "%(count)d frame moved to “%(look)s”", "%(count)d frames moved to “%(look)s”", was.frames
            ) % (names)
        case Verb.FRAMES_HIDDEN:
            return ngettext("%d frame hidden", "%d frames hidden", was.frames) % was.frames
        case Verb.FRAMES_SHOWN:
            return ngettext("%d frame shown again", "%d frames shown again", was.frames) % was.frames
        case Verb.FRAMES_SUGGESTED:
            return ngettext("%d frame suggested", "%d frames suggested", was.frames) % was.frames
        case Verb.FRAMES_NOT_SUGGESTED:
            return ngettext("%d suggestion withdrawn", "%d suggestions withdrawn", was.frames) % was.frames
        case Verb.LOOK_SPLIT:
            return ngettext(
                "“%(look)s” split off, with %(count)d frame", "“%(look)s” split off, with %(count)d frames", was.frames
            ) % (names)
        case Verb.LOOKS_MERGED if was.gone is not None:
            return _("“%(gone)s” merged into “%(look)s”") % {**names, "gone": was.gone.columns["title"]}
    return act.verb_words
