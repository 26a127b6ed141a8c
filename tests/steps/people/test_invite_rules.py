"""Invites at their edges: who is let in by what name, until when, with whom they fall, and what a link opens."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core import mail

from galleries.errors import BadInput, Conflict, Missing, Refused
from galleries.models import Invite, InviteLink, JournalLine, Letter, SignInLink, Sitting
from galleries.steps.people import caps, letters, openings
from galleries.steps.people import invite as invites
from tests.cast import Cast, make_cast
from tests.steps.clock import MOMENT, Clock

pytestmark = pytest.mark.django_db
DAY, HOUR = timedelta(days=1), timedelta(hours=1)
ENDED = "revoked_at"


@pytest.fixture
def cast(clock: Clock) -> Cast:
    made = make_cast()
    Invite.objects.filter(pk=made.representation.pk).update(may_pass_on=True)
    made.representation.refresh_from_db()
    return made


def let_in(cast: Cast, **given: Any) -> Invite:
    words = {"role": "assistant", "name": "Ines Maro", "email": "ines@maro.example", **given}
    return invites.invite(
        cast.sitting, words.pop("role"), words.pop("name"), words.pop("email"), cast.as_owner, **words
    )


def lines() -> list[tuple[str, str, str]]:
    return list(JournalLine.objects.order_by("pk").values_list("verb", "who", "thing"))


def ends(person: Invite) -> Any:
    return Invite.objects.get(pk=person.pk).expires_at


# --- inviting ---


@pytest.mark.parametrize("role", Invite.Role.values)
def test_each_role_is_let_in_under_an_address_in_small_letters(cast: Cast, role: str) -> None:
    made = let_in(cast, role=role, email=" Ines@Maro.example ", language="es", may_pass_on=True)
    row = Invite.objects.get(pk=made.pk)
    assert (row.role, row.name, row.email, row.language) == (role, "Ines Maro", "ines@maro.example", "es")
    assert row.may_pass_on
    assert (row.passed_from, row.revoked_at, row.first_opened_at) == (None, None, None)
    assert lines() == [("invited", "Tamsin (photographer)", f"Ines Maro ({role})")]
    assert not Letter.objects.exists()


@pytest.mark.parametrize(("given", "days"), [({}, 60), ({"days": None}, 60), ({"days": 0}, 60), ({"days": 1}, 1)])
def test_an_invite_holds_as_long_as_the_site_says_or_as_is_asked(
    cast: Cast, clock: Clock, settings: Any, given: dict[str, Any], days: int
) -> None:
    settings.INVITE_DAYS = 60
    made = let_in(cast, **given)
    assert made.expires_at == clock.at + timedelta(days=days)
    clock.passes(timedelta(days=days) - MOMENT)
    assert made.holds()
    clock.passes(MOMENT)
    assert not made.holds()


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"name": "n" * 121}, "too long; 120"),
        ({"name": ""}, "Give a name"),
        ({"name": "\n\t "}, "Give a name"),
        ({"name": "Ines)"}, "without brackets"),
        ({"role": "photographer"}, "“photographer”; use one of subject, representation, assistant, recipient"),
        ({"role": ""}, "“”"),
        ({"email": ""}, "“” is not"),
        ({"email": "ines@maro"}, "“ines@maro” is not"),
        ({"email": "a@b.example, c@d.example"}, "is not an e-mail"),
        ({"email": "a@b.example\nBcc: c@d.example"}, "is not an e-mail"),
    ],
)
def test_who_cannot_be_invited(cast: Cast, given: dict[str, str], said: str) -> None:
    before = Invite.objects.count()
    with pytest.raises(BadInput, match=said):
        let_in(cast, by_letter=True, **given)
    assert (Invite.objects.count(), lines(), Letter.objects.count()) == (before, [], 0)


def test_a_name_may_fill_its_column(cast: Cast) -> None:
    assert len(let_in(cast, name="n" * 120).name) == 120


def test_one_address_is_invited_once_in_a_role_of_a_sitting(cast: Cast) -> None:
    there = make_cast("there")
    first = let_in(cast)
    with pytest.raises(Conflict, match="Ines Maro is invited already"):
        let_in(cast, email="INES@maro.example", by_letter=True)
    assert len(lines()) == 1
    assert not Letter.objects.exists()
    let_in(cast, role="recipient")  # another role
    let_in(there)  # another sitting
    invites.revoke(first, cast.as_owner)
    assert let_in(cast).pk != first.pk


def test_by_letter_is_one_transaction_with_it(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    made = let_in(cast, by_letter=True)
    letter = Letter.objects.get()
    assert (letter.kind, letter.to, letter.invite, letter.about) == ("invitation", made.email, made, f"{made.pk}-1")
    assert [verb for verb, _who, _thing in lines()] == ["invited", "letter"]

    def broken(*_words: Any) -> None:
        raise ArithmeticError

    monkeypatch.setattr(letters, "_list", broken)
    with pytest.raises(ArithmeticError):
        let_in(cast, role="recipient", by_letter=True)
    assert not Invite.objects.filter(role="recipient", email=made.email).exists()
    assert len(lines()) == 2


@pytest.mark.parametrize("verb", ["invite", "revoke", "prolong", "allow"])
def test_letting_in_is_the_photographers(cast: Cast, verb: str) -> None:
    there = make_cast("there")
    verbs: dict[str, Any] = {
        "invite": lambda by: invites.invite(cast.sitting, "assistant", "Ines", "ines@maro.example", by),
        "revoke": lambda by: invites.revoke(cast.recipient, by),
        "prolong": lambda by: invites.prolong(cast.recipient, 9, by),
        "allow": lambda by: invites.allow_pass_on(cast.recipient, True, by),
    }
    before = list(Invite.objects.order_by("pk").values())
    for by in (cast.as_subject, cast.as_representation, cast.as_recipient):
        with pytest.raises(Refused, match="photographer's to do"):
            verbs[verb](by)
    for by in (there.as_owner, there.as_subject):
        with pytest.raises(Missing):
            verbs[verb](by)
    assert list(Invite.objects.order_by("pk").values()) == before
    assert lines() == []


# --- shutting, prolonging ---


def test_with_an_invite_fall_those_passed_on_from_it_and_no_others(cast: Cast, clock: Clock) -> None:
    passed = invites.pass_on("Pia Sorn", "pia@achterberg.example", cast.as_representation)
    earlier = invites.pass_on("Jo Sorn", "jo@achterberg.example", cast.as_representation)
    invites.revoke(earlier, cast.as_owner)
    at, change = clock.at, Sitting.objects.get().change
    clock.passes(HOUR)
    invites.revoke(cast.representation, cast.as_owner)
    revoked = dict(Invite.objects.values_list("pk", ENDED))
    assert revoked == {
        cast.subject.pk: None, cast.recipient.pk: None, cast.representation.pk: clock.at, passed.pk: clock.at,
        earlier.pk: at,  # since then, and not since now
    }  # fmt: skip
    assert lines()[-1] == ("invite revoked", "Tamsin (photographer)", "Ruben Achterberg (representation)")
    assert Sitting.objects.get().change > change  # open pages hear of it
    clock.passes(HOUR)
    invites.revoke(Invite.objects.get(pk=cast.representation.pk), cast.as_owner)
    assert dict(Invite.objects.values_list("pk", ENDED)) == revoked


def test_prolonged_it_holds_from_today_on_and_others_as_before(cast: Cast, clock: Clock) -> None:
    before = ends(cast.subject)
    clock.passes(40 * DAY)
    assert not cast.recipient.holds()
    invites.prolong(cast.recipient, 5, cast.as_owner)
    assert ends(cast.recipient) == clock.at + 5 * DAY
    assert ends(cast.subject) == before
    line = JournalLine.objects.get()
    assert (line.verb, line.thing) == ("invite prolonged", "Casting desk (recipient of the delivery)")
    assert line.detail == {"days": 5}
    invites.prolong(cast.recipient, 1, cast.as_owner)  # and shortened
    assert ends(cast.recipient) == clock.at + DAY


def test_a_revoked_invite_is_not_opened_by_prolonging(cast: Cast) -> None:
    token = invites.new_link(cast.recipient).rpartition("/")[2]
    invites.revoke(cast.recipient, cast.as_owner)
    invites.prolong(cast.recipient, 90, cast.as_owner)
    assert not Invite.objects.get(pk=cast.recipient.pk).holds()
    with pytest.raises(Missing):
        openings.open_link(token, "a browser")


@pytest.mark.parametrize(("allowed", "verb"), [(True, "passing on allowed"), (False, "passing on stopped")])
def test_leave_to_pass_on_is_given_to_one(cast: Cast, allowed: bool, verb: str) -> None:
    Invite.objects.update(may_pass_on=not allowed)
    invites.allow_pass_on(cast.representation, allowed, cast.as_owner)
    assert list(Invite.objects.filter(may_pass_on=allowed)) == [cast.representation]
    assert lines() == [(verb, "Tamsin (photographer)", "Ruben Achterberg (representation)")]


# --- passing on ---


def test_who_is_let_in_by_another_ends_with_them_and_speaks_their_language(cast: Cast, clock: Clock) -> None:
    Invite.objects.filter(pk=cast.representation.pk).update(language="de", expires_at=clock.at + 3 * DAY)
    cast.representation.refresh_from_db()
    made = invites.pass_on(" Pia  Sorn ", "PIA@achterberg.example", cast.as_representation)
    row = Invite.objects.get(pk=made.pk)
    assert (row.name, row.email, row.role) == ("Pia Sorn", "pia@achterberg.example", "representation")
    assert (row.language, row.expires_at, row.passed_from) == ("de", clock.at + 3 * DAY, cast.representation)
    assert not row.may_pass_on
    assert made.passed_from == cast.representation
    who = "Ruben Achterberg (representation)"
    assert lines() == [("invited", who, "Pia Sorn (representation)"), ("letter", who, "invitation to Pia Sorn")]
    listed = Letter.objects.order_by("pk").values_list("kind", "to", "about")
    assert list(listed) == [
        ("invitation", "pia@achterberg.example", f"{made.pk}-1"),
        ("passed", "tamsin@northlight.example", f"invite-{made.pk}"),
    ]


def test_who_was_let_in_lets_in_for_the_same_voice(cast: Cast) -> None:
    """Counted together: a chain of invites is one voice, and falls with its first."""
    pia = invites.pass_on("Pia Sorn", "pia@achterberg.example", cast.as_representation)
    invites.allow_pass_on(pia, True, cast.as_owner)
    pia = Invite.objects.select_related("sitting", "passed_from").get(pk=pia.pk)
    jo = invites.pass_on("Jo Sorn", "jo@achterberg.example", type(cast.as_owner)(invite=pia))
    assert jo.passed_from == cast.representation
    invites.pass_on("Kim Sorn", "kim@achterberg.example", cast.as_representation)
    with pytest.raises(Refused, match="3 people today"):
        invites.pass_on("Lo Sorn", "lo@achterberg.example", cast.as_representation)
    invites.revoke(cast.representation, cast.as_owner)
    assert [one for one in Invite.objects.all() if one.holds()] == [cast.subject, cast.recipient]


@pytest.mark.parametrize("who", ["owner", "subject", "recipient", "nobody"])
def test_only_a_representation_passes_on(cast: Cast, who: str) -> None:
    Invite.objects.update(may_pass_on=True)
    for one in (cast.subject, cast.recipient):
        one.refresh_from_db()
    by = {"owner": cast.as_owner, "subject": cast.as_subject, "recipient": cast.as_recipient}.get(
        who, type(cast.as_owner)()
    )
    with pytest.raises(Refused, match="not allowed"):
        invites.pass_on("Pia Sorn", "pia@achterberg.example", by)
    assert lines() == []


def test_passing_on_to_oneself_or_again_is_refused_whole(cast: Cast) -> None:
    for name, address in (("Ruben Achterberg", "ruben@achterberg.example"), ("Pia Sorn", "pia@achterberg.example")) * 2:
        if Invite.objects.filter(email=address).exists():
            before = lines(), Letter.objects.count(), Invite.objects.count()
            with pytest.raises(Conflict, match="has it sent again on the page"):  # an agent sends no link
                invites.pass_on(name, address, cast.as_representation)
            assert (lines(), Letter.objects.count(), Invite.objects.count()) == before
        else:
            invites.pass_on(name, address, cast.as_representation)


def test_a_day_later_more_may_be_let_in_and_the_sittings_room_is_of_who_holds(
    cast: Cast, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = [
        invites.pass_on(f"Colleague {'ABC'[n]}", f"c{n}@achterberg.example", cast.as_representation)
        for n in range(caps.PASSED_ON_A_DAY)
    ]
    clock.passes(DAY - MOMENT)
    with pytest.raises(Refused, match="today"):
        caps.passing_on(cast.representation)
    clock.passes(MOMENT)
    caps.passing_on(cast.representation)
    monkeypatch.setattr(caps, "PASSED_ON_OPEN", 3)
    with pytest.raises(Refused, match="3 people share"):
        caps.passing_on(cast.representation)
    there = make_cast("there")
    caps.passing_on(there.representation)  # a sitting by itself
    invites.revoke(made[0], cast.as_owner)
    caps.passing_on(cast.representation)


# --- links ---


def test_a_link_opens_until_its_invite_ends(cast: Cast, clock: Clock) -> None:
    token = invites.new_link(cast.subject).rpartition("/")[2]
    clock.at = cast.subject.expires_at - MOMENT
    assert openings.open_link(token, "a browser") == cast.subject
    clock.passes(MOMENT)
    with pytest.raises(Missing):
        openings.open_link(token, "a browser")


def test_a_link_of_who_was_let_in_by_another_ends_with_the_other(cast: Cast) -> None:
    passed = invites.pass_on("Pia Sorn", "pia@achterberg.example", cast.as_representation)
    token = invites.new_link(passed).rpartition("/")[2]
    openings.open_link(token, "a browser")
    Invite.objects.filter(pk=cast.representation.pk).update(expires_at=cast.sitting.created_at)
    with pytest.raises(Missing):
        openings.open_link(token, "a browser")


def test_a_link_in_vain_is_no_use_of_it(cast: Cast) -> None:
    token = invites.new_link(cast.subject).rpartition("/")[2]
    invites.revoke(cast.subject, cast.as_owner)
    with pytest.raises(Missing):
        openings.open_link(token, "a browser")
    assert InviteLink.objects.get().last_used_at is None
    assert Invite.objects.get(pk=cast.subject.pk).first_opened_at is None


# --- the studio's way in ---


@pytest.mark.parametrize(("given", "minutes"), [({}, 30), ({"minutes": 5}, 5)])
def test_a_sign_in_link_lasts_its_minutes_and_opens_once(
    cast: Cast, clock: Clock, given: dict[str, int], minutes: int
) -> None:
    first, second = (invites.sign_in_link(email="Ruben@Achterberg.example", **given) for _ in range(2))
    clock.passes(timedelta(minutes=minutes) - MOMENT)
    used = invites.use_sign_in_link(first.rpartition("/")[2])
    assert (used.email, used.user, used.used_at) == ("ruben@achterberg.example", None, clock.at)
    assert SignInLink.objects.filter(used_at=None).count() == 1
    clock.passes(MOMENT)
    with pytest.raises(Missing, match="too old"):
        invites.use_sign_in_link(second.rpartition("/")[2])
    assert SignInLink.objects.filter(used_at=None).count() == 1


@pytest.mark.parametrize("gone", ["inactive", "another address", "two alike"])
def test_a_way_in_goes_to_the_active_user_with_exactly_that_address(cast: Cast, gone: str) -> None:
    owner = User.objects.filter(pk=cast.owner.pk)
    if gone == "inactive":
        owner.update(is_active=False)
    elif gone == "another address":
        owner.update(email="tamsın@northlight.example")  # a letter that some databases take for an I
    else:
        User.objects.create_user("second", "Tamsin@northlight.example")
    assert invites.mail_sign_in_link("TAMSIN@northlight.example") == (gone == "two alike")
    assert len(mail.outbox) == int(gone == "two alike")
    if mail.outbox:
        assert SignInLink.objects.get().user == cast.owner  # the first of them
        assert mail.outbox[0].to == ["tamsin@northlight.example"]


def test_the_cap_of_an_address_lasts_an_hour_and_is_its_own(cast: Cast, clock: Clock) -> None:
    for _time in range(caps.SIGN_IN_LETTERS_AN_HOUR):
        assert invites.mail_sign_in_link(cast.owner.email)
    clock.passes(HOUR - MOMENT)
    assert not invites.mail_sign_in_link(cast.owner.email)
    assert invites.mail_sign_in_link(cast.representation.email)
    clock.passes(MOMENT)
    assert invites.mail_sign_in_link(cast.owner.email)


def test_a_letter_that_does_not_go_takes_its_own_link_back_and_no_other(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert invites.mail_sign_in_link(cast.owner.email)
    monkeypatch.setattr("django.core.mail.EmailMessage.send", lambda *_a, **_k: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        invites.mail_sign_in_link(cast.owner.email)
    token = mail.outbox[0].body.split("/in/")[1].split()[0]
    assert SignInLink.objects.count() == 1
    assert invites.use_sign_in_link(token).user == cast.owner


def test_so_many_sign_in_letters_go_out_in_an_hour_and_no_more(
    cast: Cast, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(caps, "SIGN_IN_LETTERS_IN_ALL", 3)
    for number in range(3):
        assert caps.sign_in_letter_allowed("new@elsewhere.example")
        invites.sign_in_link(email=f"n{number}@elsewhere.example", sent_to=f"n{number}@elsewhere.example")
    assert not caps.sign_in_letter_allowed("new@elsewhere.example")
    clock.passes(HOUR)
    assert caps.sign_in_letter_allowed("new@elsewhere.example")


def test_a_desk_is_of_open_invites_as_representation_in_order_of_title(cast: Cast) -> None:
    late, early = make_cast("late"), make_cast("early")
    Sitting.objects.filter(pk=late.sitting.pk).update(title="Zoe")
    Sitting.objects.filter(pk=early.sitting.pk).update(title="Ada")
    invites.invite(late.sitting, "assistant", "Ruben", "ruben@achterberg.example", late.as_owner)
    desk = invites.invites_of("Ruben@Achterberg.example")
    assert desk == [early.representation, cast.representation, late.representation]
    passed = invites.pass_on("Pia Sorn", "pia@achterberg.example", cast.as_representation)
    assert invites.invites_of("pia@achterberg.example") == [passed]
    invites.revoke(early.representation, early.as_owner)
    Invite.objects.filter(pk=cast.representation.pk).update(expires_at=cast.sitting.created_at)
    assert invites.invites_of("ruben@achterberg.example") == [late.representation]
    assert invites.invites_of("pia@achterberg.example") == []
    assert not invites.mail_sign_in_link("pia@achterberg.example")
