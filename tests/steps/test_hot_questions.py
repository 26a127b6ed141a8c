"""Questions asked of all sittings at once go by an index, on either database."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.db.models import QuerySet
from django.utils import timezone

from galleries.models import DeliveredFile, Invite, Letter

pytestmark = pytest.mark.django_db


def _plan(asked: QuerySet[Any]) -> str:
    """PostgreSQL reads a table of few rows whole whatever indexes there are, unless it is kept from it."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SET LOCAL enable_seqscan = off")
    return asked.explain()


@pytest.mark.parametrize(
    ("asked", "index"),
    [
        (lambda: Invite.objects.filter(email="ansa@veld.example"), "invites_by_address"),
        (lambda: Letter.objects.unsent(), "letters_that_wait"),
        (
            lambda: Letter.objects.filter(to="a@veld.example", created_at__gt=timezone.now() - timedelta(hours=1)),
            "letters_by_day",
        ),
        (lambda: DeliveredFile.objects.filter(sha256="a" * 64).order_by(), "sha256"),
    ],
    ids=["an address's invites", "letters that wait", "letters of an hour", "a delivered file by its digest"],
)
def test_an_index_answers(asked: Any, index: str) -> None:
    plan = _plan(asked())
    assert index in plan, plan
