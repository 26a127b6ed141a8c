"""Looking writes nothing: every address of the site, asked with GET and HEAD by whoever may see it, on rows that exist.

Fetching a file and opening a link are no mere looks: they stand below, each with what it writes. (Django's own admin
below /upkeep/ is not ours.) What is written is read from the statements themselves, so that a write that happens to
change nothing counts too.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from django.db import connection
from django.http import HttpResponseBase
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from galleries.models import Invite, Sitting
from galleries.steps.delivering import sizes
from galleries.steps.people import invite as invites
from galleries.web import doors
from tests.cast import body_of
from tests.web.test_matrix import CONVERTERS, INVITEE_PAGES, OF_NO_SITTING, STUDIO_PAGES, Place, address, opens

WRITES = re.compile(r"\s*(INSERT INTO|UPDATE|DELETE FROM|REPLACE INTO)\s+\"?(\w+)\"?", re.IGNORECASE)
PEOPLE = ("photographer", "subject", "representation", "recipient")
# What a look may write, and why. Nothing else belongs here; a HEAD fetches nothing.
# That an invited person, or a session of the studio, was here, once in five minutes: people see whom they wait for, and
# where they are signed in themselves.
SEEN = {"galleries_invite"}
SEEN_STUDIO = {"galleries_studiosession"}
HANDED = {"galleries_receipt", "galleries_journalline", "galleries_sitting"}  # the receipt, and live pages hear of it
FETCHES: dict[str, set[str]] = {
    "archive": HANDED,
    "delivered-file": HANDED,
    "for-use": HANDED,
    **{
        what: {"galleries_retoucherreceipt", "galleries_journalline", "galleries_sitting"}
        for what in ("retouch-archive", "retouch-original")
    },
    "delivery-paper": {"galleries_journalline"},  # which paper went to whom
    **{f"studio-{what}": {"galleries_journalline"} for what in ("version-file", "archive", "delivered-file")},
    **{what: {"galleries_journalline"} for what in ("original", "studio-own-copy-archive")},
    "own-copy-archive": {"galleries_owncopy", "galleries_journalline"},  # when its person fetched it
}
# The desk lets an agent into sittings that were added since they came.
COMING_IN: dict[str, set[str]] = {
    "desk": {"galleries_invite", "django_session"},
}


@contextmanager
def written() -> Iterator[list[tuple[str, str]]]:
    """The (verb, table) of every statement that writes."""
    seen: list[tuple[str, str]] = []

    def note(execute: Callable[..., Any], sql: str, params: Any, many: bool, context: Any) -> Any:
        if match := WRITES.match(sql):
            seen.append((match[1].upper(), match[2]))
        return execute(sql, params, many, context)

    with connection.execute_wrapper(note):
        yield seen


def looked(client: Client, method: str, at: str) -> tuple[HttpResponseBase, set[str]]:
    with written() as seen:
        answer: HttpResponseBase = getattr(client, method)(at)
        if answer.streaming:
            body_of(answer)
    return answer, {table for _verb, table in seen}


def of_sittings(place: Place, stage: str) -> Iterator[tuple[str, str, str]]:
    """(address's name, role, path) of what opens to this person at this stage."""
    for name in (*INVITEE_PAGES, *STUDIO_PAGES):
        if "get" in (STUDIO_PAGES.get(name) or INVITEE_PAGES[name][0]).split():
            at = address(name, place.things["slug"], place.things)
            yield from ((name, role, at) for role in PEOPLE if opens(name, role, stage))


@pytest.mark.django_db
@pytest.mark.parametrize(("letter", "stage"), [("p", "planning"), ("a", "agreeing"), ("d", "delivered")])
def test_a_page_of_a_sitting_that_is_looked_at_writes_nothing(letter: str, stage: str) -> None:
    sizes.load()
    place = Place("own-sitting")
    Sitting.objects.update(stage=stage)
    clients = {role: place.cast.client_of(place.person(role, place)) for role in PEOPLE}
    wrong, wrote, tried = [], set(), 0
    for name, role, at in of_sittings(place, letter):
        for method in ("get", "head"):
            Invite.objects.update(last_seen_at=None)
            answer, tables = looked(clients[role], method, at)
            tried += answer.status_code in {200, 302, 204}
            allowed = FETCHES.get(name, set()) if method == "get" else set()
            if tables & allowed:
                wrote.add(name)
            allowed = allowed | (SEEN_STUDIO if role == "photographer" else SEEN)
            if answer.status_code >= 500 or tables - allowed:
                wrong.append(f"{name} {method.upper()} as {role}: {answer.status_code}, {sorted(tables - allowed)}")
    assert not wrong, "\n".join(wrong)
    assert tried > 60
    assert stage != "delivered" or wrote == set(FETCHES)  # no exception that is none


def parts(name: str, place: Place) -> dict[str, Any]:
    """A real value for each part of an address that names no sitting."""
    link = {
        "open-invite": lambda: invites.new_link(place.cast.subject),
        "open-sign-in": lambda: invites.sign_in_link(user=place.cast.owner, sent_to=place.cast.owner.email),
    }.get(name)
    values = {
        "session_id": 1,
        "account_id": place.cast.owner.pk,
        "digest": "0" * 64,
        "opinion_id": 1,
        "frame_id": 1,
        "size_id": sizes.offered()[0].pk,
        "token": link().rsplit("/", 1)[1] if link else "x" * 32,
    }
    return {part: values[part] for part in CONVERTERS[name][1].pattern.converters}


@pytest.mark.django_db
def test_an_address_of_no_sitting_that_is_looked_at_writes_nothing() -> None:
    sizes.load()
    place = Place("own-sitting")
    agent = place.cast.client_of(None)
    session = agent.session
    session["desk"] = place.cast.representation.email
    session.save()
    clients = {"nobody": Client(), "agent": agent, "photographer": place.cast.client_of(place.cast.owner)}
    wrong, wrote, tried = [], set(), 0
    for name in sorted({*OF_NO_SITTING, "health-live", "health-ready", "metrics"}):
        kwargs = {} if name.startswith(("health", "metrics")) else parts(name, place)
        for who, client in clients.items():
            for method in ("get", "head"):
                answer, tables = looked(client, method, reverse(name, kwargs=kwargs))
                tried += 1
                if tables & COMING_IN.get(name, set()):
                    wrote.add(name)
                if tables - COMING_IN.get(name, set()) - SEEN_STUDIO:
                    wrong.append(f"{name} {method.upper()} as {who}: {answer.status_code}, {sorted(tables)}")
    assert not wrong, "\n".join(wrong)
    assert tried > 100
    assert wrote == set(COMING_IN)


@pytest.mark.django_db
def test_that_somebody_was_here_is_noted_once_in_five_minutes_and_nothing_else_of_the_person() -> None:
    sizes.load()
    place = Place("own-sitting")
    client = place.cast.client_of(place.cast.subject)
    Invite.objects.update(last_seen_at=None)
    before = list(Invite.objects.order_by("pk").values())
    _answer, tables = looked(client, "get", f"/s/{place.things['slug']}/sheet")
    assert tables == SEEN
    after = list(Invite.objects.order_by("pk").values())
    changed = {
        (row["id"], name) for row, old in zip(after, before, strict=True)
        for name in row if row[name] != old[name]
    }  # fmt: skip
    assert changed == {(place.cast.subject.pk, "last_seen_at")}
    assert looked(client, "get", f"/s/{place.things['slug']}/sheet")[1] == set()
    Invite.objects.update(last_seen_at=timezone.now() - doors.SEEN_EVERY)
    assert looked(client, "get", f"/s/{place.things['slug']}/sheet")[1] == SEEN
