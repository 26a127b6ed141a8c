"""What is fuzzed apart from the test command (tests/fuzz) still fits the site: every seed is taken by its page."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.fuzz.targets import Archive, Json

pytestmark = pytest.mark.django_db


@pytest.fixture
def body() -> Json:
    target = Json.__new__(Json)  # on this test's tables, not on some of its own
    target.prepare()
    return target


def test_every_body_that_fuzzing_begins_with_is_taken(body: Json) -> None:
    for seed in body.seeds().values():
        body.take(seed)


def test_every_address_answers_one_of_the_bodies_with_more_than_a_refusal(body: Json) -> None:
    """Else fuzzing would never come past the first question of a page."""
    taken: set[str] = set()
    for seed in body.seeds().values():
        client, path = body.addresses[seed[0]]
        kind = "application/json"
        if client.post(path, seed[1:], content_type=kind, headers={"accept": kind}).status_code < 300:
            taken.add(path)
    assert taken == {path for _client, path in body.addresses}


def test_the_archive_that_fuzzing_begins_with_is_restored(monkeypatch: pytest.MonkeyPatch) -> None:
    target = Archive.__new__(Archive)
    target.prepare()
    restored: list[Path] = []
    true_one = target.restore.restore
    monkeypatch.setattr(target.restore, "restore", lambda path: restored.append(path) or true_one(path))
    target.take(target.whole)
    target.take(target.head)
    assert len(restored) == 2
