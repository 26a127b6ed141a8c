"""Sizes that come with the program are read in the reader's language; those a studio adds stand as it wrote them."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest
from django.utils import translation

from galleries.models import DeliverySize

SHIPPED = json.loads((Path(__file__).resolve().parents[2] / "galleries/data/sizes.json").read_text("utf-8"))


@pytest.mark.parametrize("language", ["de", "es"])
def test_every_size_that_comes_with_the_program_has_its_words(language: str) -> None:
    with translation.override(language):
        rows = [DeliverySize(title=one["title"], source=one["source"], checked_on=date(2026, 1, 1)) for one in SHIPPED]
        assert len(rows) > 20
        assert not [row.title for row in rows if row.shown_title == row.title]
        assert not [row.source for row in rows if row.shown_source == row.source]
        # The figures are the same in every language.
        signs = str.maketrans("", "", "".join(map(chr, range(33, 48))))
        for row in rows:
            named = [word.translate(signs) for word in row.title.split() if word[0].isdigit() and "bit" not in word]
            assert all(word in row.shown_title.translate(signs) for word in named), row.title


def test_a_studios_own_size_stands_as_written() -> None:
    with translation.override("de"):
        assert DeliverySize(title="Agency wall 30 × 40").shown_title == "Agency wall 30 × 40"
        assert DeliverySize(title="", source="").shown_title == ""
