"""A frame that the studio's uploader sends by the straight way: the same answer with fewer questions; and of what was
taken back, or was never theirs, nothing is kept."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import pytest
from django.conf import LazySettings, settings
from django.contrib.auth.models import User
from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from galleries import storage
from galleries.access import Visitor
from galleries.models import Frame, JournalLine, Sitting
from tests.cast import Cast, make_cast
from tests.imaging.core_pictures import exif, painted, saved
from tests.web.test_straight_studio import TAKEN

pytestmark = pytest.mark.django_db
PASS, SESSION, TOKEN = settings.PASS_COOKIE_NAME, settings.SESSION_COOKIE_NAME, "a" * 32


@pytest.fixture
def cast() -> Cast:
    cast = make_cast()
    cast.sitting.colleagues.add(cast.colleague)
    return cast


def frame_file(second: int) -> bytes:
    return saved(painted(96 + second), exif=exif(taken=f"2026:03:02 12:00:{second:02d}"))


def browser(cast: Cast, person: Any, *, with_pass: bool = True) -> Client:
    """One that checks the form's token, with a pass as the page of uploads gives it."""
    entered, client = cast.client_of(person), Client(enforce_csrf_checks=True)
    client.cookies.load({name: morsel.value for name, morsel in entered.cookies.items()})
    client.cookies[settings.CSRF_COOKIE_NAME] = TOKEN
    if with_pass:
        assert client.get(reverse("studio-upload", args=[cast.sitting.slug])).status_code == 200
        assert client.cookies[PASS]["httponly"]
    return client


def put(client: Client, cast: Cast, data: bytes, **more: str) -> tuple[Any, int]:
    """(the answer, how many questions to the database)."""
    headers = {"X-File-Name": "KAL_0001.JPG", "Accept": "application/json", "X-CSRFToken": TOKEN} | more
    at = reverse("studio-upload-file", args=[cast.sitting.slug])
    with CaptureQueriesContext(connection) as asked:
        answer = client.put(at, data, content_type="application/octet-stream", headers=headers)
    return answer, len([one for one in asked if "SAVEPOINT" not in str(one["sql"])])


def nothing_kept() -> bool:
    prefix = storage.private().path("sittings")
    return not Frame.objects.exists() and not list(Path(prefix).rglob("*.jpg"))


def whole_way(cast: Cast, person: Any, data: bytes, **more: str) -> tuple[Any, int]:
    return put(browser(cast, person, with_pass=False), cast, data, **more)


@pytest.mark.parametrize("who", ["owner", "colleague"])
def test_the_answer_is_that_of_the_whole_way_for_fewer_questions(cast: Cast, who: str) -> None:
    person = getattr(cast, who)
    client = browser(cast, person)
    put(client, cast, frame_file(1))  # its look is there then
    short, few = put(client, cast, frame_file(2))
    long, more = whole_way(cast, person, frame_file(3))
    assert (short.status_code, long.status_code) == (201, 201)
    assert few == more - 2
    other = {"Vary", "Content-Language", "Content-Length"}
    heads = [{name: value for name, value in one.headers.items() if name not in other} for one in (short, long)]
    assert heads[0] == heads[1]
    assert int(short.headers["Content-Length"]) == len(short.content)
    assert short.json().keys() == long.json().keys()
    lines = JournalLine.objects.filter(verb="frame added")
    assert set(lines.values_list("who", flat=True)) == {Visitor(user=person).who}
    assert lines.count() == Frame.objects.count() == 3


def test_a_frame_that_is_kept_hands_out_a_pass_so_that_a_long_card_goes_on_straight(cast: Cast) -> None:
    client = browser(cast, cast.owner, with_pass=False)
    put(client, cast, frame_file(1))
    assert PASS in client.cookies


@pytest.mark.parametrize("who", ["owner", "colleague"])
def test_what_is_taken_back_keeps_nothing_from_the_next_request_on(cast: Cast, who: str) -> None:
    user: User = getattr(cast, who)
    client = browser(cast, user)
    kept = {name: morsel.value for name, morsel in client.cookies.items()}
    for name, change in TAKEN.items():
        with transaction.atomic():
            client.cookies.load(kept)
            change(cast, user)
            answer, _questions = put(client, cast, frame_file(1))
            assert answer.status_code in {403, 404}, name
            assert nothing_kept(), name
            transaction.set_rollback(True)
    client.cookies.load(kept)
    assert put(client, cast, frame_file(1))[0].status_code == 201


def test_without_the_forms_token_nothing_comes_in(cast: Cast) -> None:
    client = browser(cast, cast.owner)
    for bad in ({"X-CSRFToken": "b" * 32}, {"X-CSRFToken": ""}, {"Origin": "https://elsewhere.example"}):
        answer, _questions = put(client, cast, frame_file(1), **bad)
        assert answer.status_code == 403, bad
        assert nothing_kept()


def test_the_pass_of_somebody_else_brings_nobody_in(cast: Cast) -> None:
    other = make_cast("another")
    given = browser(cast, cast.owner).cookies[PASS].value
    for person in (None, cast.stranger, other.owner, other.subject, cast.subject, cast.representation):
        thief = browser(cast, person, with_pass=False)
        thief.cookies[PASS] = given
        assert put(thief, cast, frame_file(1))[0].status_code in {403, 404}
        assert nothing_kept()
    stranger = browser(other, other.owner)  # with a good pass of their own
    assert put(stranger, cast, frame_file(1))[0].status_code == 404
    assert nothing_kept()


def test_where_everybody_needs_a_second_factor_an_earlier_pass_leads_no_shorter(
    cast: Cast, settings: LazySettings
) -> None:
    client = browser(cast, cast.owner)
    settings.SECOND_FACTOR_REQUIRED = True
    assert put(client, cast, frame_file(1))[0].status_code == 302
    assert nothing_kept()


def test_what_is_refused_is_refused_in_the_same_words(cast: Cast, settings: LazySettings) -> None:
    client, data = browser(cast, cast.owner), frame_file(1)
    settings.MAX_FRAME_BYTES = 10**6
    for sent, headers, status in [
        (data, {"X-File-Sha256": hashlib.sha256(b"other").hexdigest()}, 409),
        (data, {"X-File-Sha256": "no digest"}, 400),
        (data, {"X-File-Name": ""}, 400),
        (b"", {}, 400),
        (bytes(10**6 + 1), {}, 413),
        (b"no picture at all", {"Accept-Language": "de"}, 200),
    ]:
        short, long = put(client, cast, sent, **headers)[0], whole_way(cast, cast.owner, sent, **headers)[0]
        assert short.status_code == long.status_code == status, (headers, short.content)
        assert short.json() == long.json()
        assert nothing_kept()
    Sitting.objects.update(stage=Sitting.Stage.ARCHIVED)
    short, long = put(client, cast, data)[0], whole_way(cast, cast.owner, data)[0]
    assert (short.status_code, short.json()) == (long.status_code, long.json())
    assert short.status_code == 403
    assert nothing_kept()
    assert not list(Path(settings.INCOMING_DIR).glob("*"))
