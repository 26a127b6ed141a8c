"""The studio's pages of extra finals: the price, typed as people type it, the statements, paid and not paid."""

from __future__ import annotations

import pytest
from django import forms
from django.test.html import parse_html
from django.urls import reverse

from galleries.models import ExtraTerms
from galleries.papers.money import Price
from galleries.steps.agreeing import agree, extras
from galleries.web.studio.extra_forms import LongSelect
from tests.cast import LANGUAGE, Cast, make_cast

pytestmark = pytest.mark.django_db

OWN = {"source": "own", "amount": "40,50", "currency": "EUR", "tax": "top", "rate": "9.975", "payer": "representation"}


@pytest.fixture
def cast() -> Cast:
    return make_cast()


def page(cast: Cast) -> str:
    return reverse("studio-extras", args=[cast.sitting.slug])


def test_the_price_of_a_sitting_is_set_and_read_back(cast: Cast) -> None:
    client = cast.client_of(cast.owner)
    assert client.post(page(cast), {**OWN, "waits_for_paid": "on"}).status_code == 302
    quoted = extras.quote(cast.sitting)
    assert quoted.price == Price(4050, "EUR", 9975, False)
    assert (quoted.payer, quoted.waits) == ("representation", True)
    client.cookies[LANGUAGE] = "de"
    shown = client.get(page(cast)).content.decode()
    assert 'value="40,50"' in shown
    assert 'value="9,975"' in shown
    assert "40,50\xa0EUR" in shown


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"amount": "1.250"}, "is not a number with at most 2 decimals"), ({"amount": "x"}, "is not a number"),
        ({"amount": "1.5", "currency": "JPY"}, "at most 0 decimals"), ({"currency": "XXX"}, "Currency"),
        ({"currency": ""}, "Choose the currency"), ({"rate": ""}, "Write the rate"), ({"rate": "101"}, "0 and 100"),
        ({"payer": "recipient"}, "Who is asked"), ({"source": "gift"}, "Which price"),
        ({"amount": ""}, "above nothing"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_said_on_the_page_with_what_was_typed(cast: Cast, more: dict[str, str], words: str) -> None:
    answer = cast.client_of(cast.owner).post(page(cast), {**OWN, **more})
    assert answer.status_code == 400
    shown = answer.content.decode()
    assert words in shown
    assert f'value="{ {**OWN, **more}["amount"] }"' in shown
    assert not ExtraTerms.objects.exists()


def test_the_usual_price_is_the_head_s(cast: Cast) -> None:
    at, values = reverse("studio-own-extras"), {"amount": "5000", "currency": "JPY", "tax": "none", "payer": "subject"}
    assert cast.client_of(cast.owner).post(at, values).status_code == 302
    assert extras.quote(cast.sitting).price == Price(5000, "JPY")
    assert 'value="5000"' in cast.client_of(cast.owner).get(reverse("studio-own")).content.decode()
    assert cast.client_of(cast.colleague).post(at, values).status_code == 403
    assert cast.client_of(None).post(at, values).status_code == 302
    assert "JPY\xa05,000" in cast.client_of(cast.colleague).get(reverse("studio-own")).content.decode()


def test_a_list_closed_by_the_studio_asks_again_when_the_price_changed(cast: Cast) -> None:
    frames = [cast.frame(n) for n in range(1, 6)]
    for frame in frames:
        cast.subject.marks.create(frame=frame, kind="pick", acted_at=cast.sitting.created_at)
    extras.set_own(cast.sitting, cast.as_owner, "own", unit=4000, currency="EUR")
    client, at = cast.client_of(cast.owner), reverse("studio-close", args=[cast.sitting.slug])
    lists = client.get(reverse("studio-lists", args=[cast.sitting.slug])).content.decode()
    seen = extras.quote(cast.sitting).token
    assert f'name="seen" value="{seen}"' in lists
    extras.set_own(cast.sitting, cast.as_owner, "own", unit=4100, currency="EUR")
    wanted = {"frame": [frame.pk for frame in frames[:4]]}
    answer = client.post(at, {**wanted, "seen": seen})
    assert answer.status_code == 409
    again = answer.content.decode()
    assert "changed while this page was open" in again
    assert "EUR\xa041.00" in again
    assert again.count(" checked") >= 4  # what was ticked stays
    fresh = extras.quote(cast.sitting).token
    assert f'value="{fresh}"' in again
    assert client.post(at, {**wanted, "seen": fresh}).status_code == 302
    assert cast.sitting.statements.get().sheet.sum.total == 4100


def test_paid_is_said_and_taken_back_on_the_page(cast: Cast) -> None:
    extras.set_own(cast.sitting, cast.as_owner, "own", unit=4000, currency="EUR")
    agree.close(cast.sitting, [cast.frame(n).pk for n in range(1, 6)], cast.as_owner, extras.quote(cast.sitting).token)
    client, at = cast.client_of(cast.owner), reverse("studio-extras-paid", args=[cast.sitting.slug])
    assert "see whether statement 1 is paid" in client.get(reverse("studio")).content.decode()
    assert client.get(at).status_code == 405
    assert client.post(at, {"number": "2", "do": "paid"}).status_code == 404
    assert client.post(at, {"number": "1", "do": "gift"}).status_code == 400
    assert client.post(at, {"number": "1", "do": "paid"}, follow=True).status_code == 200
    assert cast.sitting.statements.get().paid_at is not None
    assert client.post(at, {"number": "1", "do": "paid"}).status_code == 409
    assert client.post(at, {"number": "1", "do": "unpaid"}).status_code == 302
    assert cast.sitting.statements.get().paid_at is None
    for person in (cast.subject, cast.representation, cast.stranger, None):
        assert cast.client_of(person).post(at, {"number": "1", "do": "paid"}).status_code in {302, 403, 404}
    assert cast.sitting.statements.get().paid_at is None


def test_the_files_of_a_statement(cast: Cast) -> None:
    extras.set_own(cast.sitting, cast.as_owner, "own", unit=4000, currency="EUR")
    agree.close(cast.sitting, [cast.frame(n).pk for n in range(1, 6)], cast.as_owner, extras.quote(cast.sitting).token)
    client = cast.client_of(cast.owner)
    for kind, start in (("pdf", b"%PDF"), ("csv", b"statement,issued"), ("json", b"{")):
        answer = client.get(reverse("studio-statement-file", args=[cast.sitting.slug, 1, kind]))
        assert answer.status_code == 200
        assert answer.content.startswith(start)
        assert answer["Cache-Control"] == "private, no-store"
    assert client.get(reverse("studio-statement-file", args=[cast.sitting.slug, 1, "exe"])).status_code == 404
    assert client.get(reverse("studio-statement-file", args=[cast.sitting.slug, 9, "pdf"])).status_code == 404
    assert client.get(reverse("studio-statement-file", args=[cast.sitting.slug, 10**30, "pdf"])).status_code == 404


def test_another_currency_than_something_was_paid_in_is_asked_for(cast: Cast) -> None:
    client = cast.client_of(cast.owner)
    client.post(page(cast), OWN)
    assert "Another currency all the same" not in client.get(page(cast)).content.decode(), "nothing was paid"
    frames = [cast.frame(n).pk for n in range(1, 6)]
    agree.close(cast.sitting, frames, cast.as_owner, extras.quote(cast.sitting).token)
    client.post(reverse("studio-extras-paid", args=[cast.sitting.slug]), {"number": "1", "do": "paid"})
    cast.sitting.refresh_from_db()
    agree.reopen(cast.sitting, cast.as_owner, "one more")
    answer = client.post(page(cast), {**OWN, "currency": "GBP"})
    assert answer.status_code == 409
    text = answer.content.decode()
    assert "was paid already. A statement in GBP does not count it" in text
    assert "Another currency all the same" in text
    assert '<option value="GBP" selected' in text, "what was typed stays"
    assert client.post(page(cast), {**OWN, "currency": "GBP", "other_currency": "on"}).status_code == 302
    for address in (page(cast), reverse("studio-lists", args=[cast.sitting.slug])):
        assert "A statement in GBP does not count it" in client.get(address).content.decode(), address
    for person in (cast.subject, cast.representation):
        other = cast.client_of(person).get(reverse("lists", args=[cast.sitting.slug])).content.decode()
        assert "was paid already" not in other


def test_a_long_select_is_the_one_that_django_writes() -> None:
    attrs, choices = {"id": "a", "required": True}, [("", "–"), ("EUR", "EUR"), ('"<&', "'<&")]
    for value in ("", "EUR", '"<&', "none of them"):
        written = LongSelect(choices=choices).render("currency", value, attrs)
        assert parse_html(written) == parse_html(forms.Select(choices=choices).render("currency", value, attrs))
