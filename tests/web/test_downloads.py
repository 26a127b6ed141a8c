"""What the studio's people fetch unstamped stands in the journal: what, by whom, once a fetch; a look does not."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client

from galleries.models import JournalLine, Sitting
from galleries.steps.delivering import sizes
from tests.cast import body_of
from tests.web.test_matrix import Place, address

pytestmark = pytest.mark.django_db
FILES = {
    "original": ("original fetched", "KAL_0001.JPG"),
    "studio-version-file": ("version fetched", "n.jpg"),
    "studio-archive": ("fetched", "a.zip"),
    "studio-delivered-file": ("fetched", "f.jpg"),
    "studio-own-copy-archive": ("own copy fetched", "own.zip"),
}


@pytest.fixture
def place() -> Place:
    sizes.load()
    place = Place("own-sitting")
    Sitting.objects.update(stage="delivered")
    return place


def ask(client: Client, method: str, at: str, **headers: str) -> int:
    answer = getattr(client, method)(at, headers=headers)
    if answer.streaming:
        body_of(answer)
    return int(answer.status_code)


def lines() -> list[tuple[str, str, str]]:
    kinds = [verb for verb, _name in FILES.values()]
    return list(JournalLine.objects.filter(verb__in=kinds).order_by("pk").values_list("who", "verb", "thing"))


@pytest.mark.parametrize("proxy", [False, True])
def test_each_fetch_of_the_studio_is_a_line_and_ranges_are_one(place: Place, settings: Any, proxy: bool) -> None:
    settings.INTERNAL_REDIRECT = proxy
    owner, colleague = (place.cast.client_of(one) for one in (place.cast.owner, place.cast.colleague))
    for name, (verb, thing) in FILES.items():
        at, had = address(name, "own-sitting", place.things), len(lines())
        assert ask(owner, "head", at) == 200
        assert len(lines()) == had, name
        for first in (9, 0, 5):  # in whatever order they come
            assert ask(owner, "get", at, Range=f"bytes={first}-") == (200 if proxy else 206)
        assert lines()[had:] == [("Tamsin (photographer)", verb, thing)]
        assert ask(owner, "get", at) == ask(owner, "get", at) == 200
        assert len(lines()) == had + 3, name
        ask(colleague, "get", at, Range="bytes=9-")
        assert lines()[-1] == ("colleague-own-sitting (photographer)", verb, thing)
        if not proxy:
            assert ask(owner, "get", at, Range="bytes=99999999-") == 416
        assert len(lines()) == had + 4, name


def test_pictures_of_a_page_at_work_are_no_downloads(place: Place) -> None:
    owner, before = place.cast.client_of(place.cast.owner), JournalLine.objects.count()
    for name in ("studio-version-picture", "studio-reference"):
        assert ask(owner, "get", address(name, "own-sitting", place.things)) == 200
    assert JournalLine.objects.count() == before


def test_whoever_may_not_leaves_no_line(place: Place) -> None:
    for person in (place.cast.subject, place.cast.stranger, None):
        client = place.cast.client_of(person)
        for name in FILES:
            assert ask(client, "get", address(name, "own-sitting", place.things)) in {302, 404}
    assert not lines()


def test_each_fetch_of_somebody_invited_is_a_line_too(place: Place) -> None:
    subject = place.cast.client_of(place.cast.subject)
    for name, thing in (("delivered-file", "f.jpg"), ("archive", "a.zip"), ("own-copy-archive", "own.zip")):
        at, had = address(name, "own-sitting", place.things), len(lines())
        assert ask(subject, "head", at) == 200
        assert [ask(subject, "get", at), ask(subject, "get", at, Range="bytes=9-"), ask(subject, "get", at)] == [
            200, 206, 200
        ]  # fmt: skip
        assert [one[2] for one in lines()[had:]] == [thing, thing]
