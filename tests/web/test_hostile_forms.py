"""Every form that the site shows, and every body of JSON that its scripts send, one part of it at a time made into what
no column takes: whatever comes back, it is no broken page.

What is right but for one part gets past the checks of the others, as far as the database. PostgreSQL is the strict
one: `tests/services/test_postgresql.py` runs this there, with every value; on SQLite each form is sent with one.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Callable, Iterator
from copy import deepcopy
from dataclasses import dataclass, field
from functools import partial
from html.parser import HTMLParser
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.db import connection, transaction
from django.test import Client
from django.utils import timezone

from galleries.models import Mark, Sitting
from galleries.steps.delivering import sizes
from tests.web.test_matrix import Place, address

pytestmark = pytest.mark.django_db

STRICT = connection.vendor == "postgresql"
# In a form: beyond 32 and 64 bits, longer than any column.
TYPED = ("9999999999", "9" * 25, "x" * 70_000)[: None if STRICT else 1]
ACCEPT = {"Accept": "application/json"}
LAST_DAY = "9999-12-31"  # which no other follows
# In JSON: a zero byte and half an emoji besides, which no form brings as far as a view.
SENT: tuple[Any, ...] = ("a\0b", "\ud800", "x" * 70_000, 2**70)[: None if STRICT else 1]


@dataclass
class Form:
    action: str
    method: str
    values: dict[str, str] = field(default_factory=dict)
    days: set[str] = field(default_factory=set)


class Forms(HTMLParser):
    """The forms of a page, each with what it would send as it stands."""

    def __init__(self, page: str, at: str) -> None:
        super().__init__()
        self.found: list[Form] = []
        self.at, self.inside, self.select, self.area = at, False, "", ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = {name: value or "" for name, value in attrs}
        if tag == "form":
            self.inside = True
            self.found.append(Form(said.get("action") or self.at, said.get("method", "get").lower()))
        if not self.inside:
            return
        values, name = self.found[-1].values, said.get("name", "")
        if (
            tag in {"input", "button"}
            and name
            and (said.get("type") not in {"checkbox", "radio"} or name not in values)
        ):
            values[name] = said.get("value") or ("on" if said.get("type") == "checkbox" else "")
        if said.get("type") == "date":
            self.found[-1].days.add(name)
        if tag == "select":
            self.select = name
        if tag == "option" and self.select and ("selected" in said or self.select not in values):
            values[self.select] = said.get("value", "")
        if tag == "textarea" and name:
            values[name] = "Words."

    def handle_endtag(self, tag: str) -> None:
        self.inside &= tag != "form"
        self.select = "" if tag == "select" else self.select


def sent(ask: Callable[[], Any]) -> int:
    """The status; all rows are as before, and what the database refused is not carried on."""
    with transaction.atomic():
        status: int = ask().status_code
        transaction.set_rollback(True)
    return status


@pytest.fixture
def place(settings: Any, monkeypatch: pytest.MonkeyPatch) -> Place:
    monkeypatch.setattr(logging.getLogger("django.request"), "disabled", True)
    monkeypatch.setattr(logging.getLogger("galleries"), "disabled", True)
    settings.DOOR_TRIES = 100_000  # what counts tries would answer in the page's place
    sizes.load()
    return Place("own-sitting")


PAGES = {
    "photographer": """studio new-sitting new-day studio-day studio-day-frames
    studio-sizes studio-size-new account second-factor studio-sitting
    studio-settings studio-keeping studio-own-copies studio-look studio-journal studio-work studio-upload studio-desk
    studio-set studio-setup studio-people studio-extras studio-letters studio-letter studio-lists
    studio-finals studio-final
    studio-crops studio-delivery studio-licence studio-usage""",
    "subject": "sitting plan sheet remarks compare lists kept-back finals final delivery own-copy",
    "representation": "plan sheet compare lists pass-on final delivery",
    "stranger": "sign-in ask-link",
}


def forms_of(client: Client, place: Place, role: str) -> Iterator[Form]:
    """Each once: one action with the same fields is the same form."""
    seen = set()
    for name in PAGES[role].split():
        at = address(name, place.things["slug"], place.things)
        page = client.get(at)
        if page.status_code != 200:
            continue
        for form in Forms(page.content.decode(), at).found:
            form.values.pop("csrfmiddlewaretoken", None)
            form.action = urlsplit(form.action).path or at
            key = (form.action, form.method, *sorted(form.values), form.values.get("do"))
            if form.method != "dialog" and key not in seen:
                seen.add(key)
                yield form


def spoilt(form: Form) -> Iterator[tuple[str, dict[str, str]]]:
    for name in form.values:
        for value in (*TYPED, *([LAST_DAY] if name in form.days else [])):
            yield f"{name}={value[:12]}", {**form.values, name: value}
    yield "a zero byte", dict.fromkeys(form.values, "a\x00b")


@pytest.mark.parametrize(("stage", "roles"), [("proofing", ["subject", "representation"]), ("finishing", [*PAGES])])
def test_no_form_breaks_by_one_field(stage: str, roles: list[str], place: Place) -> None:
    Sitting.objects.update(stage=stage)
    broken, tried = [], 0
    for role in roles:
        client = place.cast.client_of(place.person(role, place))
        client.raise_request_exception = False
        for form in list(forms_of(client, place, role)):
            for what, values in spoilt(form):
                tried += 1
                status = sent(partial(getattr(client, form.method), form.action, values))
                if status >= 500:
                    broken.append(f"{form.method} {form.action} as {role}, {what}: {status}")
    assert not broken, f"{len(broken)} of {tried}:\n" + "\n".join(broken[:40])
    assert tried > (10 if stage == "proofing" else 100), tried


def bodies(things: dict[str, Any]) -> dict[str, list[Any]]:
    """What the scripts send, right as it is."""
    frame, look = things["frame_id"], things["look_id"]
    act = {"act": "a1", "frame": frame, "at": "2026-03-04T10:00:00Z"}
    return {
        "studio-desk-act": [
            {"do": "move", "frames": [frame], "look": "new", "title": "Coat"},
            {"do": "move", "frames": [frame], "look": look},
            {"do": "hide", "frames": [frame], "hidden": True},
            {"do": "split", "frame": frame, "title": "Coat"},
            {"do": "merge", "look": look, "into": look},
            {"do": "rename", "look": look, "title": "Coat"},
            {"do": "purpose", "look": look, "purpose": "casting"},
            {"do": "order", "order": [look]},
        ],
        "marks": [[{**act, "kind": "pick", "text": "This."}, {**act, "act": "a2", "remark": "That.", "seen": 1}]],
        "compare": [{"order": [frame]}],
        "studio-crop-set": [
            {"do": "set", "x": 1, "y": 1, "width": 4, "height": 5, "tilt": 0},
            {"do": "adopt", "sizes": [things["size"]]},
            {"do": "propose"},
        ],
        **{
            f"studio-{one}": [{"name": "KAL_0001.JPG", "sha256": "0" * 64, "bytes": 1000}]
            for one in ("parts", "retouch-parts")
        },
        "studio-upload-known": [{"digests": ["0" * 64]}],
        "studio-retouch-known": [{"digests": ["0" * 64]}],
        "second-factor-passkey-ask": [{"name": "Key", "password": "a long password"}],
    }


def parts(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Where the parts of a body are, itself included."""
    yield path
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        yield from parts(inner, (*path, key))


def with_part(value: Any, path: tuple[Any, ...], part: Any) -> Any:
    if not path:
        return part
    changed = deepcopy(value)
    inner = changed
    for key in path[:-1]:
        inner = inner[key]
    inner[path[-1]] = part
    return changed


def test_no_body_of_json_breaks_by_one_part(place: Place) -> None:
    picked = {"frame_id": place.things["frame_id"], "kind": "pick", "acted_at": timezone.now()}
    Mark.objects.create(invite=place.cast.subject, by=place.cast.subject, **picked)
    broken, tried, took = [], 0, set()
    for name, right in bodies(place.things).items():
        person = place.cast.subject if name in {"marks", "compare"} else place.cast.owner
        client = place.cast.client_of(person)
        client.raise_request_exception = False
        at = address(name, place.things["slug"], place.things)
        for body in right:
            tries = [body, *(with_part(body, path, part) for path in parts(body) for part in SENT)]
            for text in (*map(json.dumps, tries), '{"a":' * 100_000):
                tried += 1
                status = sent(partial(client.post, at, text, content_type="application/json", headers=ACCEPT))
                took |= {name} if status < 300 else set()
                if status >= 500:
                    broken.append(f"{name} {text[:200]}: {status}")
    assert not broken, f"{len(broken)} of {tried}:\n" + "\n".join(broken[:40])
    # Files lie in no bucket here: what is sent there is read, and then no part is taken.
    assert took >= set(bodies(place.things)) - {"second-factor-passkey-ask", "studio-parts", "studio-retouch-parts"}


COOKIES = ('"abcdefghij\\000bcdefghijklmn"', "x" * 5000, '"\\355\\240\\200abcdefgh"', '"', "../../etc", "a;b")


def test_no_cookie_breaks_a_page(place: Place, settings: Any) -> None:
    client = Client(raise_request_exception=False)
    for cookie in COOKIES:
        for name in (
            settings.SESSION_COOKIE_NAME,
            settings.CSRF_COOKIE_NAME,
            settings.LANGUAGE_COOKIE_NAME,
            "messages",
        ):
            for path in ("/", "/desk", f"/s/{place.things['slug']}/sheet"):
                asked = partial(client.get, path, headers={"Cookie": f"{name}={cookie}"})
                assert sent(asked) < 500, (name, cookie, path)
