"""The second factor's verbs: what stands when, what each asks for once more, what it ends, and who hears of it."""

from __future__ import annotations

import base64
from collections.abc import Callable
from datetime import timedelta
from itertools import count
from typing import Any

import pyotp
import pytest
from django.contrib.auth.models import User
from django.utils import timezone

from galleries.access import Visitor
from galleries.errors import BadInput, Conflict, Missing, Refused
from galleries.models import AccountLetter, CodeApp, JournalLine, RecoveryCode
from galleries.steps.people import codes, second_factor, sessions
from galleries.steps.people.invite import hash_of
from tests.cast import make_cast
from tests.steps.clock import MOMENT, Clock

pytestmark = pytest.mark.django_db
SECRET = "a long enough secret"
HALF_MINUTE = timedelta(seconds=30)


@pytest.fixture(autouse=True)
def _same_codes_every_time(clock: Clock, monkeypatch: pytest.MonkeyPatch) -> None:
    """A chance of one in a million is too many: secrets and hour are fixed (that they are drawn: `test_codes`)."""
    numbers = count(1)
    monkeypatch.setattr(codes, "new_secret", lambda: base64.b32encode(b"%020d" % next(numbers)).decode())


@pytest.fixture
def account() -> User:
    return User.objects.create_user("tamsin", "tamsin@northlight.example", SECRET, first_name="Tamsin")


@pytest.fixture
def ended(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, str]]:
    """Whose sessions were ended, but for which."""
    calls: list[tuple[str, str]] = []

    def end_others(of: User, here: str = "") -> int:
        calls.append((of.username, here))
        return 0

    monkeypatch.setattr(sessions, "end_others", end_others)
    return calls


def me(account: User) -> Visitor:
    return Visitor(user=account)


def begun(account: User) -> str:
    """The secret of an app that waits for its first code."""
    second_factor.begin(account, me(account), password=SECRET, code="")
    key = second_factor.key_of(account, "Northlight Rooms")
    assert key is not None
    return key.secret


def set_up(account: User) -> tuple[str, list[str]]:
    secret = begun(account)
    return secret, second_factor.confirm(account, me(account), code=code_now(secret), here="here")


def code_now(secret: str, off: timedelta = timedelta(0)) -> str:
    return pyotp.TOTP(secret).at(timezone.now() + off)


def with_passkey(account: User, name: str = "Phone") -> Any:
    return account.passkeys.create(name=name, credential=b"", id_hash=hash_of(f"{account.pk} {name}"))


def lines() -> list[tuple[str, str, str]]:
    return list(JournalLine.objects.order_by("pk").values_list("verb", "who", "thing"))


def letters() -> list[tuple[str, str]]:
    return list(AccountLetter.objects.order_by("pk").values_list("kind", "to"))


# --- setting one up ---


def test_what_is_being_set_up_counts_only_from_its_first_code(
    account: User, clock: Clock, ended: list[tuple[str, str]]
) -> None:
    secret = begun(account)
    app = CodeApp.objects.get()
    assert secret not in app.secret  # sealed
    assert not second_factor.stands(account)
    assert second_factor.standing(account) == second_factor.Standing(None, [], 0)
    assert not second_factor.standing(account).stands
    with pytest.raises(BadInput):
        second_factor.open_with(account, code_now(secret))
    given = second_factor.confirm(account, me(account), code=code_now(secret), here="here")
    assert second_factor.standing(account) == second_factor.Standing(clock.at, [], codes.RECOVERY_CODES)
    assert second_factor.standing(account).stands
    assert second_factor.key_of(account, "x") is None  # never shown again
    assert len({*given}) == RecoveryCode.objects.count() == codes.RECOVERY_CODES
    assert {hash_of(codes.typed(one)) for one in given} == {*RecoveryCode.objects.values_list("code_hash", flat=True)}
    assert lines() == [("second factor set", "Tamsin (photographer)", "tamsin")]
    assert JournalLine.objects.get().detail == {"account": account.pk}
    assert letters() == [("second factor set", "tamsin@northlight.example")]
    assert ended == [("tamsin", "here")]


def test_the_key_is_for_an_app_in_the_words_of_its_address(account: User) -> None:
    secret = begun(account)
    key = second_factor.key_of(account, "Northlight Rooms")
    assert key is not None
    # The form that apps read ("Key URI", from memory): issuer and account in the label, the issuer again behind.
    read = pyotp.parse_uri(key.address)
    assert (read.name, read.issuer, read.secret) == ("tamsin", "Northlight Rooms", secret)


def test_begun_again_it_is_another_key_and_one_that_stands_is_not_replaced(account: User) -> None:
    first, second = begun(account), begun(account)
    assert first != second
    assert CodeApp.objects.count() == 1
    with pytest.raises(BadInput, match="not the code"):
        second_factor.confirm(account, me(account), code=code_now(first), here="")
    second_factor.confirm(account, me(account), code=f" {code_now(second)[:3]} {code_now(second)[3:]}", here="")
    with pytest.raises(Conflict, match="an app already"):
        second_factor.begin(account, me(account), password=SECRET, code="")
    with pytest.raises(Missing, match="No app"):
        second_factor.confirm(account, me(account), code=code_now(second), here="")


def test_the_code_that_set_it_up_opens_no_door(account: User, clock: Clock) -> None:
    secret, _given = set_up(account)
    with pytest.raises(BadInput):
        second_factor.open_with(account, code_now(secret))
    clock.passes(HALF_MINUTE)
    second_factor.open_with(account, code_now(secret))


def test_an_app_beside_a_passkey_is_one_more_and_makes_no_second_set_of_codes(account: User) -> None:
    with_passkey(account)
    second_factor.first_codes(account)
    before = {*RecoveryCode.objects.values_list("pk", flat=True)}
    _secret, given = set_up(account)
    assert given == []
    assert {*RecoveryCode.objects.values_list("pk", flat=True)} == before
    assert letters() == [("second factor changed", account.email)]
    assert lines() == []


def test_left_off_it_is_gone_and_what_stands_stays(account: User) -> None:
    begun(account)
    second_factor.leave_off(account, me(account))
    assert not CodeApp.objects.exists()
    set_up(account)
    second_factor.leave_off(account, me(account))
    assert second_factor.has_app(account)


def test_a_key_sealed_under_another_key_of_the_site_begins_anew(account: User, settings: Any) -> None:
    secret = begun(account)
    settings.SECRET_KEY = "another key of the site, long enough"
    assert second_factor.key_of(account, "x") is None
    with pytest.raises(Conflict, match="begin again"):
        second_factor.confirm(account, me(account), code=code_now(secret), here="")
    fresh = begun(account)
    second_factor.confirm(account, me(account), code=code_now(fresh), here="")
    settings.SECRET_KEY = "a third key of the site, as long as it"
    with pytest.raises(Refused, match="another one now"):
        second_factor.open_with(account, code_now(fresh, HALF_MINUTE))


# --- at the door ---


def test_a_code_and_all_before_it_open_once(account: User, clock: Clock) -> None:
    secret, _given = set_up(account)
    clock.passes(timedelta(minutes=5))
    early = code_now(secret, -HALF_MINUTE)
    second_factor.open_with(account, code_now(secret))
    for used in (code_now(secret), early):
        with pytest.raises(BadInput):
            second_factor.open_with(account, used)
    second_factor.open_with(account, code_now(secret, HALF_MINUTE))  # the phone goes half a minute ahead
    assert CodeApp.objects.get().wrong == 0  # a right one begins the count anew


def test_wrong_codes_shut_for_the_rest_of_the_hour_and_no_longer(account: User, clock: Clock) -> None:
    secret, given = set_up(account)
    for number in range(second_factor.WRONG_AN_HOUR):
        with pytest.raises(BadInput):
            second_factor.open_with(account, "000000" if code_now(secret) != "000000" else "000001")
        clock.passes(timedelta(seconds=1))
        assert CodeApp.objects.get().wrong == number + 1
    began = CodeApp.objects.get().wrong_since
    assert began is not None
    clock.at = began + timedelta(hours=1)
    with pytest.raises(Refused, match="wait an hour"):
        second_factor.open_with(account, code_now(secret))
    second_factor.open_with(account, given[0])  # of recovery: it still opens
    assert CodeApp.objects.get().wrong == second_factor.WRONG_AN_HOUR
    clock.passes(MOMENT)
    second_factor.open_with(account, code_now(secret))
    assert CodeApp.objects.get().wrong == 0


def test_one_accounts_wrong_codes_shut_no_other(account: User, clock: Clock) -> None:
    other = User.objects.create_user("joost", "joost@northlight.example", SECRET)
    secret, _given = set_up(other)
    set_up(account)
    CodeApp.objects.filter(account=account).update(wrong=second_factor.WRONG_AN_HOUR, wrong_since=clock.at)
    clock.passes(HALF_MINUTE)
    with pytest.raises(Refused):
        second_factor.open_with(account, "000000")
    second_factor.open_with(other, code_now(secret))


def test_a_recovery_code_opens_once_its_own_account_only_and_is_told(account: User) -> None:
    other = User.objects.create_user("joost", "joost@northlight.example", SECRET)
    _secret, given = set_up(account)
    with pytest.raises(BadInput):
        second_factor.open_with(other, given[0])
    second_factor.open_with(account, given[0].upper().replace("-", " "))
    assert second_factor.standing(account).codes_left == codes.RECOVERY_CODES - 1
    with pytest.raises(BadInput, match="Each opens once"):
        second_factor.open_with(account, given[0])
    assert lines()[1:] == [("recovery code used", "Tamsin (photographer)", "tamsin")]
    assert letters()[1:] == [("recovery code used", account.email)]


@pytest.mark.parametrize("typed", ["", "123", "12345678", "abcdef", "------", "\0", "١٢٣٤٥٦"])
def test_what_is_no_code_opens_nothing_and_is_not_counted_against_the_app(account: User, typed: str) -> None:
    set_up(account)
    with pytest.raises(BadInput):
        second_factor.open_with(account, typed)
    assert CodeApp.objects.get().wrong == 0


# --- renewing, taking off ---


def test_new_recovery_codes_take_the_place_of_all_earlier_ones(account: User) -> None:
    _secret, old = set_up(account)
    other = User.objects.create_user("joost", "joost@northlight.example", SECRET)
    set_up(other)
    second_factor.open_with(account, old[0])
    new = second_factor.new_recovery_codes(account, me(account), password=SECRET, code="")
    assert not {*old} & {*new}
    assert account.recovery_codes.count() == other.recovery_codes.count() == codes.RECOVERY_CODES
    with pytest.raises(BadInput):
        second_factor.open_with(account, old[1])
    second_factor.open_with(account, new[9])
    assert ("recovery codes made", "Tamsin (photographer)", "tamsin") in lines()


def test_the_app_goes_and_a_passkey_stays(account: User, ended: list[tuple[str, str]]) -> None:
    passkey = with_passkey(account)
    set_up(account)
    second_factor.remove(account, me(account), password=SECRET, code="", here="mine", what="app")
    assert not CodeApp.objects.exists()
    assert second_factor.standing(account).passkeys == [passkey]
    assert account.recovery_codes.count() == codes.RECOVERY_CODES
    assert letters()[-1] == ("second factor changed", account.email)
    assert lines() == []
    assert ended[-1] == ("tamsin", "mine")


def test_one_of_two_passkeys_goes_by_its_number(account: User) -> None:
    kept, lost = with_passkey(account), with_passkey(account, "Old phone")
    second_factor.remove(account, me(account), password=SECRET, code="", here="", what=f"passkey-{lost.pk}")
    assert list(account.passkeys.all()) == [kept]
    assert lines() == [("passkey removed", "Tamsin (photographer)", "Old phone")]
    assert letters() == [("second factor changed", account.email)]


@pytest.mark.parametrize("how", ["all of it", "the app, the last", "the passkey, the last", "the operator"])
def test_with_the_last_of_it_everything_goes(account: User, ended: list[tuple[str, str]], how: str) -> None:
    other = User.objects.create_user("joost", "joost@northlight.example", SECRET)
    set_up(other)
    with_passkey(other)
    what = ""
    if how == "the passkey, the last":
        what = f"passkey-{with_passkey(account).pk}"
        second_factor.first_codes(account)
    else:
        set_up(account)
        what = "app" if how == "the app, the last" else ""
    before = len(letters())
    if how == "the operator":
        assert second_factor.drop("tamsin") == account
    else:
        second_factor.remove(account, me(account), password=SECRET, code="", here="mine", what=what)
    assert second_factor.standing(account) == second_factor.Standing(None, [], 0)
    assert not account.recovery_codes.exists()
    who = "the operator" if how == "the operator" else "Tamsin (photographer)"
    assert lines()[-1] == ("second factor removed", who, "tamsin")
    assert letters()[before:] == [("second factor removed", account.email)]
    assert ended[-1] == ("tamsin", "" if how == "the operator" else "mine")
    there = second_factor.standing(other)
    assert there.app_since is not None
    assert (len(there.passkeys), there.codes_left) == (1, codes.RECOVERY_CODES)


@pytest.mark.parametrize("what", ["passkey-", "passkey-0", "passkey-x", "passkey-" + "9" * 19, "phone", "passkey-²"])
def test_what_is_not_there_is_not_taken_off(account: User, what: str) -> None:
    with_passkey(account)
    with pytest.raises(BadInput, match="not here"):
        second_factor.remove(account, me(account), password=SECRET, code="", here="", what=what)
    assert account.passkeys.count() == 1


def test_anothers_passkey_is_not_taken_off_by_its_number(account: User) -> None:
    other = User.objects.create_user("joost", "joost@northlight.example", SECRET)
    theirs = with_passkey(other)
    with_passkey(account)
    with pytest.raises(BadInput, match="not here"):
        second_factor.remove(account, me(account), password=SECRET, code="", here="", what=f"passkey-{theirs.pk}")
    assert other.passkeys.exists()


def test_where_nothing_stands_nothing_is_renewed_or_taken_off(account: User) -> None:
    begun(account)  # no more than begun
    with pytest.raises(Conflict, match="no second factor"):
        second_factor.new_recovery_codes(account, me(account), password=SECRET, code="")
    with pytest.raises(BadInput, match="no second factor"):
        second_factor.remove(account, me(account), password=SECRET, code="", here="")
    for name, said in (("tamsin", "no second factor"), ("nobody", "no account")):
        with pytest.raises(Missing, match=said):
            second_factor.drop(name)


Verb = Callable[[User, Visitor, str, str], object]
VERBS: dict[str, Verb] = {
    "new codes": lambda a, by, p, c: second_factor.new_recovery_codes(a, by, password=p, code=c),
    "take off": lambda a, by, p, c: second_factor.remove(a, by, password=p, code=c, here=""),
}


@pytest.mark.parametrize("verb", VERBS)
def test_who_has_no_password_shows_a_code_that_opens_and_uses_it_up(account: User, clock: Clock, verb: str) -> None:
    secret, _given = set_up(account)
    account.set_unusable_password()
    account.save()
    clock.passes(HALF_MINUTE)
    used = code_now(secret)
    second_factor.open_with(account, used)
    for password, code in ((SECRET, ""), ("", ""), ("", used)):
        with pytest.raises(BadInput):
            VERBS[verb](account, me(account), password, code)
    assert account.recovery_codes.count() == codes.RECOVERY_CODES
    clock.passes(HALF_MINUTE)
    VERBS[verb](account, me(account), "", code_now(secret))
    assert second_factor.stands(account) == (verb == "new codes")


@pytest.mark.parametrize("verb", VERBS)
def test_a_right_code_stands_in_for_no_wrong_password(account: User, clock: Clock, verb: str) -> None:
    secret, _given = set_up(account)
    clock.passes(HALF_MINUTE)
    with pytest.raises(BadInput, match="password"):
        VERBS[verb](account, me(account), "guess", code_now(secret))
    second_factor.open_with(account, code_now(secret))  # and is not used up


def test_all_of_it_is_its_owners_alone(account: User) -> None:
    cast = make_cast()
    set_up(account)
    verbs: list[Callable[[Visitor], object]] = [
        lambda by: second_factor.begin(account, by, password=SECRET, code=""),
        lambda by: second_factor.confirm(account, by, code="1", here=""),
        lambda by: second_factor.leave_off(account, by),
        lambda by: VERBS["new codes"](account, by, SECRET, ""),
        lambda by: VERBS["take off"](account, by, SECRET, ""),
    ]
    before = lines(), letters(), list(RecoveryCode.objects.order_by("pk").values_list("code_hash", flat=True))
    for by in (cast.as_owner, cast.as_subject, Visitor(), Visitor(program=True)):
        for verb in verbs:
            with pytest.raises(Missing):
                verb(by)
    assert (lines(), letters(), list(RecoveryCode.objects.order_by("pk").values_list("code_hash", flat=True))) == before
