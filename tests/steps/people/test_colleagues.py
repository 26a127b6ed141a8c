"""Colleagues are let in, given a role and shut out by whoever runs the studio."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core import mail as outgoing
from django.utils import timezone

from galleries.access import Visitor, heads
from galleries.errors import BadInput, Conflict
from galleries.models import AccountLetter, JournalLine, SignInLink, StudioRole, StudioSession
from galleries.steps import jobs
from galleries.steps.people import account, colleagues
from galleries.steps.people import invite as invites
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    return make_cast()


def invited(cast: Cast, email: str = "Ida.B+work@northlight.example") -> User:
    return colleagues.invite(cast.as_owner, name=" Ida  Brueck ", email=email)


def test_a_colleague_gets_an_account_and_a_letter_that_lets_them_in(cast: Cast, settings: Any) -> None:
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    made = invited(cast)
    assert (made.get_username(), made.get_full_name(), made.is_staff) == ("ida.bwork", "Ida Brueck", False)
    assert not heads(made)
    assert not made.has_usable_password()
    assert JournalLine.objects.get().verb == "colleague invited"
    jobs.run_waiting()
    (letter,) = outgoing.outbox
    link = next(line for line in letter.body.splitlines() if line.startswith("http"))
    assert invites.use_sign_in_link(link.rsplit("/", 1)[1]).user == made
    assert invited(cast, "ida.b+work@elsewhere.example").get_username() == "ida.bwork-2"


@pytest.mark.parametrize(
    ("change", "error", "says"),
    [
        ({"name": "  "}, BadInput, "name"),
        ({"name": "Ida (head)"}, BadInput, "brackets"),
        ({"email": "nobody"}, BadInput, "not an e-mail address"),
        ({"role": "king"}, BadInput, "runs the studio"),
        ({"email": "COLLEAGUE@northlight.example"}, Conflict, "has this address"),
    ],
)
def test_what_makes_no_account(cast: Cast, change: dict[str, str], error: type[Exception], says: str) -> None:
    values = {"name": "Ida", "email": "ida@northlight.example", **change}
    with pytest.raises(error, match=says):
        colleagues.invite(cast.as_owner, **values)
    assert not AccountLetter.objects.exists()
    assert not JournalLine.objects.exists()


def test_a_link_to_hand_over_is_for_somebody_who_never_came(cast: Cast) -> None:
    made = invited(cast)
    first = colleagues.link_for(made, cast.as_owner)
    assert first.startswith("http")
    colleagues.link_for(made, cast.as_owner)
    assert SignInLink.objects.filter(user=made).count() == 1, "an earlier one is over"
    for change in ({"last_login": timezone.now()}, {"last_login": None, "is_active": False}):
        User.objects.filter(pk=made.pk).update(**change)
        with pytest.raises(Conflict):
            colleagues.link_for(User.objects.get(pk=made.pk), cast.as_owner)
    cast.colleague.set_password("a long enough one")
    with pytest.raises(Conflict):  # else whoever runs the studio could come in as somebody else
        colleagues.link_for(cast.colleague, cast.as_owner)


def test_a_role_is_given_and_taken_but_somebody_runs_the_studio(cast: Cast) -> None:
    with pytest.raises(Conflict, match="Somebody has to run"):
        colleagues.give_role(cast.owner, cast.as_owner, "photographer")
    colleagues.give_role(cast.colleague, cast.as_owner, "head")
    assert heads(cast.colleague)
    line = JournalLine.objects.get()
    assert (line.verb, line.before, line.after) == ("role given", "photographer", "head")
    colleagues.give_role(cast.owner, Visitor(user=cast.colleague), "photographer")
    assert not heads(cast.owner)
    User.objects.filter(pk=cast.colleague.pk).update(is_active=False)
    assert not StudioRole.objects.heads().exists(), "a shut account runs nothing"


def test_an_account_that_is_shut_is_over_everywhere_and_its_sittings_stay(cast: Cast) -> None:
    colleagues.give_role(cast.colleague, cast.as_owner, "head")
    cast.client_of(cast.owner)
    invites.sign_in_link(user=cast.owner)
    by = Visitor(user=cast.colleague)
    for heir in (None, cast.owner):
        with pytest.raises(Conflict, match="takes them over"):
            colleagues.end(cast.owner, by, heir)
    assert colleagues.end(cast.owner, by, cast.colleague) == 1
    cast.sitting.refresh_from_db()
    cast.owner.refresh_from_db()
    assert (cast.sitting.photographer, cast.owner.is_active) == (cast.colleague, False)
    assert not StudioSession.objects.filter(account=cast.owner).exists()
    assert not SignInLink.objects.filter(user=cast.owner).exists()
    with pytest.raises(Conflict, match="your own"):
        colleagues.end(cast.colleague, by)
    colleagues.bring_back(cast.owner, by)
    with pytest.raises(Conflict, match="open already"):
        colleagues.bring_back(User.objects.get(pk=cast.owner.pk), by)
    assert cast.sitting.photographer == cast.colleague


def test_the_operators_account_is_not_the_studios_to_shut(cast: Cast) -> None:
    chief = User.objects.create_superuser("chief", password="a long enough one")
    with pytest.raises(Conflict, match="operator"):
        colleagues.end(chief, cast.as_owner)


def test_the_first_account_runs_the_studio_and_the_next_does_not() -> None:
    first = account.make("tamsin", "tamsin@portal.example", "Tamsin Orr")
    assert heads(first)
    assert not heads(account.make("ida", "ida@portal.example", "Ida Brueck"))
    assert heads(account.make("jon", "jon@portal.example", "Jon Hale", head=True))
