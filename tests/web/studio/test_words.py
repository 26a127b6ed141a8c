"""Bytes in words."""

from __future__ import annotations

import pytest
from django.utils import translation

from galleries.templatetags.studio_words import megabytes


@pytest.mark.parametrize(
    ("count", "words"),
    [(500_000, "0.5 MB"), (2_000_000, "2 MB"), (10_000_000, "10 MB"), (1_250_000, "1.2 MB"), (84_000, "0.08 MB")],
)
def test_bytes_are_counted_as_upload_pages_count_them(count: int, words: str) -> None:
    with translation.override("en"):
        assert megabytes(count) == words


def test_the_comma_is_the_persons_own() -> None:
    with translation.override("de"):
        assert megabytes(500_000) == "0,5 MB"
