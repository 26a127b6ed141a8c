"""The licence: composed, numbered, accepted; uses beyond it; receipts of what was fetched."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from django.utils import timezone

from galleries.access import Visitor
from galleries.errors import BadInput, Conflict, Missing, Refused
from galleries.models import Acceptance, DeliveredFile, Delivery, Invite, JournalLine, Letter, Sitting, UsageRequest
from galleries.papers.terms import LicenceTerms
from galleries.steps.delivering import licences, offer, receipts, usage
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    return make_cast(stage=Sitting.Stage.FINISHING)


def test_the_draft_knows_the_sitting_and_stands(cast: Cast) -> None:
    terms = licences.draft(cast.sitting)
    assert terms.problems() == []
    assert (terms.photographer, terms.subject, terms.representation) == (
        "Tamsin Okonedo-Vale", "Ansa Veld", "Ruben Achterberg"
    )  # fmt: skip
    assert terms.model_release == "MR-NON"  # a release is claimed only by a person who read it
    assert terms.data_mining == "DMI-PROHIBITED"


def test_a_minor_needs_the_guardian_in_the_licence(cast: Cast) -> None:
    cast.sitting.subject_is_minor = True
    with pytest.raises(BadInput, match="guardian"):
        licences.compose(cast.sitting, licences.draft(cast.sitting), cast.as_owner)
    cast.sitting.guardian_name = "Ilse Veld"
    cast.sitting.guardian_consent_on = date(2026, 5, 2)
    licence = licences.compose(cast.sitting, licences.draft(cast.sitting), cast.as_owner)
    assert "Ilse Veld consented as parent or guardian" in licence.text


def test_wordings_are_numbered_and_never_edited(cast: Cast) -> None:
    one = licences.compose(cast.sitting, licences.draft(cast.sitting), cast.as_owner)
    changed = replace(licences.draft(cast.sitting), territory="Europe")
    two = licences.compose(cast.sitting, changed, cast.as_owner)
    assert (one.number, two.number) == (1, 2)
    one.refresh_from_db()
    assert "worldwide" in one.text
    assert "Territory: Europe." in two.text.splitlines()
    assert licences.current(cast.sitting) == two
    back = licences.terms_of(two)
    assert isinstance(back, LicenceTerms)
    assert back == replace(changed, version=2)
    assert two.text.splitlines() == back.sentences()


def test_terms_that_contradict_themselves_are_named(cast: Cast) -> None:
    bad = replace(licences.draft(cast.sitting), uses=(), ends=date(1999, 1, 1))
    with pytest.raises(BadInput, match=r"no use at all.*ends on"):
        licences.compose(cast.sitting, bad, cast.as_owner)
    assert not cast.sitting.licences.exists()
    with pytest.raises(Refused):
        licences.compose(cast.sitting, licences.draft(cast.sitting), cast.as_subject)


def test_accepted_by_name_once_by_each(cast: Cast) -> None:
    licence = licences.compose(cast.sitting, licences.draft(cast.sitting), cast.as_owner)
    with pytest.raises(BadInput, match="name"):
        licences.accept(licence, cast.as_subject, "  ")
    with pytest.raises(Refused):
        licences.accept(licence, cast.as_owner, "Ansa Veld")
    first = licences.accept(licence, cast.as_subject, " Ansa  Veld ")
    assert first.name == "Ansa Veld"
    assert licences.accept(licence, cast.as_subject, "Somebody else") == first
    assert Acceptance.objects.get().name == "Ansa Veld"
    assert licences.has_accepted(licence, cast.subject)
    assert not licences.has_accepted(licence, cast.recipient)
    newer = licences.compose(cast.sitting, licences.draft(cast.sitting), cast.as_owner)
    assert not licences.has_accepted(newer, cast.subject)


def test_a_use_is_asked_for_and_granted_by_an_addendum(cast: Cast) -> None:
    licence = licences.compose(cast.sitting, licences.draft(cast.sitting), cast.as_owner)
    licences.accept(licence, cast.as_subject, "Ansa Veld")
    asked = usage.ask(cast.sitting, cast.as_subject, "poster", "for the spring season")
    assert Letter.objects.filter(kind="usage", to=cast.owner.email).count() == 1
    with pytest.raises(Refused):
        usage.grant(asked, cast.as_subject)
    addendum = usage.grant(asked, cast.as_owner, until=date(2999, 6, 30), note="one production")
    asked.refresh_from_db()
    assert (asked.state, asked.addendum) == (UsageRequest.State.GRANTED, addendum)
    assert addendum.addendum_to == licence
    assert addendum.text.splitlines()[-1].startswith("Addendum of ")
    assert "posters and paid publicity of a production, allowed until 30 June 2999" in addendum.text
    assert licence.text.splitlines()[0] in addendum.text
    assert licences.has_accepted(addendum, cast.subject)
    with pytest.raises(Conflict, match="answered already"):
        usage.refuse(asked, cast.as_owner, "no")
    second = usage.grant(usage.ask(cast.sitting, cast.as_subject, "book"), cast.as_owner)
    assert second.addendum_to == licence
    assert len(licences.terms_of(second).addenda) == 2


def test_what_is_allowed_already_is_not_asked_for(cast: Cast) -> None:
    licences.compose(cast.sitting, licences.draft(cast.sitting), cast.as_owner)
    with pytest.raises(Conflict, match="allows that already, so there"):
        usage.ask(cast.sitting, cast.as_subject, "casting")
    usage.grant(usage.ask(cast.sitting, cast.as_subject, "poster"), cast.as_owner, until=date(2999, 6, 30))
    with pytest.raises(Conflict, match=r"already, until 30 June 2999"):
        usage.ask(cast.sitting, cast.as_recipient, "poster")
    assert UsageRequest.objects.count() == 1


def test_a_use_in_own_words_needs_one_of_the_trades(cast: Cast) -> None:
    asked = usage.ask(cast.sitting, cast.as_recipient, "a banner over the market square")
    with pytest.raises(BadInput, match="no licence"):
        usage.grant(asked, cast.as_owner)
    licences.compose(cast.sitting, licences.draft(cast.sitting), cast.as_owner)
    with pytest.raises(BadInput, match="banner"):
        usage.grant(asked, cast.as_owner)
    assert usage.grant(asked, cast.as_owner, ["advertising"]).number == 2


def test_a_use_is_not_granted_until_a_day_that_is_past(cast: Cast) -> None:
    licences.compose(cast.sitting, licences.draft(cast.sitting), cast.as_owner)
    asked, today = usage.ask(cast.sitting, cast.as_subject, "poster"), timezone.localdate()
    with pytest.raises(BadInput, match="day is past"):
        usage.grant(asked, cast.as_owner, until=today - timedelta(days=1))
    asked.refresh_from_db()
    assert (asked.state, asked.addendum) == (UsageRequest.State.ASKED, None)
    assert usage.grant(asked, cast.as_owner, until=today).number == 2


def test_a_use_is_refused_with_a_reason(cast: Cast) -> None:
    asked = usage.ask(cast.sitting, cast.as_representation, "merchandise")
    with pytest.raises(BadInput, match="why"):
        usage.refuse(asked, cast.as_owner, "")
    usage.refuse(asked, cast.as_owner, "Not for goods; a poster would be possible.")
    assert asked.state == UsageRequest.State.REFUSED
    assert "poster" in asked.answer
    for visitor in (cast.as_owner, Visitor(user=cast.stranger), Visitor()):
        with pytest.raises((Refused, Missing)):
            usage.ask(cast.sitting, visitor, "poster")
    with pytest.raises(BadInput):
        usage.ask(cast.sitting, cast.as_subject, " ")


# --- receipts ---


@pytest.fixture
def delivery(cast: Cast) -> Delivery:
    licence = licences.compose(cast.sitting, licences.draft(cast.sitting), cast.as_owner)
    made = Delivery.objects.create(
        sitting=cast.sitting, number=1, licence=licence, sizes={}, archive_name="all.zip", archive_bytes=1000
    )
    DeliveredFile.objects.create(delivery=made, size_slug="x", name="one.jpg", key="k", sha256="0" * 64, bytes=500)
    return made


def test_a_resumed_fetch_is_one_receipt(cast: Cast, delivery: Delivery) -> None:
    receipts.record(delivery, cast.subject, "Ansa Veld", "all.zip", 399)
    receipt = receipts.record(delivery, cast.subject, "Ansa Veld", "all.zip", 700, start=False)
    assert (receipt.fetches, receipt.last_byte, receipts.complete(receipt)) == (1, 700, False)
    receipt = receipts.record(delivery, cast.subject, "Ansa Veld", "all.zip", 999, start=False)
    assert receipts.complete(receipt)
    receipt = receipts.record(delivery, cast.subject, "Ansa Veld", "all.zip", 10)
    assert (receipt.fetches, receipt.last_byte) == (2, 999)
    assert JournalLine.objects.filter(verb="fetched").count() == 2
    other = receipts.record(delivery, cast.recipient, "Casting desk", "one.jpg", 499)
    assert receipts.complete(other)
    assert delivery.receipts.count() == 2


def test_the_journal_says_what_somebody_invited_is_who_fetched(cast: Cast, delivery: Delivery) -> None:
    """As every other line of theirs: else one person stands twice among those it can be read by."""
    licences.accept(delivery.licence, cast.as_recipient, "Casting desk")
    for _time in range(2):
        receipts.record(delivery, cast.recipient, cast.recipient.name, "one.jpg", 5)
    assert len(set(cast.sitting.journal.filter(who__startswith=cast.recipient.name).values_list("who", flat=True))) == 1
    assert {one.who for one in cast.sitting.journal.filter(verb="fetched")} == {cast.as_recipient.who}


def test_receipts_without_an_invite_are_kept_apart_by_name(cast: Cast, delivery: Delivery) -> None:
    receipts.record(delivery, None, "Tamsin Okonedo", "all.zip", 5)
    receipts.record(delivery, None, "A colleague", "all.zip", 5)
    receipts.record(delivery, None, "A colleague", "all.zip", 5)
    assert sorted(delivery.receipts.values_list("who", "fetches")) == [("A colleague", 2), ("Tamsin Okonedo", 1)]
    assert Invite.objects.count() == 3


@pytest.mark.parametrize("state", [Delivery.State.READY, Delivery.State.WITHDRAWN])
def test_a_delivery_is_offered_again_for_some_days_or_without_end_and_no_other_with_it(cast: Cast, state: str) -> None:
    licence = cast.sitting.licences.create(number=1, terms={}, text="")
    one, other = (cast.sitting.deliveries.create(number=n, licence=licence, sizes={}, state=state) for n in (1, 2))
    for days in (-1, offer.MOST_DAYS + 1):
        with pytest.raises(BadInput, match="1 to 3650 days"):
            offer.offer_again(one, cast.as_owner, days)
    one.refresh_from_db()
    assert (one.state, one.expires_at) == (state, None)
    for days in (1, offer.MOST_DAYS):
        before = timezone.now()
        offer.offer_again(one, cast.as_owner, days)
        assert one.expires_at is not None
        assert timedelta() <= one.expires_at - before - timedelta(days=days) < timedelta(hours=12)
    for endless in (0, None):
        offer.offer_again(one, cast.as_owner, 3)
        offer.offer_again(one, cast.as_owner, endless)
        assert (one.state, one.expires_at) == (Delivery.State.READY, None)
    other.refresh_from_db()
    assert (other.state, other.expires_at) == (state, None)
