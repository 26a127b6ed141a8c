"""Days in the reader's language, as CLDR's medium dates (from memory): Spanish months have no capital."""

from __future__ import annotations

from datetime import date

import pytest
from django.utils import formats, translation


@pytest.mark.parametrize(
    ("language", "short", "full"),
    [
        ("en", "27 Nov 2026", "27 November 2026"),
        ("de", "27. Nov. 2026", "27. November 2026"),
        ("es", "27 nov 2026", "27 de noviembre de 2026"),
    ],
)
def test_a_day_is_written_as_its_language_does(language: str, short: str, full: str) -> None:
    with translation.override(language):
        day = date(2026, 11, 27)
        assert formats.date_format(day, "SHORT_DATE_FORMAT") == short
        assert formats.date_format(day, "DATE_FORMAT") == full
