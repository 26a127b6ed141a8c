"""What the web process loads before it is asked for anything."""

from __future__ import annotations

import pytest
from django.db import connection
from django.template.loader import get_template
from django.test.utils import CaptureQueriesContext

from portal import warm


@pytest.mark.django_db
def test_all_that_is_loaded_ahead_is_there_and_the_database_is_not_asked() -> None:
    with CaptureQueriesContext(connection) as seen:
        warm.warm()
    assert not len(seen)
    for page in warm.PAGES:
        assert get_template(page)
