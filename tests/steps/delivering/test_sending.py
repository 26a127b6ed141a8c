"""A delivery waits for the photographer's look; one that holds only some finals does not end the finishing."""

from __future__ import annotations

import pytest
from django.urls import reverse

from galleries.errors import Conflict, Refused
from galleries.models import Delivery, DeliverySize, Letter, Sitting
from galleries.steps import jobs
from galleries.steps.delivering import licences, offer, orders, sizes
from galleries.steps.finishing import approvals
from galleries.web.studio.waiting import waiting_in
from tests import painted
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db
D = Delivery.State


@pytest.fixture
def cast() -> Cast:
    cast = make_cast()
    Sitting.objects.update(send_at_once=False)
    cast.sitting.refresh_from_db()
    return cast


def deliver(cast: Cast, ready: int, **options: object) -> Delivery:
    """Two finals on the list, `ready` of them to go out as they were taken, in one small size."""
    sizes.load()
    finals = list(cast.sitting.finals.all()) or painted.finals_of(cast)
    for final in finals[:ready]:
        if not final.is_ready:
            approvals.deliver_as_it_is(final, cast.as_owner)
    licence = licences.current(cast.sitting) or licences.compose(
        cast.sitting, licences.draft(cast.sitting), cast.as_owner
    )
    wanted = list(DeliverySize.objects.filter(slug="web-square"))
    made = orders.prepare(cast.sitting, wanted, licence, cast.as_owner, **options)
    jobs.run_waiting(cast.sitting, kinds=["delivery"])
    made.refresh_from_db()
    cast.sitting.refresh_from_db()
    return made


def letters() -> list[str]:
    return list(Letter.objects.filter(kind="delivery").order_by("to").values_list("to", flat=True))


def test_nobody_hears_of_a_delivery_before_the_photographer_has_looked(cast: Cast) -> None:
    made = deliver(cast, 2)
    assert made.state == D.MADE
    assert letters() == []
    for person in (cast.as_subject, cast.as_representation, cast.as_recipient):
        licences.accept(made.licence, person, "Somebody")
        with pytest.raises(Refused, match="still being made"):
            offer.check_fetch(made, person)
        with pytest.raises(Refused):
            offer.send(made, person)
        page = cast.client_of(person.invite).get(reverse("delivery", args=[cast.sitting.slug])).content.decode()
        assert "Delivery 1" not in page
    offer.check_fetch(made, cast.as_owner)  # the studio looks at its own files
    assert "look at the delivery, then send it" in [one.what for one in waiting_in(cast.sitting)]
    client = cast.client_of(cast.owner)
    client.post(reverse("studio-delivery-change", args=[cast.sitting.slug, made.pk]), {"do": "send"})
    made.refresh_from_db()
    cast.sitting.refresh_from_db()
    assert (made.state, cast.sitting.stage) == (D.READY, Sitting.Stage.DELIVERED)
    assert letters() == ["ansa@veld.example", "desk@elsewhere.example", "ruben@achterberg.example"]
    offer.check_fetch(made, cast.as_subject)
    with pytest.raises(Conflict):
        offer.send(made, cast.as_owner)


def test_a_partial_delivery_says_so_and_finishing_goes_on(cast: Cast) -> None:
    offer.send(deliver(cast, 1, partial=True), cast.as_owner)
    cast.sitting.refresh_from_db()
    assert cast.sitting.stage == Sitting.Stage.FINISHING
    open_one = cast.sitting.finals.undelivered().get()
    label = open_one.frame.label
    slug = cast.sitting.slug
    page = cast.client_of(cast.subject).get(reverse("delivery", args=[slug])).content.decode()
    assert f"1 of 2 finals is still being finished ({label})" in page
    page = cast.client_of(cast.owner).get(reverse("studio-delivery", args=[slug])).content.decode()
    assert f"1 of 2 finals is not delivered yet ({label})" in page
    assert "retouch 1 frame" in [one.what for one in waiting_in(cast.sitting)]
    approvals.deliver_as_it_is(open_one, cast.as_owner)
    assert "deliver 1 more final" in [one.what for one in waiting_in(cast.sitting)]
    offer.send(deliver(cast, 2, changed_only=True), cast.as_owner)
    cast.sitting.refresh_from_db()
    assert cast.sitting.stage == Sitting.Stage.DELIVERED
    assert not cast.sitting.finals.undelivered().exists()


def test_where_the_sitting_says_so_it_goes_out_at_once(cast: Cast) -> None:
    Sitting.objects.update(send_at_once=True)
    cast.sitting.refresh_from_db()
    assert deliver(cast, 2).state == D.READY
    assert len(letters()) == 3


def test_one_withdrawn_before_anybody_saw_it_goes_out_as_any_other(cast: Cast) -> None:
    made = deliver(cast, 2)
    offer.withdraw(made, cast.as_owner)
    assert letters() == []
    offer.offer_again(made, cast.as_owner, 30)
    cast.sitting.refresh_from_db()
    assert (made.state, cast.sitting.stage) == (D.READY, Sitting.Stage.DELIVERED)
    assert made.ready_at is not None, "its page says of which day it is"
    assert len(letters()) == 3


def test_one_that_is_offered_again_completes_a_delivery_and_is_told_once(cast: Cast) -> None:
    first = deliver(cast, 1, partial=True)
    offer.send(first, cast.as_owner)
    second = deliver(cast, 2, changed_only=True)
    offer.withdraw(first, cast.as_owner)
    offer.send(second, cast.as_owner)
    assert Sitting.objects.get().stage == Sitting.Stage.FINISHING, "the first one's final is nobody's"
    offer.offer_again(first, cast.as_owner, 30)
    assert Sitting.objects.get().stage == Sitting.Stage.DELIVERED
    assert len(letters()) == 6, "one of each delivery to each"
