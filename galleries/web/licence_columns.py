"""A licence in three columns (allowed, ask first, not allowed) and its answer to 'may I …?', from its own fields.

The licence itself stands in English, and that wording counts (`papers/licence_wording`); this is the same in the
reader's language, every field in one column.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from galleries.papers.licence_fields import USES, LicenceFields, granted
from galleries.web.use_words import USE_WORDS
from galleries.words.rights import DATA_MINING

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise

ALTERATION_WORDS: dict[str, _StrPromise] = {
    "crop": gettext_lazy("cropping"),
    "flip": gettext_lazy("flipping left and right"),
    "retouch": gettext_lazy("retouching"),
    "colour": gettext_lazy("changing or adding colour"),
    "monochrome": gettext_lazy("turning into black and white"),
    "merge": gettext_lazy("merging with other pictures"),
}
SELL, MINE = "sell", "mine"
OTHER_WORDS: dict[str, _StrPromise] = {
    SELL: gettext_lazy("selling the pictures, or licensing them on"),
    MINE: gettext_lazy("data mining and training of AI"),
}
ALLOWED, ASK, NO = "allowed", "ask", "no"


@dataclass
class Columns:
    """Lines of words, by what the licence says to them."""

    allowed: list[str] = field(default_factory=list)
    ask: list[str] = field(default_factory=list)
    no: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Answer:
    """What the licence says to one question: 'allowed', 'ask' or 'no', from a day still to come, until a day, and what
    more stands in it."""

    verdict: str
    since: date | None = None
    until: date | None = None
    more: str = ""


def questions() -> dict[str, _StrPromise]:
    """What can be asked, by its key: uses, changes, and what a licence may rule out."""
    return {**USE_WORDS, **ALTERATION_WORDS, **OTHER_WORDS}


def answer(terms: LicenceFields, what: str, day: date) -> Answer:
    """To a key of `questions`."""
    if what in USES:
        grant = granted(terms, what, day)
        return Answer(ASK) if grant is None else Answer(ALLOWED, _later(grant.since, day), grant.until)
    if what == SELL:
        return Answer(ALLOWED if terms.resale else NO)
    if what == MINE:
        return Answer(_mining(terms), more=_mining_words(terms))
    over = terms.ends is not None and day > terms.ends
    if over or what not in terms.alterations:
        return Answer(ASK)
    return Answer(ALLOWED, _later(terms.starts, day), terms.ends)


def territory(terms: LicenceFields) -> str:
    return _("worldwide") if _worldwide(terms) else terms.territory


def _worldwide(terms: LicenceFields) -> bool:
    return terms.territory.strip().casefold() == "worldwide"


def _later(since: date, day: date) -> date | None:
    return since if since > day else None


def _mining(terms: LicenceFields) -> str:
    """What is said of data mining goes where it belongs: nothing said is to be asked for."""
    return {"DMI-ALLOWED": ALLOWED, "DMI-UNSPECIFIED": ASK}.get(terms.data_mining, NO)


def _mining_words(terms: LicenceFields) -> str:
    words = DATA_MINING.get(terms.data_mining)
    constraint = terms.data_mining_constraint
    return " ".join(part for part in (_(words) if words else terms.data_mining, constraint) if part)


def columns(terms: LicenceFields, day: date) -> Columns:
    """Every field of the licence that allows something or shuts it out, on this day."""
    shown = Columns()
    lists = {ALLOWED: shown.allowed, ASK: shown.ask, NO: shown.no}
    for what, words in questions().items():
        reply = answer(terms, what, day)
        line = reply.more or str(words)
        if what in USES and reply.until is not None and reply.until != terms.ends:
            line = _("%(use)s, until %(day)s") % {"use": line, "day": date_format(reply.until, "DATE_FORMAT")}
        lists[reply.verdict].append(line)
    shown.ask.append(_("any other use"))
    if not _worldwide(terms):
        shown.ask.append(_("use outside of: %s") % terms.territory)
    if terms.credit_required:
        shown.no.append(_("publishing without the credit “%s”") % terms.credit_line)
    shown.no.append(_("calling the pictures your own work: the copyright stays with %s") % terms.photographer)
    if terms.starts > day:
        shown.no.append(_("any use before %s") % date_format(terms.starts, "DATE_FORMAT"))
    if terms.ends is not None:
        shown.no.append(_("any use after %s") % date_format(terms.ends, "DATE_FORMAT"))
    return shown
