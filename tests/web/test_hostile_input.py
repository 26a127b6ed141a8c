"""Every address of the URL map, asked with what no person types: whatever comes back, it is no broken page.

Numbers beyond any column, half surrogates, zero bytes, JSON nested deeper than any parser goes, names of rows that
are none; as query, form, JSON and body, by somebody who may do most things.
"""

from __future__ import annotations

import contextlib
import io
import json
from collections.abc import Iterator
from typing import Any

import pytest
from django.core.handlers.wsgi import WSGIRequest
from django.http import HttpRequest
from django.http.multipartparser import MultiPartParserError
from django.test import Client
from django.urls import URLPattern, reverse

from tests.cast import Cast, make_cast
from tests.web.test_url_map import OURS

pytestmark = pytest.mark.django_db

VALUES = {
    "word": "abc",
    "zero byte": "a\0b",
    "long number": "9" * 5000,
    "negative": "-1",
    "other digits": "٣" * 30,
    "fraction": "1e999",
    "not a number": "NaN",
    "elsewhere": "//[::1",
    "text direction": "\u202e\ufeff\u2028",
    "long": "x" * 70_000,
    "colon": "1:pick:1:1",
    "day": "0000-00-00",
    "braces": '{"a": [',
}
NAMES = (
    *("next", "page", "size", "frame", "frames", "look", "mark", "version", "do", "text", "title", "sure", "name"),
    *("email", "role", "crop", "x", "y", "width", "height", "tilt", "final", "final_id", "days", "language", "q"),
    *(
        "password",
        "username",
        "passcode",
        "sort",
        "after",
        "since",
        "until",
        "invite",
        "user",
        "kind",
        "columns",
        "start",
    ),
    *("deadline", "held_on", "keep_until", "time_zone", "allowance", "note", "notes", "licence", "delivery", "fill"),
)
BODIES = {
    "deep list": b"[" * 100_000,
    "of other kinds": json.dumps({name: {"a": []} for name in NAMES}).encode(),
    "nothing": b"",
    "half surrogate": json.dumps(dict.fromkeys(NAMES, "\ud800")).encode(),
    "zero byte": json.dumps(dict.fromkeys(NAMES, "a\x00b")).encode(),
    "long number": b'{"frame": ' + b"9" * 5000 + b', "x": ' + b"9" * 5000 + b"}",
    "deep object": b'{"a":' * 100_000,
    "not finite": b'{"x": NaN, "y": Infinity, "frame": -Infinity, "width": 1e999}',
    "no object": b"[1, null, true]",
    "null": b"null",
    "no text": b"\xff\xfe\x00\xd8",
    "lists": json.dumps({name: [[], {}, None] for name in NAMES}).encode(),
}
IN_PARTS = "multipart/form-data; boundary=x"
ALWAYS = 3  # so many of them are sent everywhere


@pytest.fixture
def cast() -> Cast:
    return make_cast()


def _path(address: str, pattern: URLPattern, cast: Cast, number: int) -> str:
    values: dict[str, Any] = {"slug": cast.sitting.slug, "kind": "large", "token": "x" * 32, "size": "a4", "code": "x"}
    names = {*pattern.pattern.converters, *(["slug"] if "slug" in address else [])}
    return reverse(pattern.name, kwargs={name: values.get(name, number) for name in names})


def _asked_briefly(client: Client, path: str) -> Iterator[tuple[str, int]]:
    """Where the door or the row's number answers before anything that is sent is read."""
    for what in ("word", "zero byte", "long number"):
        query = dict.fromkeys(NAMES, VALUES[what][:2000])
        yield f"GET {what}", client.get(path, query).status_code
        yield f"POST {what}", client.post(path, query).status_code
    yield "POST zero byte", client.post(path, BODIES["zero byte"], content_type="application/json").status_code
    yield "PUT nothing", client.put(path, b"", content_type="application/octet-stream").status_code


def _looked_into(request: HttpRequest) -> bool:
    """By the page itself. One that had it read as a form alone saw an empty form, whatever came: see the next test."""
    read_as_form = bool(request._upload_handlers)  # type: ignore[attr-defined]
    return hasattr(request, "_body") or (request._read_started and not read_as_form)  # type: ignore[attr-defined]


@pytest.mark.parametrize("what", BODIES)
def test_no_body_becomes_a_form_in_parts(what: str) -> None:
    data = {"REQUEST_METHOD": "POST", "CONTENT_TYPE": IN_PARTS, "CONTENT_LENGTH": str(len(BODIES[what]))}
    request = WSGIRequest({**data, "wsgi.input": io.BytesIO(BODIES[what])})
    with contextlib.suppress(MultiPartParserError):  # refused before any page sees it
        assert (dict(request.POST), dict(request.FILES)) == ({}, {})


def _asked(client: Client, path: str) -> Iterator[tuple[str, int]]:
    """What was tried and the status that came back."""
    query_read = form_read = False
    for number, (what, value) in enumerate(VALUES.items()):
        query = dict.fromkeys(NAMES, value)
        if number < ALWAYS or query_read:  # a page that never looks into its query cannot be broken by it
            answer = client.get(path, {name: text[:2000] for name, text in query.items()})
            query_read |= "GET" in vars(answer.wsgi_request)
            yield f"GET {what}", answer.status_code
        if number < ALWAYS or form_read:
            answer = client.post(path, query)
            form_read |= hasattr(answer.wsgi_request, "_post")
            yield f"POST {what}", answer.status_code
    for what, raw in (("half surrogate", "%ED%A0%80"), ("broken escape", "%"), ("overlong", "%C0%80"), ("zero", "%00")):
        text = "&".join(f"{name}={raw}" for name in NAMES)
        if query_read:
            yield f"GET {what}", client.get(path, QUERY_STRING=text).status_code
        if form_read:
            form = "application/x-www-form-urlencoded"
            yield f"POST {what}", client.post(path, text, content_type=form).status_code
    for method, kind in (
        ("POST", "application/json"),
        ("POST", IN_PARTS),
        ("POST", "application/octet-stream"),
        ("PUT", "application/octet-stream"),
    ):
        read = False
        for number, (what, body) in enumerate(BODIES.items()):
            if number >= ALWAYS and not read:
                break  # a page that never looks into what comes cannot be broken by it
            answer = client.generic(method, path, body, content_type=kind)
            read |= _looked_into(answer.wsgi_request)
            yield f"{method} {what} as {kind}", answer.status_code


@pytest.mark.parametrize(("address", "pattern"), OURS, ids=[address for address, _ in OURS])
def test_nothing_that_is_sent_breaks_a_page(address: str, pattern: URLPattern, cast: Cast, settings: Any) -> None:
    settings.DOOR_TRIES = 100_000  # what counts tries would answer in the page's place
    frame = cast.frame(1)
    own = cast.owner if "studio" in address else cast.subject
    tries = [(own, frame.pk, _asked), (own, 2**63 - 1, _asked_briefly), (cast.owner, frame.pk, _asked_briefly)]
    broken = []
    for person, number, ask in tries if pattern.pattern.converters else tries[::2]:
        client = cast.client_of(person)
        client.raise_request_exception = False
        path = _path(address, pattern, cast, number)
        broken += [f"{what}: {status}" for what, status in ask(client, path) if status >= 500]
    assert not broken, address


def test_numbers_in_addresses_beyond_any_row_are_not_found(cast: Cast) -> None:
    client = cast.client_of(cast.owner)
    client.raise_request_exception = False
    for address, pattern in OURS:
        if any(name.endswith("_id") for name in pattern.pattern.converters):
            path = _path(address, pattern, cast, 10**30)
            assert client.get(path).status_code < 500, path


@pytest.mark.parametrize(
    "onward", ["abc", "studio", "http:", "//[::1", "/\\elsewhere.example", "/studio/\r\nX: y", "\ud800"]
)
def test_after_signing_in_nothing_odd_is_followed(cast: Cast, onward: str) -> None:
    cast.owner.set_password("a long password of this test")
    cast.owner.save()
    form = {
        "name": cast.owner.username,
        "password": "a long password of this test",
        "next": onward.encode("utf-8", "surrogatepass"),
    }
    answer = Client().post("/sign-in", form)
    assert answer.status_code == 302
    assert answer.headers["Location"].startswith("/studio/")
    assert "elsewhere" not in answer.headers["Location"]
