"""Pages of which most is the same for many: rendered once for all that they say, and kept by it.

What a template says hangs on nothing but the values that it is given, its language and its time zone. So it is given
plain values, no rows that could ask for more, and those are the key: another value is another page. What is of one
answer alone, tokens and marks, is filled in each time.
"""

from __future__ import annotations

import re
import secrets
from collections.abc import Callable, Hashable, Mapping
from functools import lru_cache
from typing import Any, Generic, TypeVar

from django.contrib.messages import get_messages
from django.http import HttpRequest, HttpResponse
from django.middleware.csrf import get_token
from django.template.loader import render_to_string
from django.utils import timezone, translation
from django.utils.html import conditional_escape, escape
from django.utils.safestring import SafeString

V = TypeVar("V", bound=Hashable)
_SIGN = secrets.token_hex(8)  # stands in no text of anybody's, so nobody's words are taken for a place
_PLACE = re.compile(f"\0{_SIGN}([a-z_]+[0-9]*)\0")


def _place(name: str) -> SafeString:
    """Where something is filled in."""
    return SafeString(f"\0{_SIGN}{name}\0")  # nosec B703


class KeptPage(Generic[V]):
    """`context` makes what the template reads of the values, and of nothing else but the active language and zone."""

    def __init__(self, template: str, context: Callable[[V], dict[str, Any]], *, most: int = 64) -> None:
        self._template, self._context = template, context
        self._kept = lru_cache(maxsize=most)(self._rendered)

    def answer(
        self, request: HttpRequest, values: V, fresh: Mapping[str, str], rows: Mapping[str, list[SafeString]]
    ) -> HttpResponse:
        """`fresh`: what is filled in where the template has that name, escaped unless it is safe; `rows`: lists of
        HTML of which only the length is kept."""
        filled = {
            "token": get_token(request),
            "path": escape(request.get_full_path()),
            **{name: conditional_escape(text) for name, text in fresh.items()},
            **{f"{name}{n}": html for name, row in rows.items() for n, html in enumerate(row)},
        }
        lengths = tuple((name, len(row)) for name, row in rows.items())
        key = (translation.get_language(), timezone.get_current_timezone_name(), values, tuple(fresh), lengths)
        messages = get_messages(request)
        # What is said once, to one person, is kept for nobody.
        pieces = list(self._rendered(*key, messages) if len(messages) else self._kept(*key))
        pieces[1::2] = [filled[name] for name in pieces[1::2]]
        return HttpResponse("".join(pieces))

    def forget(self) -> None:
        self._kept.cache_clear()

    def _rendered(
        self,
        _language: str | None,
        _zone: str,
        values: V,
        fresh: tuple[str, ...],
        lengths: tuple[tuple[str, int], ...],
        messages: Any = (),
    ) -> list[str]:
        """Text, and between its pieces the names of what is filled in there."""
        context = {
            **self._context(values),
            **{name: _place(name) for name in fresh},
            **{name: [_place(f"{name}{n}") for n in range(many)] for name, many in lengths},
            "csrf_token": _place("token"),
            "request": {"get_full_path": _place("path")},
            "messages": messages,
        }
        return _PLACE.split(render_to_string(self._template, context))
