"""Nothing that is logged names a person or opens a door: a small line goes wrong at every turn, and all that the site's
own handler writes meanwhile is searched for names, addresses, short names and tokens."""

from __future__ import annotations

import io
import logging
import logging.config
import smtplib
from collections.abc import Iterator
from typing import Any, ClassVar, NoReturn

import pytest
from django.conf import settings as site
from django.core.mail.backends.base import BaseEmailBackend
from django.db import IntegrityError
from django.test import Client

from galleries.models import Job, Letter
from galleries.steps import jobs
from galleries.steps.people import invite, letters
from portal.logs import Line, WithoutTokens, without_secrets, without_words
from tests.cast import make_cast

SLUG = "ansa-veld"
# Whoever and whatever must not be found: given names, surnames, addresses, the sitting's short name, a file's name.
PEOPLE = ("Ansa", "Veld", "Tamsin", "Okonedo", "Morell", "Imke", "example", SLUG, "Headshot_of")
# As databases and our own code word it; a traceback shows code, so they stand apart from where they are raised.
TAKEN = "duplicate key\nDETAIL:  Key (name, email)=(Ansa Veld, ansa@veld.example) exists."
STRANGE = "“Ansa Veld” of 'Headshot_of_Ansa.jpg' is no number"


@pytest.fixture
def logged() -> Iterator[io.StringIO]:
    """All that the site's console would get, at any level."""
    made = site.LOGGING["handlers"]["console"]
    assert made["filters"] == ["without tokens"]
    kind = site.LOGGING["formatters"][made["formatter"]]
    assert kind["()"] == "portal.logs.Line"
    assert site.LOGGING["root"]["handlers"] == ["console"]
    out = io.StringIO()
    handler = logging.StreamHandler(out)
    handler.addFilter(WithoutTokens())
    handler.setFormatter(Line(kind["format"], style=kind["style"]))
    root = logging.getLogger()
    level = root.level
    root.addHandler(handler)
    root.setLevel(logging.INFO)
    yield out
    root.removeHandler(handler)
    root.setLevel(level)


class Refusing(BaseEmailBackend):
    """A mail server that takes none, and says whom it would not have."""

    refused: ClassVar[list[str]] = []

    def send_messages(self, messages: Any) -> NoReturn:
        (to,) = messages[0].to
        self.refused.append(to)
        raise smtplib.SMTPRecipientsRefused({to: (550, f"no such box: {to}".encode())})


@pytest.mark.django_db
def test_what_goes_wrong_along_the_line_names_nobody(
    logged: io.StringIO, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    cast = make_cast(SLUG)
    settings.EMAIL_BACKEND = f"{__name__}.Refusing"
    token = invite.new_link(cast.subject).rsplit("/", 1)[1]
    letters.list_invitation(cast.subject, "the program")
    Letter.objects.create(sitting=cast.sitting, invite=cast.subject, kind="proofs", to=cast.subject.email)
    jobs.run_waiting(cast.sitting)
    assert Refusing.refused  # the error that was logged did name somebody

    def broken(*_args: object, **_more: object) -> NoReturn:
        try:
            raise IntegrityError(TAKEN)
        except IntegrityError as error:
            raise ValueError(STRANGE) from error

    monkeypatch.setitem(jobs.KINDS, "proof", broken)
    jobs.enqueue("proof", 1, cast.sitting)
    jobs.run_waiting(cast.sitting)
    assert Job.objects.filter(kind="proof").exclude(state=Job.State.DONE).exists()
    stranger, subject = Client(raise_request_exception=False), cast.client_of(cast.subject)
    subject.raise_request_exception = False
    for client in (stranger, subject):
        for path in ("sheet", "marks", "lists", "nothing", "frame/77", "delivery/file/9", "plan/picture/1.jpg"):
            client.get(f"/s/{SLUG}/{path}")
            client.post(f"/s/{SLUG}/{path}", {"text": "Ansa Veld, ansa@veld.example"})
        client.get(f"/studio/{SLUG}/people")
        client.get(f"/i/{token}x")
        client.get(f"/nowhere/i/{token}")
    monkeypatch.setattr("galleries.web.invitee.plan.page", broken)
    assert subject.get(f"/s/{SLUG}/plan").status_code == 500
    said = logged.getvalue()
    for must in ("broke.", "Not Found", "Internal Server Error: /s/-/plan", "SMTPRecipientsRefused", "ValueError"):
        assert must in said, must
    named = [line for line in said.splitlines() for name in (*PEOPLE, token) if name in line]
    assert not named, "\n".join(named)


@pytest.mark.parametrize(
    ("said", "kept"),
    [
        ("Not Found: /s/ansa-veld/sheet", "Not Found: /s/-/sheet"),
        ("Not Found: /studio/ansa-veld/people", "Not Found: /studio/-/people"),
        ("Not Found: /studio/sizes/4", "Not Found: /studio/sizes/4"),
        ("Gone: /i/abcdefgh12345", "Gone: /i/-"),
        ("no box for <ansa@veld.example>, sorry", "no box for <…@…>, sorry"),
        ("Job 4 (letter 9) broke.", "Job 4 (letter 9) broke."),
    ],
)
def test_lines_keep_what_helps_and_nothing_else(said: str, kept: str) -> None:
    assert without_secrets(said) == kept


def test_a_traceback_keeps_its_places_and_the_keys_of_the_stores() -> None:
    key = f"sittings/{'a' * 32}/original/{'b' * 64}.jpg"
    trace = (
        'Traceback (most recent call last):\n  File "/srv/portal/storage.py", line 3, in put\n    open("w")\n'
        f"FileNotFoundError: [Errno 2] No such file or directory: '/home/veld/{key}'"
    )
    assert without_words(trace).endswith(f"No such file or directory: “…{key}”")
    assert 'File "/srv/portal/storage.py", line 3, in put\n    open("w")' in without_words(trace)


@pytest.mark.timeout(120)
@pytest.mark.parametrize("piece", ["a", "/s/a", "/studio/", "a@", "'", "“", "=(", "('"])
def test_what_was_made_to_be_long_is_cut_and_costs_no_more_than_a_line(piece: str) -> None:
    """An address of 8 kB, which anybody may ask for, took the process half a second; 5 MB would have taken days."""
    for read in (without_secrets, without_words):
        assert len(read("Not Found: " + piece * 1_000_000)) < 8_000
    assert without_secrets("to ansa@veld.example, " + "b" * 5_000).startswith("to …@…, bbb")
