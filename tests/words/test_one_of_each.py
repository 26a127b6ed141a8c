"""A count with a noun behind it has its words for one, where a script fills the count in: "1 frames" is never read."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from django.conf import settings

from galleries.web.invitee import compare, words

COUNTED = re.compile(
    r"\{\w+\} (?:new |more |other )?(?:frames|files|sizes|finals|marks|notes|sitters|looks|pictures)\b"
)
ALWAYS_MANY = {"heaps_offer"}  # heaps are offered for more than a few frames only
GIVEN = re.compile(r"""data-(\w+)="{% translate '([^']+)' %}\"""")


def test_a_counted_sentence_of_an_invitees_page_has_its_words_for_one() -> None:
    told = {**words.sheet_words(), **compare.compare_words()}
    counted = {name for name, sentence in told.items() if isinstance(sentence, str) and COUNTED.search(sentence)}
    assert {"fresh", "none_picked"} <= counted, "the counted sentences are not seen"
    assert {name for name in counted - ALWAYS_MANY if f"{name}_one" not in told} == set()


@pytest.mark.parametrize("name", ["studio/desk.html", "studio/crops.html", "studio/_uploader.html"])
def test_a_counted_sentence_of_the_studios_pages_has_its_words_for_one(name: str) -> None:
    given = dict(GIVEN.findall(Path(settings.BASE_DIR, "galleries/templates/galleries", name).read_text("utf-8")))
    counted = {key for key, sentence in given.items() if COUNTED.search(sentence)}
    assert counted, "the counted sentences are not seen"
    assert {key for key in counted if f"{key}_one" not in given} == set()


def test_no_other_template_has_a_counted_sentence_for_a_script() -> None:
    rooms = Path(settings.BASE_DIR, "galleries/templates/galleries")
    seen = {
        str(page.relative_to(rooms))
        for page in rooms.rglob("*.html")
        for _key, sentence in GIVEN.findall(page.read_text("utf-8"))
        if COUNTED.search(sentence)
    }
    assert seen == {"studio/desk.html", "studio/crops.html", "studio/_uploader.html"}
