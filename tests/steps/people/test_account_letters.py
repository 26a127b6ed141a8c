"""Letters about accounts, and the wish for a way in: listed, sent once each, forgotten after a day."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.contrib.auth.models import User
from django.core import mail
from django.utils import timezone, translation

from galleries.models import AccountLetter, Invite, Job, Letter, SignInLink, Sitting
from galleries.steps import jobs
from galleries.steps.people import account_letters, again, caps, wishes
from tests.cast import Cast, make_cast
from tests.steps.clock import MOMENT, Clock

pytestmark = pytest.mark.django_db
KINDS = AccountLetter.Kind
ADDRESS = "tamsin@northlight.example"


def account() -> User:
    return User.objects.create_user("tamsin", ADDRESS)


def listed(kind: AccountLetter.Kind = KINDS.PASSWORD_CHANGED, to: str = ADDRESS) -> AccountLetter:
    letter = account_letters.list_letter(kind, to, User.objects.filter(username="tamsin").first() or account())
    assert letter is not None
    return letter


def test_nobody_without_an_address_gets_a_letter() -> None:
    assert account_letters.list_letter(KINDS.PASSWORD_CHANGED, "", account()) is None
    assert not AccountLetter.objects.exists()
    assert not Job.objects.exists()


def test_a_letter_is_listed_with_its_language_and_its_work() -> None:
    with translation.override("de"):
        letter = listed()
    letter.refresh_from_db()
    assert (letter.language, letter.to, letter.sent_at) == ("de", ADDRESS, None)
    job = Job.objects.get()
    assert (job.kind, job.thing, job.sitting, job.state) == ("account letter", letter.pk, None, "waiting")
    account_letters.send(letter.pk)
    assert mail.outbox[0].extra_headers["Content-Language"] == "de"


# The others hang on a row: a wish, a device (tests/web/test_new_devices.py).
@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind not in (KINDS.WISH, KINDS.NEW_DEVICE)])
def test_each_kind_names_account_and_studio_and_goes_once(kind: AccountLetter.Kind) -> None:
    letter, other = listed(kind), listed(kind, "elsewhere@northlight.example")
    for _time in range(2):
        account_letters.send(letter.pk)
    (message,) = mail.outbox
    assert message.to == [ADDRESS]
    assert "“tamsin”" in message.body
    assert "studio@portal.example" in message.body
    letter.refresh_from_db()
    other.refresh_from_db()
    assert letter.sent_at is not None
    assert other.sent_at is None
    account_letters.send(letter.pk + 1000)
    assert len(mail.outbox) == 1


def test_what_could_not_be_sent_goes_the_next_time(monkeypatch: pytest.MonkeyPatch) -> None:
    letter = listed()
    with monkeypatch.context() as broken:
        broken.setattr("django.core.mail.EmailMessage.send", lambda *_a, **_k: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            account_letters.send(letter.pk)
    assert AccountLetter.objects.unsent().count() == 1
    account_letters.send(letter.pk)
    assert len(mail.outbox) == 1
    assert not AccountLetter.objects.unsent().exists()


def test_what_was_given_up_is_listed_again_under_its_own_kind() -> None:
    went, stuck = listed(), listed(KINDS.SECOND_FACTOR_SET)
    wishes.wish("ines@maro.example")
    wished = AccountLetter.objects.get(kind=KINDS.WISH)
    account_letters.send(went.pk)
    Job.objects.update(state="failed", attempts=4)
    assert account_letters.send_due() == 2
    waiting = Job.objects.filter(state="waiting").order_by("thing")
    assert list(waiting.values_list("kind", "thing", "attempts")) == [
        ("account letter", stuck.pk, 0),
        ("wish", wished.pk, 0),
    ]


# --- the wish ---


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        (" Tamsin@Northlight.example ", [ADDRESS]),
        ("nobody", ["nobody"]),
        ("", []),
        ("   ", []),
        ("a\0@b.example", []),
        ("n" * 242 + "@maro.example", []),  # 255 signs: RFC 5321, 4.5.3.1.3, has 256 with its two brackets
        ("n" * 241 + "@maro.example", ["n" * 241 + "@maro.example"]),
    ],
)
def test_a_wish_is_noted_whether_anybody_has_the_address_or_not(typed: str, kept: list[str]) -> None:
    wishes.wish(typed)
    assert list(AccountLetter.objects.values_list("to", flat=True)) == kept
    assert Job.objects.filter(kind="wish").count() == len(kept)
    assert all(caps.is_searchable(one) for one in kept)
    assert not mail.outbox


def test_a_wish_is_answered_once_in_the_language_it_was_made_in() -> None:
    cast = make_cast()
    with translation.override("es"):
        wishes.wish(cast.owner.email)
    noted = AccountLetter.objects.get()
    for _time in range(2):
        wishes.answer(noted.pk)
    (message,) = mail.outbox
    assert message.extra_headers["Content-Language"] == "es"
    assert translation.get_language() == "en"
    assert SignInLink.objects.get().user == cast.owner


def test_only_a_wish_is_answered() -> None:
    letter = listed()
    wishes.answer(letter.pk)
    wishes.answer(letter.pk + 1000)
    letter.refresh_from_db()
    assert letter.sent_at is None
    assert not mail.outbox


def test_a_wish_that_could_not_be_answered_is_answered_the_next_time(monkeypatch: pytest.MonkeyPatch) -> None:
    cast = make_cast()
    wishes.wish(cast.owner.email)
    noted = AccountLetter.objects.get()
    with monkeypatch.context() as broken:
        broken.setattr("django.core.mail.EmailMessage.send", lambda *_a, **_k: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            wishes.answer(noted.pk)
    assert not SignInLink.objects.exists()  # a link that nobody got opens nothing
    wishes.answer(noted.pk)
    assert SignInLink.objects.count() == len(mail.outbox) == 1


def test_who_asked_is_forgotten_after_a_day_and_letters_are_not(clock: Clock) -> None:
    wishes.wish("old@maro.example")
    letter = listed()
    clock.passes(MOMENT)
    wishes.wish("young@maro.example")
    clock.passes(timedelta(days=1))
    wishes.forget()
    assert list(AccountLetter.objects.order_by("pk")) == [letter, AccountLetter.objects.get(to="young@maro.example")]
    AccountLetter.objects.update(sent_at=timezone.now())
    clock.passes(MOMENT)
    wishes.forget()
    assert list(AccountLetter.objects.all()) == [letter]


# --- the link again ---


def again_letters() -> list[tuple[str, str]]:
    return list(Letter.objects.order_by("pk").values_list("kind", "to"))


def test_a_link_for_each_sitting_that_still_lets_the_person_in(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(caps, "LINK_LETTERS_AN_HOUR", 99)
    here, there, away = make_cast(), make_cast("there"), make_cast("away", "archived")
    assert again.send_links_again("ansa@veld.example") == 2
    assert set(Letter.objects.values_list("sitting", flat=True)) == {here.sitting.pk, there.sitting.pk}
    assert not away.sitting.letters.exists()
    assert again.send_links_again("ruben@achterberg.example") == 0  # an agent's desk has one link of its own


def test_each_asking_is_a_letter_of_its_own(clock: Clock) -> None:
    cast = make_cast()
    for _time in range(2):
        assert again.send_links_again("ansa@veld.example") == 1
    pk = cast.subject.pk
    assert list(Letter.objects.order_by("pk").values_list("about", flat=True)) == [f"invite-{pk}-0", f"invite-{pk}-1"]
    for _time in range(caps.LINK_LETTERS_AN_HOUR):
        again.send_links_again("ansa@veld.example")
    assert len(again_letters()) == caps.LINK_LETTERS_AN_HOUR
    clock.passes(timedelta(hours=1) - MOMENT)
    assert again.send_links_again("ansa@veld.example") == 0
    clock.passes(MOMENT)
    assert again.send_links_again("ansa@veld.example") == 1
    assert again.send_links_again(cast.recipient.email) == 1  # another's box is another's


def test_an_invite_that_ends_this_moment_has_ended_and_a_new_day_tells_it_anew(clock: Clock) -> None:
    cast = make_cast()
    Invite.objects.filter(pk=cast.subject.pk).update(expires_at=clock.at)
    for _time in range(2):
        again.send_links_again("ansa@veld.example")
    both = [("asked", cast.owner.email), ("ended", "ansa@veld.example")]
    assert again_letters() == both
    clock.passes(timedelta(days=1))
    again.send_links_again("ansa@veld.example")
    assert again_letters() == both * 2


@pytest.mark.parametrize("state", ["passed on from who is shut out", "a minor without consent"])
def test_nothing_is_listed_for_who_may_not_come_in(state: str) -> None:
    cast = make_cast()
    if state == "a minor without consent":
        Sitting.objects.update(subject_is_minor=True)
    else:
        cast.sitting.invites.filter(pk=cast.recipient.pk).update(revoked_at=timezone.now())
        cast.sitting.invites.filter(pk=cast.subject.pk).update(passed_from=cast.recipient)
    assert again.send_links_again("ansa@veld.example") == 0
    assert not Letter.objects.exists()


def test_the_letters_that_bring_links_are_sent_by_the_worker() -> None:
    cast: Cast = make_cast()
    wishes.wish("ansa@veld.example")
    jobs.run_waiting(kinds=["wish"])
    jobs.run_waiting(kinds=["letter"])
    (message,) = mail.outbox
    assert message.to == [cast.subject.email]
    assert "/i/" in message.body
