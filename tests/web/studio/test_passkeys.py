"""Passkeys on the server's side: what a device must have said to be let in, and whatever else it may say."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core import mail
from django.test import Client
from django.urls import reverse

from galleries.access import Visitor
from galleries.errors import BadInput, Conflict, Refused
from galleries.models import JournalLine, Passkey, RecoveryCode
from galleries.steps import jobs
from galleries.steps.people import passkeys, second_factor
from tests.authenticator import Device
from tests.cast import Cast, make_cast
from tests.web.studio.test_second_factor import RECOVERY, SECRET, halfway, is_in

pytestmark = pytest.mark.django_db
SITE = "https://portal.example"


@pytest.fixture
def cast(settings: Any) -> Cast:
    settings.BASE_URL = SITE
    cast = make_cast()
    cast.owner.set_password(SECRET)
    cast.owner.save()
    return cast


def device(**bent: Any) -> Device:
    return Device(**{"origin": SITE, "rp_id": "portal.example", **bent})


def added(account: User, one: Device, name: str = "Phone") -> list[str]:
    question, state = passkeys.ask_for_new(account, Visitor(user=account), password=SECRET, code="")
    return passkeys.add(account, Visitor(user=account), state=state, answer=one.enrolled(question), name=name, here="")


def open_with(account: User, one: Device, **bent: Any) -> None:
    question, state = passkeys.ask(account)
    passkeys.open_with(account, state, one.signed(question, **bent))


def test_a_passkey_is_added_on_the_page_and_opens_at_the_door(cast: Cast) -> None:
    client, elsewhere, mine = cast.client_of(cast.owner), cast.client_of(cast.owner), device()
    ask, keep = reverse("second-factor-passkey-ask"), reverse("second-factor-passkey")

    def asked(password: str) -> Any:
        return client.post(ask, json.dumps({"password": password}), "application/json")

    assert asked("guess").status_code == 400
    question = asked(SECRET).json()
    assert question["publicKey"]["rp"]["id"] == "portal.example"
    assert cast.owner.username not in question["publicKey"]["user"]["id"]
    answer = json.dumps(mine.enrolled(question))
    shown = client.post(keep, {"answer": answer, "name": " My  phone "})
    assert len(RECOVERY.findall(shown.content.decode())) == 10
    kept = Passkey.objects.get()
    assert (kept.account, kept.name, kept.last_used_at) == (cast.owner, "My phone", None)
    assert "My phone" in client.get("/account/second-factor").content.decode()
    assert client.post(keep, {"answer": answer, "name": "again"}).status_code == 400  # asked once, answered once
    assert is_in(client)
    assert not is_in(elsewhere)
    jobs.run_waiting()
    assert "Second factor set up" in mail.outbox[-1].subject
    assert JournalLine.objects.get(verb="passkey added").thing == "My phone"

    there = halfway(cast.owner)
    question = there.post(reverse("second-step-ask")).json()
    assert len(question["publicKey"]["allowCredentials"]) == 1
    answer = json.dumps(mine.signed(question))
    assert there.post("/sign-in/second", {"answer": answer})["Location"] == "/studio/"
    assert is_in(there)
    again = halfway(cast.owner)
    again.post(reverse("second-step-ask"))
    assert again.post("/sign-in/second", {"answer": answer}).status_code == 400  # another was asked for
    assert halfway(cast.owner).post("/sign-in/second", {"answer": answer}).status_code == 400  # nothing was asked for


def test_strangers_are_asked_nothing(cast: Cast) -> None:
    added(cast.owner, device())
    for somebody in (Client(), cast.client_of(cast.subject), cast.client_of(cast.colleague)):
        assert somebody.post(reverse("second-step-ask"))["Location"] == "/sign-in"
    for somebody in (Client(), cast.client_of(cast.subject), halfway(cast.owner)):
        for name in ("second-factor-passkey", "second-factor-passkey-ask"):
            assert somebody.post(reverse(name), {})["Location"].startswith("/sign-in?next=")


@pytest.mark.parametrize(
    ("bent", "opens"),
    [
        ({}, True),
        ({"origin": "https://portal.example.evil.example"}, False),
        ({"origin": "https://evil.portal.example"}, False),
        ({"origin": "http://portal.example"}, False),
        ({"origin": "https://portal.example:8443"}, False),
        ({"rp_id": "evil.example"}, False),
    ],
)
def test_only_the_sites_own_address_counts(cast: Cast, bent: dict[str, str], opens: bool) -> None:
    """Level 3, 7.1 steps 9 and 14, 7.2 steps 12 and 16: origin and relying party."""
    mine = device(**bent)
    if not opens:
        with pytest.raises(BadInput):
            added(cast.owner, mine)
        assert not Passkey.objects.exists()
        mine = device()
    added(cast.owner, mine)
    for name, value in bent.items():
        setattr(mine, name, value)
    if opens:
        open_with(cast.owner, mine)
    else:
        with pytest.raises(BadInput):
            open_with(cast.owner, mine)


def test_what_is_no_signature_of_it_does_not_open(cast: Cast) -> None:
    mine, theirs = device(), device()
    added(cast.owner, mine)
    User.objects.filter(pk=cast.colleague.pk).update(password=cast.owner.password)
    cast.colleague.refresh_from_db()
    added(cast.colleague, theirs)
    with pytest.raises(BadInput):
        open_with(cast.owner, theirs)  # somebody else's
    with pytest.raises(BadInput):
        open_with(cast.owner, device(id=mine.id))  # its name, another key
    with pytest.raises(BadInput):
        open_with(cast.owner, mine, flags=0)  # nobody touched it
    with pytest.raises(BadInput):
        open_with(cast.owner, mine, kind="create")
    question, state = passkeys.ask(cast.owner)
    right = mine.signed(question)
    for broken in ({}, {"rawId": 7}, {**right, "response": {}}, {**right, "id": "AAAA"}, {**right, "rawId": "é" * 9}):
        with pytest.raises(BadInput):
            passkeys.open_with(cast.owner, state, broken)
    passkeys.open_with(cast.owner, state, right)


def test_a_count_that_goes_back_is_a_copy(cast: Cast) -> None:
    """Level 3, 6.1.1. A device that does not count says 0 for ever."""
    mine, uncounted = device(count=5), device()
    added(cast.owner, mine)
    open_with(cast.owner, mine)
    assert Passkey.objects.get().sign_count == 6
    for back in (5, 4, -1):
        mine.count = back
        with pytest.raises(Refused):
            open_with(cast.owner, mine)
    mine.count = 6
    open_with(cast.owner, mine)
    added(cast.owner, uncounted, "Key")
    for _time in range(2):
        uncounted.count = -1
        open_with(cast.owner, uncounted)


def test_a_key_of_an_unknown_kind_or_a_second_time_is_not_kept(cast: Cast) -> None:
    mine = device()
    added(cast.owner, mine)
    by = Visitor(user=cast.owner)
    question, state = passkeys.ask_for_new(cast.owner, by, password=SECRET, code="")
    assert [one["type"] for one in question["publicKey"]["excludeCredentials"]] == ["public-key"]
    with pytest.raises(Conflict):
        passkeys.add(cast.owner, by, state=state, answer=mine.enrolled(question), name="Twice", here="")
    with pytest.raises(BadInput):
        passkeys.add(cast.owner, by, state=state, answer=device().enrolled(question, algorithm=-99), name="X", here="")
    for name in ("", " ", "x" * 61):
        with pytest.raises(BadInput, match="name"):
            passkeys.add(cast.owner, by, state=state, answer=device().enrolled(question), name=name, here="")
    assert Passkey.objects.count() == 1


def test_one_goes_the_other_stays_and_with_the_last_the_codes_go(cast: Cast) -> None:
    phone, key = device(), device()
    assert len(added(cast.owner, phone)) == 10
    assert added(cast.owner, key, "Key") == []  # the recovery codes of before still stand
    client = cast.client_of(cast.owner)
    first, second = Passkey.objects.order_by("pk")
    remove = reverse("second-factor-remove")
    assert client.post(remove, {"password": "guess", "what": f"passkey-{first.pk}"}).status_code == 400
    assert client.post(remove, {"password": SECRET, "what": "passkey-0"}).status_code == 400
    assert client.post(remove, {"password": SECRET, "what": f"passkey-{first.pk}"}).status_code == 302
    with pytest.raises(BadInput):
        open_with(cast.owner, phone)
    open_with(cast.owner, key)
    # A colleague cannot take it off by its number.
    by = Visitor(user=cast.colleague)
    with pytest.raises(BadInput):
        second_factor.remove(cast.colleague, by, password="", code="", here="", what=f"passkey-{second.pk}")
    assert client.post(remove, {"password": SECRET, "what": f"passkey-{second.pk}"}).status_code == 302
    assert not second_factor.stands(cast.owner)
    assert not RecoveryCode.objects.exists()


@pytest.mark.parametrize(
    ("address", "there"),
    [
        ("https://portal.example", True),
        ("http://localhost:8010", True),
        ("http://portal.example", False),
        ("https://192.168.4.20", False),
        ("http://127.0.0.1:8010", False),
        ("https://[::1]:8443", False),
    ],
)
def test_where_browsers_know_no_passkeys_none_is_offered(cast: Cast, settings: Any, address: str, there: bool) -> None:
    settings.BASE_URL = address
    assert passkeys.possible() is there
    page = cast.client_of(cast.owner).get("/account/second-factor").content.decode()
    assert ("data-passkey" in page) is there
    if not there:
        with pytest.raises(Refused):
            passkeys.ask_for_new(cast.owner, Visitor(user=cast.owner), password=SECRET, code="")
