"""Uses of a licence in the reader's language, for pages; the licence itself stands in English (`licence_wording`)."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.utils import timezone
from django.utils.translation import gettext_lazy

from galleries.models import UsageRequest
from galleries.steps.delivering import licences

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise

USE_WORDS: dict[str, _StrPromise] = {
    "casting": gettext_lazy("submissions for castings, on paper and online"),
    "website": gettext_lazy("the subject's own website"),
    "representation": gettext_lazy("the representation's website, lists and submissions"),
    "social": gettext_lazy("the subject's own social media accounts"),
    "press": gettext_lazy("press about the subject's own work, and playbills"),
    "print-own": gettext_lazy("prints for the subject's own use"),
    "portfolio": gettext_lazy("the subject's portfolio"),
    "lobby": gettext_lazy("a theatre's display of the company of a production"),
    "poster": gettext_lazy("posters and paid publicity of a production"),
    "advertising": gettext_lazy("advertising of goods or services"),
    "merchandise": gettext_lazy("goods for sale that show the picture"),
    "book": gettext_lazy("book covers and inside books"),
}


def granted(request: UsageRequest) -> dict[str, Any] | None:
    """{uses, until, has_ended, note, licence} of what was granted: the last addendum of the wording written then. Else
    None."""
    if request.addendum is None:
        return None
    terms = licences.terms_of(request.addendum)
    addendum = terms.addenda[-1]
    last = addendum.until or terms.ends
    has_ended = last is not None and last < timezone.localdate()
    return {
        "uses": [USE_WORDS.get(use, use) for use in addendum.uses],
        "until": last if has_ended else addendum.until,
        "has_ended": has_ended,
        "note": addendum.note,
        "licence": request.addendum.number,
    }
