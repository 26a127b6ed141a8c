"""What the pages of somebody invited have in common: their rows of the head, and the render call."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import AbstractContextManager
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.utils import timezone, translation
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext_lazy as _

from galleries.access import Act, Visitor, may
from galleries.models import Sitting
from galleries.web.invitee import without_network

TABS = (
    ("plan", _("Plan"), Act.SEE_PLAN),
    ("sheet", _("Sheet"), Act.SEE_SHEET),
    ("opinions", _("Second opinion"), Act.SEE_OPINIONS),
    ("lists", _("Lists"), Act.COMPARE_LISTS),
    ("finals", _("Finals"), Act.SEE_FINALS),
    ("retouching", _("Retouch"), Act.SEE_RETOUCHING),
    ("delivery", _("Delivery"), Act.SEE_DELIVERY),
)
_LABELS = {name: label for name, label, _act in TABS}


def key_in(text: str) -> int:
    """The key of a row as a request names it; 0, which no row has, for what is none or lies beyond any."""
    return int(text) if text.isdecimal() and len(text) < 19 else 0


def _has_opinions(visitor: Visitor, sitting: Sitting) -> bool:
    """Asks the person for second opinions, or is there one that they may read?"""
    if may(visitor, Act.ASK_OPINION, sitting):
        return True
    if not may(visitor, Act.SEE_OPINIONS, sitting) or visitor.invite is None:
        return False
    if visitor.invite.is_subject:
        return sitting.second_opinions.filter(asked_by=visitor.invite).exists()
    return sitting.second_opinions.filter(for_representation=True).exclude(said_at=None).exists()


@lru_cache(maxsize=32)
def large_view(language: str, *, may_mark: bool, is_subject: bool) -> SafeString:
    """One frame, large: the same for all who see as much of it; the active language is `language`."""
    values = {"may_mark": may_mark, "is_subject": is_subject}
    return mark_safe(render_to_string("galleries/invitee/_large.html", values))  # noqa: S308  # nosec B308 B703


def tab_names(visitor: Visitor, sitting: Sitting) -> tuple[str, ...]:
    """The sitting's pages that are this person's."""
    names = [name for name, _label, act in TABS if may(visitor, act, sitting)]
    if not _has_opinions(visitor, sitting):
        names = [name for name in names if name != "opinions"]
    if visitor.user is not None:  # a page of work handed out, no page of the gallery that they look at
        names = [name for name in names if name != "retouching"]
    return tuple(names)


def tabs(names: Iterable[str]) -> list[dict[str, Any]]:
    return [{"name": name, "label": _LABELS[name]} for name in names]


def zone_of(sitting: Sitting) -> AbstractContextManager[None]:
    """Times read as the clock where the sitting was."""
    return timezone.override(ZoneInfo(sitting.time_zone))


def page(
    request: HttpRequest, visitor: Visitor, sitting: Sitting, template: str, status: int = 200, **context: Any
) -> HttpResponse:
    """Render galleries/invitee/<template>.html with the sitting, the person and the pages that are theirs."""
    may_mark, is_subject = may(visitor, Act.MARK, sitting), visitor.invite is not None and visitor.invite.is_subject
    base = {
        "sitting": sitting,
        "person": visitor.invite,
        "visitor": visitor,
        "tabs": tabs(tab_names(visitor, sitting)),
        "here": {"compare": "sheet", "as_casting": "sheet", "final": "finals", "objection": "finals"}.get(
            template, template
        ),
        "may_mark": may_mark,
        "large_view": large_view(translation.get_language() or "", may_mark=may_mark, is_subject=is_subject),
        "without_network": {
            **without_network.device(visitor, sitting),
            "words": without_network.words_of_pages(),
        },
    }
    with zone_of(sitting):
        return render(request, f"galleries/invitee/{template}.html", {**base, **context}, status=status)
