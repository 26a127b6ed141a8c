"""What is due: by day across sittings, whom each waits for, and the reminder."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from galleries.models import JournalLine, Letter, Sitting
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db

AT = reverse("studio-due")


@pytest.fixture
def cast() -> Cast:
    cast = make_cast()
    Sitting.objects.update(deadline=date(2026, 1, 2))
    cast.sitting.refresh_from_db()
    return cast


def remind(cast: Cast) -> str:
    return reverse("studio-remind", args=[cast.sitting.slug])


def test_overdue_first_then_by_day_with_whom_it_waits_for(cast: Cast) -> None:
    beside, foreign = make_cast("beside"), make_cast("foreign")
    soon = timezone.now().date() + timedelta(days=3)
    Sitting.objects.filter(pk=beside.sitting.pk).update(photographer=cast.owner, deadline=soon, keep_until=soon)
    Sitting.objects.filter(pk=foreign.sitting.pk).update(deadline=soon, title="Somebody else's")
    beside.subject.picks_done_at = timezone.now()
    beside.subject.save()
    page = cast.client_of(cast.owner).get(AT)
    assert [row["due"].sitting.pk for row in page.context["late"]] == [cast.sitting.pk]
    assert page.context["late"][0]["who"] == "Ansa Veld and Ruben Achterberg"
    ((day, rows),) = page.context["days"]
    assert day == soon
    assert [(row["due"].what, row["who"]) for row in rows] == [("picks", "Ruben Achterberg"), ("removal", "")]
    body = page.content.decode()
    assert "Somebody else" not in body
    assert reverse("studio-lists", args=[beside.sitting.slug]) in body
    assert reverse("studio-keeping", args=[beside.sitting.slug]) in body
    assert reverse("studio-deadlines") in body
    assert AT in cast.client_of(cast.owner).get(reverse("studio")).content.decode()


def test_a_reminder_goes_to_whoever_is_waited_for_once_a_day(cast: Cast) -> None:
    cast.subject.picks_done_at = timezone.now()
    cast.subject.save()
    client = cast.client_of(cast.owner)
    assert client.post(remind(cast), {"what": "picks"}).url == AT
    letter = Letter.objects.get()
    assert (letter.kind, letter.to) == ("reminder", cast.representation.email)
    assert JournalLine.objects.filter(verb="letter", thing="letter to Ruben Achterberg").count() == 1
    again = client.post(remind(cast), {"what": "picks"})
    assert again.status_code == 409
    assert "reminded today already" in again.content.decode()
    assert Letter.objects.count() == 1
    assert client.post(remind(cast), {"what": "removal"}).status_code == 400
    assert client.post(remind(cast), {"what": "answers"}).status_code == 409
    assert client.get(remind(cast)).status_code == 405


def test_nobody_else_sees_it_or_reminds(cast: Cast) -> None:
    for person in (cast.subject, cast.representation, cast.recipient, None):
        assert cast.client_of(person).get(AT).status_code == 302  # to the door
        assert cast.client_of(person).post(remind(cast), {"what": "picks"}).status_code == 302
    assert "Ansa Veld" not in cast.client_of(cast.stranger).get(AT).content.decode()
    assert cast.client_of(cast.stranger).post(remind(cast), {"what": "picks"}).status_code == 404
    assert cast.client_of(cast.owner).post(AT).status_code == 405
    assert not Letter.objects.exists()


def test_an_invite_that_ended_is_not_waited_for(cast: Cast) -> None:
    cast.sitting.invites.update(revoked_at=timezone.now())
    page = cast.client_of(cast.owner).get(AT)
    assert page.context["late"] == []
    assert cast.client_of(cast.owner).post(remind(cast), {"what": "picks"}).status_code == 409
