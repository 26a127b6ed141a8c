"""Passkeys: how many, by what name, at what address, and what each leaves behind."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User

from galleries.access import Visitor
from galleries.errors import BadInput, Conflict, Missing, Refused
from galleries.models import AccountLetter, JournalLine, Passkey
from galleries.steps.people import codes, passkeys, second_factor, sessions
from tests.authenticator import Device
from tests.cast import make_cast
from tests.steps.clock import Clock

pytestmark = pytest.mark.django_db
SECRET, SITE = "a long enough secret", "https://portal.example"


@pytest.fixture
def account(settings: Any) -> User:
    settings.BASE_URL = SITE
    return User.objects.create_user("tamsin", "tamsin@northlight.example", SECRET, first_name="Tamsin")


def device(**bent: Any) -> Device:
    return Device(**{"origin": SITE, "rp_id": "portal.example", **bent})


def added(account: User, one: Device, name: str = "Phone", here: str = "") -> list[str]:
    by = Visitor(user=account)
    question, state = passkeys.ask_for_new(account, by, password=SECRET, code="")
    return passkeys.add(account, by, state=state, answer=one.enrolled(question), name=name, here=here)


def opened(account: User, one: Device) -> Passkey:
    question, state = passkeys.ask(account)
    passkeys.open_with(account, state, one.signed(question))
    return Passkey.objects.get(id_hash=passkeys._hash(one.id))


def test_the_first_gives_codes_and_the_second_does_not(account: User, monkeypatch: pytest.MonkeyPatch) -> None:
    ended: list[str] = []
    monkeypatch.setattr(sessions, "end_others", lambda of, here="": ended.append(f"{of.username} {here}"))
    given = added(account, device(), " My \n phone ", here="a")
    assert len(given) == account.recovery_codes.count() == codes.RECOVERY_CODES
    assert added(account, device(), "Key", here="b") == []
    assert account.recovery_codes.count() == codes.RECOVERY_CODES
    assert [one.name for one in second_factor.standing(account).passkeys] == ["My phone", "Key"]
    assert list(JournalLine.objects.values_list("verb", "who", "thing")) == [
        ("passkey added", "Tamsin (photographer)", "My phone"),
        ("second factor set", "Tamsin (photographer)", "tamsin"),
        ("passkey added", "Tamsin (photographer)", "Key"),
    ]
    assert {line.detail["account"] for line in JournalLine.objects.all()} == {account.pk}
    sent = AccountLetter.objects.order_by("pk").values_list("kind", "to")
    assert list(sent) == [("second factor set", account.email), ("second factor changed", account.email)]
    assert ended == ["tamsin a", "tamsin b"]


@pytest.mark.parametrize(("name", "fits"), [("n" * 60, True), ("n" * 61, False), ("", False), (" \n ", False)])
def test_a_passkey_has_a_name_that_fits_its_column(account: User, name: str, fits: bool) -> None:
    if not fits:
        with pytest.raises(BadInput, match="at most 60"):
            added(account, device(), name)
    else:
        added(account, device(), name)
    assert Passkey.objects.count() == int(fits)
    assert AccountLetter.objects.count() == int(fits)


# W3C Web Authentication, level 3, 7.1: an id of more than 1023 bytes is refused.
@pytest.mark.parametrize(("length", "fits"), [(16, True), (1023, True), (1024, False)])
def test_ids_as_long_as_the_standard_has_them(account: User, length: int, fits: bool) -> None:
    one = device(id=bytes(length))
    if fits:
        added(account, one)
        assert opened(account, one).last_used_at is not None
    else:
        with pytest.raises(BadInput, match="did not answer"):
            added(account, one)
        assert not Passkey.objects.exists()


def test_there_are_ten_and_no_more(account: User) -> None:
    last = device()
    added(account, last)
    for number in range(2, passkeys.PASSKEYS + 1):
        credential = Passkey.objects.get(pk=Passkey.objects.order_by("pk")[0].pk).credential
        account.passkeys.create(name=f"n {number}", credential=bytes(credential), id_hash=f"{number:064x}")
    with pytest.raises(Conflict, match="10 passkeys"):
        passkeys.ask_for_new(account, Visitor(user=account), password=SECRET, code="")
    Passkey.objects.order_by("-pk")[0].delete()
    question, _state = passkeys.ask_for_new(account, Visitor(user=account), password=SECRET, code="")
    # Those that are here already are named, so that a device makes no second one (level 3, 5.4).
    assert len(question["publicKey"]["excludeCredentials"]) == passkeys.PASSKEYS - 1


def test_what_the_device_is_told_names_no_number_of_ours(account: User) -> None:
    other = User.objects.create_user("joost", "joost@northlight.example", SECRET)
    asked = [
        passkeys.ask_for_new(one, Visitor(user=one), password=SECRET, code="")[0]["publicKey"]["user"]
        for one in (account, account, other)
    ]
    assert asked[0]["id"] == asked[1]["id"] != asked[2]["id"]
    assert (asked[0]["name"], asked[0]["displayName"]) == ("tamsin", "Tamsin")
    assert asked[2]["displayName"] == "joost"


@pytest.mark.parametrize(
    ("address", "there"),
    [
        ("https://portal.example", True),
        ("https://portal.example:8443", True),
        ("http://portal.example", False),
        ("http://localhost:8010", True),
        ("http://notlocalhost", False),
        ("https://192.0.2.7", False),
        ("https://[2001:db8::7]", False),
        ("http://127.0.0.1:8010", False),
    ],
)
def test_passkeys_need_a_name_and_a_safe_way(account: User, settings: Any, address: str, there: bool) -> None:
    """Level 3, 5.1.3: an effective domain that is no address of numbers, in a secure context (W3C, 3.1)."""
    settings.BASE_URL = address
    assert passkeys.possible() == there
    if not there:
        with pytest.raises(Refused, match="by its name"):
            passkeys.ask_for_new(account, Visitor(user=account), password=SECRET, code="")


def test_the_password_is_asked_for_before_anything_else_is_told(account: User) -> None:
    cast = make_cast()
    with pytest.raises(BadInput, match="present password"):
        passkeys.ask_for_new(account, Visitor(user=account), password="guess", code="")
    question, state = passkeys.ask_for_new(account, Visitor(user=account), password=SECRET, code="")
    for by in (cast.as_owner, cast.as_subject, Visitor()):
        with pytest.raises(Missing):
            passkeys.ask_for_new(account, by, password=SECRET, code="")
        with pytest.raises(Missing):
            passkeys.add(account, by, state=state, answer=device().enrolled(question), name="Mine", here="")
    assert not Passkey.objects.exists()


def test_one_device_is_kept_once_whosever_it_is(account: User) -> None:
    other = User.objects.create_user("joost", "joost@northlight.example", SECRET)
    shared = device()
    added(account, shared)
    with pytest.raises(Conflict, match="here already"):
        added(other, shared)
    assert not second_factor.stands(other)
    assert not other.recovery_codes.exists()
    assert JournalLine.objects.filter(verb="passkey added").count() == 1


def test_the_count_of_signatures_goes_up_and_is_each_keys_own(account: User, clock: Clock) -> None:
    one, two = device(), device()
    added(account, one)
    added(account, two, "Key")
    one.count = 5
    assert (opened(account, one).sign_count, opened(account, one).last_used_at) == (6, clock.at)
    untouched = Passkey.objects.get(name="Key")
    assert (untouched.sign_count, untouched.last_used_at) == (0, None)
    assert opened(account, two).sign_count == 1
    one.count -= 1  # it signs with the number it has used: a copy of it would
    with pytest.raises(Refused, match="copied"):
        opened(account, one)


def test_a_device_that_counts_nothing_opens_again_and_again(account: User) -> None:
    one = device()
    added(account, one)
    for _time in range(2):
        one.count = -1  # its answer says 0 each time
        assert opened(account, one).sign_count == 0
    one.count = 3
    opened(account, one)
    one.count = -1  # one that counted says 0: a copy of it would
    with pytest.raises(Refused, match="copied"):
        opened(account, one)


def test_anothers_device_opens_nothing_here(account: User) -> None:
    other, one, theirs = User.objects.create_user("joost", "j@northlight.example", SECRET), device(), device()
    added(account, one)
    added(other, theirs)
    with pytest.raises(BadInput, match="did not answer"):
        opened(account, theirs)
    assert Passkey.objects.filter(last_used_at=None).count() == 2


@pytest.mark.parametrize("answer", [{}, {"response": None}, {"id": "AA", "rawId": "AA", "response": {}}])
def test_what_is_no_answer_is_a_wrong_one(account: User, answer: dict[str, Any]) -> None:
    added(account, device())
    _question, state = passkeys.ask(account)
    with pytest.raises(BadInput, match="did not answer"):
        passkeys.open_with(account, state, answer)
    with pytest.raises(BadInput, match="did not answer"):
        passkeys.add(account, Visitor(user=account), state=state, answer=answer, name="Phone", here="")
    assert Passkey.objects.count() == 1
