"""A line of the journal in the reader's language. The rows keep codes and names; what is somebody's own words (a look's
title, a file's name) stays as it is."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from galleries.models import Delivery, Final, JournalLine, Mark, OwnCopy, Sitting, Verb, Version
from galleries.models.journal import who_words
from galleries.papers.licence_fields import USES
from galleries.web.use_words import USE_WORDS

# Their thing is a title, a caption, a file's or an account's name.
OWN_WORDS = frozenset(
    verb
    for verb in Verb
    if verb.name.startswith(
        ("LOOK_", "LOOKS_REORDERED", "REFERENCE_", "FRAME_ADDED", "LAB_", "ACCOUNT_", "SECOND_FACTOR_", "RECOVERY_")
    )
) | {
    *(Verb.PASSKEY_ADDED, Verb.PASSKEY_REMOVED, Verb.SIGNED_IN, Verb.SIGN_IN_FAILED),
    *(Verb.SESSION_ENDED, Verb.SESSIONS_ENDED, Verb.NEW_DEVICE, Verb.SIGN_IN_DISOWNED),
    *(Verb.SITTING_PLANNED, Verb.SETTINGS_CHANGED, Verb.TEAM_CHANGED, Verb.STAGE, Verb.PLAN_COMMENTED),
    Verb.THROUGH_WITH_MARKS,
    Verb.OPINION_ENDED,
    *(
        Verb.EXTRAS_PRICED,
        Verb.LIST_CLOSED,
        Verb.LIST_REOPENED,
        Verb.OBJECTED,
        Verb.OBJECTION_TIME_ENDED,
        Verb.PROOFS_SHOWN,
        *(Verb.DAY_PLANNED, Verb.FRAME_CAME, Verb.FRAME_LEFT, Verb.DAY_REMINDED),
        Verb.RETOUCH_NOT_MATCHED,
        Verb.STRAY_RETOUCH_DROPPED,
    ),
    *(Verb.FRAME_NAMED, Verb.RAW_JOINED, Verb.ORIGINAL_FETCHED, Verb.VERSION_FETCHED),
    *(Verb.FETCHED, Verb.PAPER_FETCHED, Verb.KEPT_UNTIL, Verb.PUT_AWAY, Verb.BROUGHT_BACK, Verb.FINISHING_AGAIN),
    *(Verb.OWN_COPY_ASKED_FOR, Verb.OWN_COPY_MADE, Verb.OWN_COPY_FAILED, Verb.OWN_COPY_LET_GO, Verb.OWN_COPY_FETCHED),
    *(Verb.OWN_COPY_WITHDRAWN, Verb.OWN_COPY_ENDED, Verb.REMOVAL_ANNOUNCED),
    *(Verb.ARCHIVED_TO_A_FILE, Verb.RESTORED_FROM_A_FILE, Verb.DELIVERED, Verb.ADDRESS_CHANGED, Verb.PASSWORD_CHANGED),
}
_KINDS: dict[str, Callable[[str], str]] = {
    "frame": lambda rest: _("frame %s") % rest,
    "final": lambda rest: _("final %s") % rest,
    "delivery": lambda rest: _("delivery %s") % rest,
    "statement": lambda rest: _("statement %s") % rest,
    "licence": lambda rest: _("licence %s") % rest,
    "invitation to": lambda rest: _("invitation to %s") % rest,
    "letter to": lambda rest: _("letter to %s") % rest,
}
_STATES = (Sitting.Stage, Final.State, Delivery.State, OwnCopy.State, Version.Kind, Mark.Kind)


@dataclass(frozen=True)
class Line:
    at: datetime
    who: str
    what: str
    which: str
    change: str  # '', 'from → to', or what it was and still is


def line_of(line: JournalLine) -> Line:
    before, after = state(line.before), state(line.after)
    change = after if before == after else f"{before} → {after}"
    return Line(line.at, who_words(line.who), line.verb_words, thing(line), change)


def thing(line: JournalLine) -> str:
    text = line.thing
    if line.verb in OWN_WORDS:
        return text
    if line.verb == Verb.UNDONE:
        return str(Verb(text).label) if text in Verb.values else text
    if line.verb in {Verb.USE_ASKED_FOR, Verb.USE_REFUSED}:
        use = next((key for key, words in USES.items() if words == text), "")
        return str(USE_WORDS[use]) if use else text
    if line.verb == Verb.INVITED:
        return who_words(text)
    if counted := re.fullmatch(r"(\d+) frames", text):
        return ngettext("%d frame", "%d frames", int(counted[1])) % int(counted[1])
    for kind, words in _KINDS.items():
        if text.startswith(f"{kind} "):
            return words(text.removeprefix(f"{kind} "))
    return text


def state(code: str) -> str:
    """A stage, a state, a mark, how a retouch was made, or a day; anything else as it stands."""
    if code == "no mark":
        return _("no mark")
    for states in _STATES:
        if code and code in states.values:
            return str(states(code).label)
    try:
        return date_format(date.fromisoformat(code), "DATE_FORMAT") if code else ""
    except ValueError:
        return code
