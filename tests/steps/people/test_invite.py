"""Letting people in."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.core import mail
from django.utils import timezone, translation

from galleries.errors import BadInput, Conflict, Missing, Refused
from galleries.models import Invite, InviteLink, SignInLink
from galleries.steps.people import invite as invites
from galleries.steps.people import openings
from tests.cast import make_cast

pytestmark = pytest.mark.django_db


def token_of(address: str) -> str:
    return address.rsplit("/", 1)[1]


def test_only_a_hash_of_the_token_is_kept_and_it_has_128_bits_or_more():
    cast = make_cast()
    token = token_of(invites.new_link(cast.subject))
    # RFC 4648 base64url carries 6 bits a character.
    assert len(token) * 6 >= 128
    link = InviteLink.objects.get()
    assert token not in str(link.__dict__)
    assert openings.open_link(token, "a browser") == cast.subject
    cast.subject.refresh_from_db()
    assert cast.subject.first_opened_at is not None


def test_a_second_link_does_not_shut_the_first():
    cast = make_cast()
    first, second = (token_of(invites.new_link(cast.subject)) for _ in range(2))
    assert openings.open_link(first, "a browser") == openings.open_link(second, "a browser") == cast.subject


def test_the_first_opening_of_an_invite_is_kept_and_each_use_of_its_link():
    cast = make_cast()
    first, second = (token_of(invites.new_link(cast.subject)) for _ in range(2))
    openings.open_link(first, "a browser")
    opened = Invite.objects.get(pk=cast.subject.pk).first_opened_at
    assert list(Invite.objects.exclude(first_opened_at=None)) == [cast.subject]
    assert InviteLink.objects.exclude(last_used_at=None).get().token_hash == invites.hash_of(first)
    openings.open_link(second, "a browser")
    assert Invite.objects.get(pk=cast.subject.pk).first_opened_at == opened
    assert not InviteLink.objects.filter(last_used_at=None).exists()


@pytest.mark.parametrize("shut", ["unknown", "revoked", "expired"])
def test_a_link_that_does_not_work_says_the_same_whatever_the_reason(shut):
    cast = make_cast()
    token = token_of(invites.new_link(cast.subject))
    if shut == "unknown":
        token = token[:-1] + ("A" if token[-1] != "A" else "B")
    elif shut == "revoked":
        invites.revoke(cast.subject, cast.as_owner)
    else:
        Invite.objects.update(expires_at=timezone.now() - timedelta(seconds=1))
    with pytest.raises(Missing, match="does not work any more"):
        openings.open_link(token, "a browser")


def test_bad_invitations_are_named():
    cast = make_cast()
    with pytest.raises(BadInput, match="name"):
        invites.invite(cast.sitting, "subject", " ", "a@b.example", cast.as_owner)
    with pytest.raises(BadInput, match="“director”"):
        invites.invite(cast.sitting, "director", "Ines", "a@b.example", cast.as_owner)
    with pytest.raises(BadInput, match="“nowhere”"):
        invites.invite(cast.sitting, "subject", "Ines", "nowhere", cast.as_owner)
    with pytest.raises(Conflict, match="invited already"):
        invites.invite(cast.sitting, "subject", "Ansa", "ANSA@veld.example", cast.as_owner)


def test_a_revoked_person_can_be_invited_again_and_marks_stay_apart():
    cast = make_cast()
    invites.revoke(cast.subject, cast.as_owner)
    again = invites.invite(cast.sitting, "subject", "Ansa", "ansa@veld.example", cast.as_owner)
    assert again.pk != cast.subject.pk


def test_a_minor_needs_a_recorded_consent_before_anybody_is_invited():
    cast = make_cast()
    cast.sitting.subject_is_minor = True
    with pytest.raises(Refused, match="parent or guardian"):
        invites.invite(cast.sitting, "assistant", "Ines", "ines@maro.example", cast.as_owner)
    cast.sitting.guardian_consent_on = date(2026, 5, 1)
    with pytest.raises(Refused, match="parent or guardian"):
        invites.invite(cast.sitting, "assistant", "Ines", "ines@maro.example", cast.as_owner)
    cast.sitting.guardian_name = "Mirre Veld"
    assert invites.invite(cast.sitting, "assistant", "Ines", "ines@maro.example", cast.as_owner).pk


def test_passing_on_needs_leave_and_shares_one_shortlist():
    cast = make_cast()
    with pytest.raises(Refused, match="not allowed"):
        invites.pass_on("Pia Sorn", "pia@achterberg.example", cast.as_representation)
    invites.allow_pass_on(cast.representation, True, cast.as_owner)
    cast.representation.refresh_from_db()
    passed = invites.pass_on("Pia Sorn", "pia@achterberg.example", cast.as_representation)
    assert passed.voice == cast.representation
    invites.revoke(cast.representation, cast.as_owner)
    passed.refresh_from_db()
    assert not passed.holds()


def test_a_sign_in_link_works_once_and_not_for_long():
    cast = make_cast()
    token = token_of(invites.sign_in_link(user=cast.owner))
    assert invites.use_sign_in_link(token).user == cast.owner
    with pytest.raises(Missing, match="used already"):
        invites.use_sign_in_link(token)
    late = token_of(invites.sign_in_link(user=cast.owner))
    SignInLink.objects.update(expires_at=timezone.now())
    with pytest.raises(Missing, match="too old"):
        invites.use_sign_in_link(late)


def test_a_sign_in_letter_goes_to_those_who_have_something_here_and_to_nobody_else():
    cast = make_cast()
    assert invites.mail_sign_in_link("Tamsin@northlight.example")
    assert invites.mail_sign_in_link("ruben@achterberg.example")
    assert not invites.mail_sign_in_link("ansa@veld.example")  # a subject has their own link
    assert not invites.mail_sign_in_link("nobody@elsewhere.example")
    assert not invites.mail_sign_in_link("")
    assert [message.to for message in mail.outbox] == [
        ["Tamsin@northlight.example".lower()],
        ["ruben@achterberg.example"],
    ]
    assert all("/in/" in message.body for message in mail.outbox)
    assert invites.invites_of("RUBEN@achterberg.example") == [cast.representation]
    with translation.override("de"):
        invites.mail_sign_in_link("ruben@achterberg.example")
    assert mail.outbox[-1].extra_headers["Content-Language"] == "de"
