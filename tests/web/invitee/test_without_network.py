"""Which addresses the worker on a device answers when there is no network: every page of somebody invited."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from galleries.web.invitee import urls

WORKER = Path(__file__).parents[3] / "galleries/static/galleries/js/invitee/outbox-worker.js"
# Files, pictures, what scripts ask for, and forms that answer with another page.
NO_PAGES = {
    "accept-licence", "accept-terms", "archive", "ask-use", "changes", "deadlines", "delivered-file", "delivery-paper",
    "done", "file-picture", "for-use", "look-say", "marks", "own-copy-archive", "passcode", "reference", "remarks",
    "retouch-archive", "retouch-file", "retouch-join", "retouch-known", "retouch-original", "retouch-part",
    "retouch-parts", "retouch-picture", "retouch-version", "statement-file", "version-picture",
}  # fmt: skip
NAMES = [pattern.name for pattern in urls.urlpatterns]


@pytest.mark.parametrize("pattern", urls.urlpatterns, ids=NAMES)
def test_each_page_is_answered_in_the_house_s_words_without_a_network(pattern: object) -> None:
    """Else the browser's own page stands there. A new address is named here or there."""
    names = re.search(r"PAGES =(.*?),\n", WORKER.read_text("utf-8"), re.DOTALL)
    assert names
    pages = "".join(re.findall(r'"([^"]*)"', names[1])).replace("\\\\", "\\")
    route = re.sub(r"<[^>]+>", "7", str(pattern.pattern))  # type: ignore[attr-defined]
    answered = re.fullmatch(pages, route) is not None
    assert answered == (pattern.name not in NO_PAGES)  # type: ignore[attr-defined]


def test_no_name_stands_there_without_an_address() -> None:
    assert set(NAMES) >= NO_PAGES
