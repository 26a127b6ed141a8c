"""Sign-ins from a device not seen before: in the journal, told by letter, and taken back by 'that was not me'."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest
from django.conf import settings
from django.core import mail, signing
from django.test import Client
from django.utils import timezone, translation

from galleries.models import AccountLetter, JournalLine, KnownDevice, StudioSession
from galleries.steps import jobs
from galleries.steps.keeping import upkeep
from galleries.steps.people import devices
from tests.cast import SESSION, Cast, make_cast
from tests.steps.people.test_browsers import PHONE, WINDOWS

pytestmark = pytest.mark.django_db
SECRET = "a long enough secret"
COOKIE = settings.DEVICE_COOKIE_NAME


@pytest.fixture
def cast() -> Cast:
    cast = make_cast()
    for person in (cast.owner, cast.colleague):
        person.set_password(SECRET)
        person.last_login = timezone.now()
        person.save()
    return cast


def sign_in(client: Client, name: str, agent: str = WINDOWS) -> None:
    answer = client.post(
        "/sign-in", {"name": name, "password": SECRET}, headers={"User-Agent": agent}, REMOTE_ADDR="192.0.2.77"
    )
    assert answer.status_code == 302


def letter_link() -> str:
    jobs.run_waiting(kinds=["account letter"])
    found = re.search(r"/in/[\w-]{32}/not-me", str(mail.outbox[-1].body))
    assert found is not None
    return found[0]


def test_a_new_device_is_told_once_and_is_known_from_then_on(cast: Cast) -> None:
    client = Client()
    for _again in range(2):
        sign_in(client, cast.owner.username)
        client.post("/leave")
    line = JournalLine.objects.get(verb="new device")
    assert line.who == "Tamsin (photographer)"
    assert line.detail == {
        "account": cast.owner.pk, "network": "192.0.2.0/24", "browser": "Firefox", "system": "Windows"
    }  # fmt: skip
    letter_link()
    (letter,) = mail.outbox
    assert letter.to == ["tamsin@northlight.example"]
    page = str(letter.alternatives[0][0])  # type: ignore[attr-defined]
    for said in (cast.owner.username, "Firefox on Windows", "192.0.2.0/24", "nothing to do", "for 7 days"):
        assert said in letter.body, said
        assert said in page, said
    sign_in(Client(), cast.owner.username, PHONE)
    assert AccountLetter.objects.count() == 2


def test_the_cookie_holds_a_signed_token_no_script_reads_and_no_table_keeps(cast: Cast) -> None:
    client = Client()
    sign_in(client, cast.owner.username)
    cookie = client.cookies[COOKIE]
    assert (cookie["httponly"], cookie["samesite"], cookie["path"], cookie["domain"]) == (True, "Lax", "/", "")
    assert cookie["max-age"] == 400 * 24 * 3600
    assert COOKIE.startswith("__Host-") == bool(cookie["secure"]) == settings.SECURE
    token = cookie.value.split(":")[0]
    assert len(token) == 32
    assert token not in str(list(KnownDevice.objects.values())) + str(list(JournalLine.objects.values()))
    # Of another's making it counts for nothing.
    forged = Client()
    forged.cookies[COOKIE] = signing.get_cookie_signer(salt="elsewhere").sign(token)
    sign_in(forged, cast.owner.username)
    assert KnownDevice.objects.count() == 2


def test_a_device_known_for_one_account_is_new_for_another(cast: Cast) -> None:
    client = Client()
    for person in (cast.owner, cast.colleague, cast.owner):
        sign_in(client, person.username)
    assert list(AccountLetter.objects.order_by("pk").values_list("to", flat=True)) == [
        cast.owner.email,
        cast.colleague.email,
    ]


def test_no_letter_for_the_very_first_sign_in_and_none_for_a_wrong_password(cast: Cast) -> None:
    cast.owner.last_login = None
    cast.owner.save()
    client = Client()
    client.post("/sign-in", {"name": cast.owner.username, "password": "guess"})
    assert not KnownDevice.objects.exists()
    assert COOKIE not in client.cookies
    sign_in(client, cast.owner.username)
    assert (KnownDevice.objects.count(), AccountLetter.objects.count()) == (1, 0)
    assert JournalLine.objects.filter(verb="new device").exists()
    sign_in(Client(), cast.owner.username)
    assert AccountLetter.objects.count() == 1


def test_that_was_not_me_shuts_everybody_out_and_sends_a_way_in(cast: Cast) -> None:
    thief, owner, colleague = Client(), cast.client_of(cast.owner), Client()
    sign_in(colleague, cast.colleague.username)
    sign_in(thief, cast.owner.username)
    at = letter_link()
    reader = Client()
    page = reader.get(at).content.decode()
    assert "Firefox on Windows" in page
    assert reader.head(at).status_code == 200
    assert Client(enforce_csrf_checks=True).post(at).status_code == 403
    assert thief.get("/studio/").status_code == 200  # a look, as a mail scanner takes one, did nothing
    assert reader.post(at).status_code == 200
    for client in (thief, owner):
        assert client.get("/studio/")["Location"].startswith("/sign-in")
    assert colleague.get("/studio/").status_code == 200
    assert thief.post("/sign-in", {"name": cast.owner.username, "password": SECRET}).status_code == 400
    assert "_auth_user_id" not in reader.session  # it lets nobody in
    line = JournalLine.objects.get(verb="sign-in disowned")
    assert (line.who, line.detail) == (
        "nobody", {"account": cast.owner.pk, "network": "192.0.2.0/24", "ended": 2}
    )  # fmt: skip
    jobs.run_waiting(kinds=["wish"])
    assert mail.outbox[-1].to == [cast.owner.email]
    assert "/in/" in mail.outbox[-1].body
    assert reader.post(at).status_code == 404  # once
    assert set(StudioSession.objects.values_list("account", flat=True)) == {cast.colleague.pk}


def test_the_link_dies_after_a_week_and_guesses_are_counted(cast: Cast, settings: Any) -> None:
    settings.DOOR_TRIES = 2
    sign_in(Client(), cast.owner.username)
    at = letter_link()
    KnownDevice.objects.update(first_at=timezone.now() - devices.ANSWER)
    assert [Client().post(one).status_code for one in (at, f"/in/{'x' * 32}/not-me", at)] == [404, 404, 429]
    cast.owner.refresh_from_db()
    assert cast.owner.has_usable_password()


def test_devices_are_forgotten_with_their_cookies(cast: Cast) -> None:
    sign_in(Client(), cast.owner.username)
    upkeep.sweep_sessions()
    assert KnownDevice.objects.exists()
    KnownDevice.objects.update(last_at=timezone.now() - devices.KEPT - timedelta(hours=1))
    upkeep.sweep_sessions()
    assert not KnownDevice.objects.exists()
    jobs.run_waiting(kinds=["account letter"])  # the letter about it has nothing to say any more
    assert not mail.outbox


@pytest.mark.parametrize(
    ("language", "said"), [("de", "von einem Gerät angemeldet"), ("es", "desde un dispositivo que no")]
)
def test_the_letter_speaks_the_readers_language(cast: Cast, language: str, said: str) -> None:
    client = Client()
    client.cookies[settings.LANGUAGE_COOKIE_NAME] = language
    sign_in(client, cast.owner.username)
    with translation.override("en"):
        letter_link()
    assert said in mail.outbox[-1].body
    assert SESSION in client.cookies
