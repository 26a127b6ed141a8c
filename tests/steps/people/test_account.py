"""A photographer's own account: what needs the present password, what is refused, and who hears of it."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import Permission, User

from galleries.access import Visitor
from galleries.errors import BadInput, Conflict, DomainError, Missing
from galleries.models import AccountLetter, JournalLine
from galleries.steps.people import account as accounts
from tests.cast import make_cast

pytestmark = pytest.mark.django_db
SECRET, OTHER = "a long enough secret", "quite another secret"
AS_IT_IS = {"first_name": "Tamsin", "last_name": "Orr", "email": "tamsin@northlight.example", "password": ""}
WORDS = {"present": SECRET, "new": OTHER, "again": OTHER, "here": "the key of this session"}


@pytest.fixture
def account() -> User:
    User.objects.create_user("joost", "joost@northlight.example", first_name="Joost", last_name="Maro")
    return User.objects.create_user("tamsin", AS_IT_IS["email"], SECRET, first_name="Tamsin", last_name="Orr")


def change(account: User, **data: str) -> User:
    accounts.change_data(account, Visitor(user=account), **{**AS_IT_IS, **data})
    return User.objects.get(pk=account.pk)


def set_password(account: User, **words: str) -> User:
    accounts.change_password(account, Visitor(user=account), **{**WORDS, **words})
    return User.objects.get(pk=account.pk)


def kept() -> list[Any]:
    """All that a verb here may change."""
    accounts_now = User.objects.order_by("pk").values_list("first_name", "last_name", "email", "password")
    lines = JournalLine.objects.order_by("pk").values_list("verb", "who", "thing")
    return [*accounts_now, *lines, *AccountLetter.objects.order_by("pk").values_list("kind", "to")]


def test_a_name_is_kept_as_one_line_without_password_letter_or_line(account: User) -> None:
    other = User.objects.get(username="joost")
    row = change(account, first_name="  Tamsin \n Ade ", last_name="Okonedo-Vale")
    assert (row.first_name, row.last_name) == ("Tamsin Ade", "Okonedo-Vale")
    assert row.check_password(SECRET)
    assert not AccountLetter.objects.exists()
    assert not JournalLine.objects.exists()
    other.refresh_from_db()
    assert other.get_full_name() == "Joost Maro"


@pytest.mark.parametrize("half", ["first_name", "last_name"])
def test_one_of_the_two_names_is_enough(account: User, half: str) -> None:
    other = {"first_name": "last_name", "last_name": "first_name"}[half]
    row = change(account, **{half: "", other: "n" * accounts.NAME_LENGTH})
    assert (getattr(row, half), len(getattr(row, other))) == ("", 150)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        ({"first_name": " ", "last_name": "\n"}, "Give your name"),
        ({"first_name": "n" * 151}, "too long; 150"),
        ({"last_name": "n" * 151}, "too long; 150"),
        ({"first_name": "Tamsin (subject)"}, "without brackets"),
        ({"last_name": "Orr（x"}, "without brackets"),
        ({"email": "other@northlight.example"}, "not your present password"),
        ({"email": "other@northlight.example", "password": "guess"}, "not your present password"),
        ({"email": "nowhere", "password": SECRET}, "“nowhere” is not"),
        ({"email": "", "password": SECRET}, "“” is not"),
    ],
)
def test_data_that_will_not_do_change_nothing(account: User, data: dict[str, str], said: str) -> None:
    before = kept()
    with pytest.raises(BadInput, match=said):
        change(account, **{"first_name": "Another", **data})
    assert kept() == before


def test_a_new_address_needs_the_password_and_the_old_one_hears_of_it(account: User) -> None:
    row = change(account, email=" New@northlight.example ", password=SECRET)
    assert row.email == "New@northlight.example"
    letter = AccountLetter.objects.get()
    assert (letter.kind, letter.to, letter.account) == ("address changed", "tamsin@northlight.example", row)
    line = JournalLine.objects.get()
    assert (line.verb, line.who, line.thing) == ("address changed", "Tamsin Orr (photographer)", "tamsin")
    assert line.detail == {"account": row.pk}
    assert line.sitting is None


def test_the_same_address_in_other_letters_is_no_new_one(account: User) -> None:
    row = change(account, email="TAMSIN@northlight.example")
    assert row.email == "tamsin@northlight.example"
    assert not AccountLetter.objects.exists()
    assert not JournalLine.objects.exists()


def test_an_address_is_one_persons(account: User) -> None:
    with pytest.raises(Conflict, match="Another account"):
        change(account, email="JOOST@northlight.example", password=SECRET)
    with pytest.raises(Conflict):
        accounts.check_address("Joost@Northlight.example")
    accounts.check_address("tamsin@northlight.example", account)  # one's own stays one's own
    with pytest.raises(Conflict):
        accounts.check_address("tamsin@northlight.example", User.objects.get(username="joost"))


def test_who_has_no_password_or_no_address_yet_gives_a_first_one(account: User) -> None:
    account.set_unusable_password()
    account.email = ""
    account.save()
    assert change(account, email="first@northlight.example").email == "first@northlight.example"
    assert not AccountLetter.objects.exists()  # there was nobody to tell
    assert JournalLine.objects.get().verb == "address changed"
    assert set_password(account, present="").check_password(OTHER)


@pytest.mark.parametrize("verb", [change, set_password])
def test_an_account_is_its_owners_alone(account: User, verb: Any) -> None:
    cast = make_cast()
    before = kept()
    name = {change: accounts.change_data, set_password: accounts.change_password}[verb]
    words = {change: {**AS_IT_IS, "first_name": "Mine"}, set_password: WORDS}[verb]
    for by in (Visitor(), cast.as_subject, cast.as_owner, Visitor(program=True)):
        with pytest.raises(Missing, match="not yours"):
            name(account, by, **words)
    User.objects.filter(pk=account.pk).update(is_active=False)
    account.refresh_from_db()
    with pytest.raises(Missing):
        verb(account)
    assert kept() == before


def test_a_new_password_is_known_at_once_and_told(account: User) -> None:
    row = set_password(account)
    assert row.check_password(OTHER)
    assert not row.check_password(SECRET)
    assert account.password == row.password  # so that the page's own session stays
    letter, line = AccountLetter.objects.get(), JournalLine.objects.get()
    assert (letter.kind, letter.to) == ("password changed", account.email)
    assert (line.verb, line.thing, line.detail) == ("password changed", "tamsin", {"account": account.pk})
    assert User.objects.get(username="joost").password != row.password


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ({"present": "guess"}, "not your present password"),
        ({"present": ""}, "not your present password"),
        ({"again": OTHER.title()}, "not typed the same twice"),
        ({"new": "short1x", "again": "short1x"}, "too short"),
        ({"new": "password123", "again": "password123"}, "too common"),
        ({"new": "tamsin@northlight", "again": "tamsin@northlight"}, "too similar"),
        ({"new": "x" * 1001, "again": "x" * 1001}, "too long; 1000"),
    ],
)
def test_a_password_that_will_not_do_changes_nothing(account: User, words: dict[str, str], said: str) -> None:
    before, in_hand = kept(), account.password
    with pytest.raises(BadInput, match=said):
        set_password(account, **words)
    assert kept() == before
    assert account.password == in_hand


def test_the_longest_password_that_fits_opens(account: User) -> None:
    longest = "slow river " * 90 + "slow river"  # 1000 signs
    assert len(longest) == accounts.PASSWORD_LENGTH
    assert set_password(account, new=longest, again=longest).check_password(longest)
    accounts.check_present(User.objects.get(pk=account.pk), longest)


def test_what_breaks_at_its_letter_leaves_everything(account: User, monkeypatch: pytest.MonkeyPatch) -> None:
    before = kept()

    def broken(*_words: Any) -> None:
        raise ArithmeticError

    monkeypatch.setattr(accounts, "list_letter", broken)
    for verb, words in ((change, {"email": "n@northlight.example", "password": SECRET}), (set_password, {})):
        with pytest.raises(ArithmeticError):
            verb(account, **words)
        assert kept() == before


# --- the operator's ---


@pytest.mark.parametrize("username", ["ines", "Ines.Maro", "ines-maro", "inês", "n" * 150, " ines "])
def test_an_account_is_made_without_a_password(username: str) -> None:
    made = accounts.make(username, "ines@maro.example", "Ines  Maro Solland")
    row = User.objects.get(username=username.strip())
    assert made == row
    assert (row.first_name, row.last_name, row.email) == ("Ines", "Maro Solland", "ines@maro.example")
    assert not row.has_usable_password()
    assert (row.is_staff, row.is_superuser, row.user_permissions.count()) == (False, False, 0)
    line = JournalLine.objects.get()
    assert (line.who, line.verb, line.detail) == ("the operator", "account made", {"account": row.pk})


@pytest.mark.parametrize("username", ["", "  ", "n" * 151, "ines maro", "ines@maro", "ines/maro", "-", "..", "ines\0"])
def test_a_name_that_nobody_can_sign_in_with(username: str) -> None:
    with pytest.raises(BadInput, match="no name to sign in with"):
        accounts.make(username, "ines@maro.example", "Ines Maro")
    assert not User.objects.exists()


@pytest.mark.parametrize(
    ("username", "email", "error"),
    [
        ("Tamsin", "new@northlight.example", Conflict),
        ("ines", "TAMSIN@northlight.example", Conflict),
        ("ines", "nowhere", BadInput),
    ],
)
def test_a_name_or_an_address_that_is_taken(account: User, username: str, email: str, error: type[DomainError]) -> None:
    before = kept()
    with pytest.raises(error):
        accounts.make(username, email, "Ines Maro")
    assert kept() == before


def test_upkeep_is_a_permission_and_no_superusers_power() -> None:
    made = accounts.make("ines", "ines@maro.example", "Ines", upkeep=True)
    row = User.objects.get(pk=made.pk)
    assert row.is_staff
    assert not row.is_superuser
    assert (row.first_name, row.last_name) == ("Ines", "")
    assert [one.codename for one in row.user_permissions.all()] == ["upkeep"]
    assert row.has_perm("galleries.upkeep")


def test_an_account_is_made_whole_or_not_at_all() -> None:
    Permission.objects.filter(codename="upkeep").delete()
    with pytest.raises(Permission.DoesNotExist):
        accounts.make("ines", "ines@maro.example", "Ines", upkeep=True)
    assert not User.objects.exists()
    assert not JournalLine.objects.exists()
