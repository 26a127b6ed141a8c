"""Check, then send: nobody hears of a retouch or a delivery before the photographer has looked."""

from __future__ import annotations

import pytest
from django.urls import reverse
from django.utils import timezone

from galleries.errors import BadInput, Conflict, Refused
from galleries.models import Final, Letter, Sitting, Version
from galleries.steps.finishing import approvals, sending
from galleries.web.studio.waiting import waiting_in
from tests.cast import Cast, make_cast
from tests.web.invitee.sheets import proved

pytestmark = pytest.mark.django_db
S = Final.State


@pytest.fixture
def cast() -> Cast:
    return make_cast(stage="finishing", send_at_once=False)


def final(cast: Cast, number: int, state: str = S.AGREED) -> Final:
    return Final.objects.create(
        sitting=cast.sitting, frame=proved(cast, number, cast.look()), round=cast.sitting.rounds.get(), state=state
    )


def version(one: Final, number: int = 1, *, sent: bool = False) -> Version:
    return Version.objects.create(
        final=one, number=number, sha256=f"{one.pk:032x}{number:032x}", key="k", name=f"v{number}.jpg", bytes=1,
        width=4000, height=6000, proof_key=f"sittings/x/proof/{one.pk}-{number}.jpg",
        sent_at=timezone.now() if sent else None,
    )  # fmt: skip


def letters() -> list[tuple[str, str]]:
    return list(Letter.objects.values_list("kind", "to"))


def test_two_retouches_go_out_with_one_letter_each_person(cast: Cast) -> None:
    made = [version(final(cast, number)) for number in (1, 2)]
    assert sending.waiting(cast.sitting) == made
    assert letters() == []
    assert sending.send(cast.sitting, [one.pk for one in made], cast.as_owner) == 2
    assert letters() == [("retouch", "ansa@veld.example")]
    assert {one.state for one in Final.objects.all()} == {S.SHOWN}
    assert sending.waiting(cast.sitting) == []
    with pytest.raises(BadInput, match="wait to be sent"):
        sending.send(cast.sitting, [made[0].pk], cast.as_owner)


@pytest.mark.parametrize("who", ["as_subject", "as_representation", "as_recipient"])
def test_nobody_invited_sees_or_sends_what_was_not_sent(cast: Cast, who: str) -> None:
    made = version(final(cast, 1))
    with pytest.raises(Refused):
        sending.send(cast.sitting, [made.pk], getattr(cast, who))
    person = getattr(cast, who).invite
    slug, client = cast.sitting.slug, cast.client_of(person)
    assert client.get(reverse("version-picture", args=[slug, made.pk])).status_code in {403, 404}
    page = client.get(reverse("final", args=[slug, made.final_id])).content.decode()
    assert reverse("version-picture", args=[slug, made.pk]) not in page
    post = {"do": "approve", "version": made.pk, "sha256": made.sha256}
    assert client.post(reverse("final", args=[slug, made.final_id]), post).status_code in {403, 404}
    assert client.post(reverse("studio-send-retouches", args=[slug]), {"version": made.pk}).status_code in {
        302,
        403,
        404,
    }
    assert Version.objects.get().sent_at is None


def test_a_version_without_its_proof_cannot_have_been_looked_at(cast: Cast) -> None:
    made = version(final(cast, 1))
    Version.objects.update(proof_key="")
    with pytest.raises(BadInput, match="still being made"):
        sending.send(cast.sitting, [made.pk], cast.as_owner)


def test_what_would_take_an_approval_back_is_asked_and_kept_on_record(cast: Cast) -> None:
    one = final(cast, 1, S.SHOWN)
    old = version(one, sent=True)
    approvals.approve(old, cast.as_subject, old.sha256)
    new = version(one, 2)
    with pytest.raises(Conflict, match="takes that back"):
        sending.send(cast.sitting, [new.pk], cast.as_owner)
    one.refresh_from_db()
    assert one.state == S.APPROVED
    page = cast.client_of(cast.owner).get(reverse("studio-send-retouches", args=[cast.sitting.slug])).content.decode()
    assert "Sending this version takes that back" in page
    sending.send(cast.sitting, [new.pk], cast.as_owner, setting_aside=[new.pk])
    one.refresh_from_db()
    assert one.state == S.SHOWN
    assert old.approvals.count() == 1


def test_as_it_is_beside_an_approved_retouch_asks_and_can_be_taken_back(cast: Cast) -> None:
    """One press replaced an approved retouch by the unretouched frame, with no way back."""
    one = final(cast, 1, S.SHOWN)
    made = version(one, sent=True)
    approvals.approve(made, cast.as_subject, made.sha256)
    client, address = cast.client_of(cast.owner), reverse("studio-as-it-is", args=[cast.sitting.slug, one.pk])
    assert client.post(address).status_code == 409
    one.refresh_from_db()
    assert one.state == S.APPROVED
    asked = client.get(address).content.decode()
    assert "What is lost" in asked
    assert "Ansa Veld: approved" in asked
    client.post(address, {"setting_aside": made.sha256})
    one.refresh_from_db()
    assert one.state == S.AS_IT_IS
    client.post(address, {"do": "back"})
    one.refresh_from_db()
    assert one.state == S.APPROVED
    assert cast.client_of(cast.subject).post(address, {"do": "back"}).status_code in {302, 403, 404}


@pytest.mark.parametrize(("said", "state"), [("", S.SHOWN), ("approve", S.APPROVED), ("send_back", S.RETURNED)])
def test_taking_as_it_is_back_brings_every_word_into_force_again(cast: Cast, said: str, state: str) -> None:
    one = final(cast, 1, S.SHOWN)
    made = version(one, sent=True)
    if said == "approve":
        approvals.approve(made, cast.as_subject, made.sha256)
    elif said:
        approvals.send_back(made, cast.as_subject, "Softer, please.")
    one.refresh_from_db()
    approvals.deliver_as_it_is(one, cast.as_owner, setting_aside=made.sha256)
    version(one, 2)  # came in meanwhile, and nobody but the studio knows of it
    assert approvals.take_back(one, cast.as_owner).state == state
    with pytest.raises(Conflict):
        approvals.take_back(one, cast.as_owner)
    with pytest.raises(Refused):
        approvals.take_back(one, cast.as_subject)


def test_what_waits_is_the_photographers(cast: Cast) -> None:
    version(final(cast, 1))
    said = [one.what for one in waiting_in(cast.sitting)]
    assert "look at 1 retouch, then send it" in said


def test_approving_goes_on_while_a_final_of_the_list_is_open(cast: Cast) -> None:
    """A partial delivery had moved the sitting to 'delivered', where the subject was locked out of two open finals."""
    one = final(cast, 1, S.SHOWN)
    made = version(one, sent=True)
    final(cast, 2, S.APPROVED)
    Sitting.objects.update(stage="delivered")
    cast.sitting.refresh_from_db()
    made.refresh_from_db()
    client = cast.client_of(cast.subject)
    page = client.get(reverse("final", args=[cast.sitting.slug, one.pk])).content.decode()
    assert 'value="approve"' in page
    assert any("0001" in line.what or "retouch" in line.what for line in waiting_in(cast.sitting))
    assert approvals.approve(Version.objects.get(pk=made.pk), cast.as_subject, made.sha256).state == S.APPROVED
    with pytest.raises(Refused):
        approvals.send_back(Version.objects.get(pk=made.pk), cast.as_subject, "Now it is over.")
