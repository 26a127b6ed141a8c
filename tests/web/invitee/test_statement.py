"""What people read of extra finals before a list is closed, and after: each side, and nobody else."""

from __future__ import annotations

import json
import re

import pytest
from django.urls import reverse

from galleries.models import Invite, Sitting
from galleries.steps.agreeing import extras
from tests.cast import LANGUAGE, Cast, body_of, make_cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    cast = make_cast()
    for number in range(1, 6):
        frame = cast.frame(number)
        for person in (cast.subject, cast.representation):
            person.marks.create(frame=frame, kind="pick", acted_at=cast.sitting.created_at)
    extras.set_own(
        cast.sitting, cast.as_owner, "own", unit=4000, currency="EUR", tax_rate=19000, payer="representation"
    )
    return cast


def at(cast: Cast, name: str, *args: object) -> str:
    return reverse(name, args=[cast.sitting.slug, *args])


def read(cast: Cast, person: Invite | None, name: str) -> str:
    return body_of(cast.client_of(person).get(at(cast, name))).decode()


def ask(cast: Cast, **more: object) -> dict[str, object]:
    return {"frame": [frame.pk for frame in cast.sitting.frames.all()], **more}


def assistant(cast: Cast) -> Invite:
    return Invite.objects.create(
        sitting=cast.sitting, role="assistant", name="A", email="a@b.example", expires_at=cast.subject.expires_at
    )


def test_both_sides_read_the_price_before_the_list_is_closed_and_nobody_else(cast: Cast) -> None:
    for person in (cast.subject, cast.representation):
        sheet = read(cast, person, "sheet")
        assert "EUR\xa040.00" in sheet
        assert "19 % tax is in it" in sheet
        state = cast.client_of(person).get(at(cast, "marks")).json()
        assert state["extra"]["unit"] == "4000"
    other = assistant(cast)
    assert "40.00" not in read(cast, other, "sheet")
    assert cast.client_of(other).get(at(cast, "marks")).json()["extra"] is None


def test_the_agent_sees_the_sum_before_the_button_and_is_asked_again_when_it_changed(cast: Cast) -> None:
    client = cast.client_of(cast.representation)
    words = json.loads(
        re.search(r'id="words" type="application/json">(.*?)</script>', read(cast, cast.representation, "lists"))[1]
    )  # type: ignore[index]
    assert words["extra"]["unit"] == "4000"
    asking = client.post(at(cast, "lists"), ask(cast)).content.decode()
    assert "2 finals beyond the allowance: EUR\xa080.00." in asking
    assert "The studio asks the representation" in asking
    assert re.search(r"0005</b>\s+on both lists", asking)
    seen = re.search(r'name="seen" value="(\w+)"', asking)[1]  # type: ignore[index]
    Sitting.objects.update(allowance=2)
    again = client.post(at(cast, "lists"), ask(cast, sure="1", seen=seen))
    assert again.status_code == 409
    body = again.content.decode()
    assert "3 finals beyond the allowance: EUR\xa0120.00." in body
    assert not cast.sitting.finals.exists()
    fresh = re.search(r'name="seen" value="(\w+)"', body)[1]  # type: ignore[index]
    assert client.post(at(cast, "lists"), ask(cast, sure="1", seen=fresh)).status_code == 302
    assert cast.sitting.statements.get().sheet.due == 12000


def closed(cast: Cast) -> None:
    token = extras.quote(cast.sitting).token
    cast.client_of(cast.representation).post(at(cast, "lists"), ask(cast, sure="1", seen=token))
    assert cast.sitting.statements.count() == 1


def test_who_is_asked_to_pay_reads_it_and_the_other_side_that_there_are_extras(cast: Cast) -> None:
    closed(cast)
    theirs = read(cast, cast.representation, "statement")
    assert "EUR\xa080.00" in theirs
    assert "on both lists" in theirs
    others = read(cast, cast.subject, "statement")
    assert "2 of 5 finals are beyond the allowance." in others
    for word in ("80", "40.00", "EUR", "Statement", "paid"):
        assert (
            word
            not in re.sub(r"<[^>]+>", " ", others.partition("<main")[2].partition("</main>")[0]).partition("Language")[
                0
            ]
        )
    for kind in ("pdf", "csv", "json"):
        assert cast.client_of(cast.representation).get(at(cast, "statement-file", 1, kind)).status_code == 200
        assert cast.client_of(cast.subject).get(at(cast, "statement-file", 1, kind)).status_code == 404
    for person in (cast.recipient, assistant(cast), None, make_cast("beside").representation):
        client = cast.client_of(person)
        assert client.get(at(cast, "statement")).status_code in {403, 404}
        assert client.get(at(cast, "statement-file", 1, "csv")).status_code in {403, 404}
        assert client.post(at(cast, "statement")).status_code in {403, 404, 405}


@pytest.mark.parametrize(
    ("language", "amount"), [("de", "80,00\xa0EUR"), ("es", "80,00\xa0EUR"), ("en", "EUR\xa080.00")]
)
def test_amounts_stand_as_the_reader_s_language_writes_them(cast: Cast, language: str, amount: str) -> None:
    closed(cast)
    client = cast.client_of(cast.representation)
    client.cookies[LANGUAGE] = language
    assert amount in client.get(at(cast, "statement")).content.decode()


def test_the_letter_to_who_is_asked_to_pay_says_what_is_owed(cast: Cast) -> None:
    from galleries.models import Letter
    from galleries.steps.people import posting

    closed(cast)
    texts = {
        one.to: posting.written(posting.message(one, "l"))
        for one in Letter.objects.filter(kind="closed", invite__isnull=False)
    }
    assert "statement 1 over EUR\xa080.00" in texts[cast.representation.email]
    assert "EUR\xa0" not in texts[cast.subject.email]
