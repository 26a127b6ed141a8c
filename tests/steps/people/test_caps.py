"""Nobody invited has letters sent at will: 40 strangers had been let in within 3.5 s, with free words."""

from __future__ import annotations

import pytest
from django.core import mail

from galleries.access import Act, may
from galleries.errors import BadInput, Refused
from galleries.models import Invite, Letter, SignInLink, Sitting
from galleries.steps.delivering import usage
from galleries.steps.people import caps, invite, posting
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    cast = make_cast()
    Invite.objects.filter(pk=cast.representation.pk).update(may_pass_on=True)
    cast.representation.refresh_from_db()
    return cast


def test_passing_on_ends_after_a_few_a_day_and_the_photographer_hears_of_each(cast: Cast) -> None:
    for number in range(caps.PASSED_ON_A_DAY):
        invite.pass_on(f"Colleague {number}", f"c{number}@achterberg.example", cast.as_representation)
    with pytest.raises(Refused, match="today"):
        invite.pass_on("One More", "more@achterberg.example", cast.as_representation)
    assert not Invite.objects.filter(email="more@achterberg.example").exists()
    assert Letter.objects.filter(kind="passed", to=cast.owner.email).count() == caps.PASSED_ON_A_DAY
    invite.allow_pass_on(cast.representation, False, cast.as_owner)
    cast.representation.refresh_from_db()
    with pytest.raises(Refused, match="not allowed"):
        invite.pass_on("One More", "more@achterberg.example", cast.as_representation)


def test_a_sitting_has_so_many_and_no_more(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(caps, "PASSED_ON_A_DAY", 99)
    for number in range(caps.PASSED_ON_OPEN):
        invite.pass_on(f"Colleague {number}", f"c{number}@achterberg.example", cast.as_representation)
    with pytest.raises(Refused, match="share shortlists"):
        invite.pass_on("One More", "more@achterberg.example", cast.as_representation)


@pytest.mark.parametrize("name", ["Win at prize.example", "see http://x", "a@b", "www.prize", "Prize <b>"])
def test_a_name_for_somebody_else_carries_no_address(cast: Cast, name: str) -> None:
    with pytest.raises(BadInput):
        invite.pass_on(name, "c@achterberg.example", cast.as_representation)


@pytest.mark.parametrize("name", ["Zoë Œuvrard-Ångström", "J. R. Okafor", "李小龍", "Casting desk 2", "Anna St. Clair"])
def test_names_of_people_pass(cast: Cast, name: str) -> None:
    assert invite.pass_on(name, "c@achterberg.example", cast.as_representation).name == name


def test_words_of_somebody_invited_open_no_letter(cast: Cast) -> None:
    made = invite.pass_on("You Have Won Money", "c@achterberg.example", cast.as_representation)
    posting.send(made.letters.get().pk)
    body = mail.outbox[-1].body
    assert "You Have Won" not in body
    assert body.startswith("Hello,")
    assert "Ruben Achterberg shares a shortlist with you" in body


def test_uses_are_asked_for_a_few_times_a_day(cast: Cast) -> None:
    Sitting.objects.update(stage="finishing")
    cast.sitting.refresh_from_db()
    for number in range(caps.USES_A_DAY):
        usage.ask(cast.sitting, cast.as_subject, f"poster {number}")
    with pytest.raises(Refused, match="today"):
        usage.ask(cast.sitting, cast.as_subject, "one more")
    usage.ask(cast.sitting, cast.as_representation, "theirs is counted by itself")


def test_a_box_is_not_filled_with_sign_in_letters(cast: Cast) -> None:
    sent = [invite.mail_sign_in_link(cast.owner.email) for _ in range(caps.SIGN_IN_LETTERS_AN_HOUR + 3)]
    assert sent == [True] * caps.SIGN_IN_LETTERS_AN_HOUR + [False] * 3
    assert len(mail.outbox) == SignInLink.objects.count() == caps.SIGN_IN_LETTERS_AN_HOUR
    assert invite.mail_sign_in_link(cast.representation.email)


def test_consent_for_a_minor_is_asked_at_every_door(cast: Cast) -> None:
    """It had been asked at inviting only."""
    assert may(cast.as_subject, Act.SEE_SHEET, cast.sitting)
    Sitting.objects.update(subject_is_minor=True)
    cast.sitting.refresh_from_db()
    for who in (cast.as_subject, cast.as_representation, cast.as_recipient):
        assert not any(may(who, act, cast.sitting) for act in Act)
    assert may(cast.as_owner, Act.RUN, cast.sitting)
    page = cast.client_of(cast.subject).get(f"/s/{cast.sitting.slug}/sheet")
    assert page.status_code == 403
    assert "consent of a parent or guardian" in page.content.decode()
