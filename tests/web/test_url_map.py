"""Every view of the product says what it lets in, and lets nobody else in."""

from __future__ import annotations

import pytest
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from galleries.models import Frame
from tests.cast import make_cast

# Not ours: Django's admin has its own permission system, health tells nothing, metrics asks for the operator's token.
ELSEWHERE = ("django.contrib.admin", "galleries.web.health", "galleries.web.metrics", "django.views")
OPEN = {"front", "open-invite", "open-sign-in", "sign-in", "ask-link", "desk", "leave", "language", "upkeep-sign-in"}
OPEN |= {"open-opinion", "second-step", "second-step-ask", "not-me", "send-invite-again", "logo", "certificate"}


def every_view(patterns=None, prefix=""):
    for pattern in patterns if patterns is not None else get_resolver().url_patterns:
        if isinstance(pattern, URLResolver):
            if pattern.app_name != "admin":
                yield from every_view(pattern.url_patterns, prefix + str(pattern.pattern))
        elif isinstance(pattern, URLPattern):
            yield prefix + str(pattern.pattern), pattern


OURS = [
    (address, pattern) for address, pattern in every_view() if not pattern.callback.__module__.startswith(ELSEWHERE)
]


@pytest.mark.parametrize(("address", "pattern"), OURS, ids=[address for address, _ in OURS])
def test_every_view_declares_its_guard(address, pattern):
    guard = getattr(pattern.callback, "guard", None)
    assert guard is not None, f"{address} has no guard: use one of galleries.web.doors"
    if str(guard).startswith("open:"):
        assert pattern.name in OPEN or "no pictures" in str(guard) or "worker" in (pattern.name or ""), address


def argument_values(cast, frame):
    return {
        "slug": cast.sitting.slug,
        "frame_id": frame.pk,
        "kind": "large",
        "version": 1,
        "token": "x" * 32,
        "look_id": 1,
        "size": "a4",
    }


@pytest.mark.django_db
@pytest.mark.parametrize("who", ["nobody", "stranger", "elsewhere", "colleague"])
def test_no_view_of_a_sitting_opens_for_somebody_else(who):
    cast, other = make_cast(), make_cast("another")
    frame = cast.frame(1)
    person = {"nobody": None, "stranger": cast.stranger, "elsewhere": other.subject, "colleague": cast.colleague}[who]
    client = cast.client_of(person)
    client.raise_request_exception = True
    tried = 0
    for address, pattern in OURS:
        names = set(pattern.pattern.converters)
        if not names & {"slug", "frame_id"} and "slug" not in address:
            continue
        values = argument_values(cast, frame)
        kwargs = {name: values.get(name, 1) for name in names}
        kwargs["slug"] = cast.sitting.slug
        try:
            path = (
                reverse(pattern.name, kwargs=kwargs)
                if "slug" in address
                else reverse(pattern.name, kwargs={name: kwargs[name] for name in names})
            )
        except Exception as error:
            raise AssertionError(f"{address}: {error}") from error
        for method in ("get", "post", "put"):
            response = getattr(client, method)(path)
            tried += 1
            body = b"".join(response.streaming_content) if response.streaming else response.content
            if response.status_code == 302:
                assert response.headers["Location"].startswith("/sign-in"), (path, response.headers["Location"])
            else:
                assert response.status_code in {403, 404, 405}, (method, path, response.status_code)
            assert b"Ansa" not in body, (method, path)
    assert tried > 6
    assert Frame.objects.get(pk=frame.pk).hidden is False
