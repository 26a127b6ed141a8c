"""The papers of a delivery by themselves: the licence with who accepted it, the page for the lab; uses in words.

Outside reader: pdftotext and pdfinfo (Poppler).
"""

from __future__ import annotations

import json
import subprocess
from datetime import date
from pathlib import Path

import pytest
from django.test import Client
from django.urls import reverse

from galleries.models import Delivery, DeliverySize, JournalLine, Letter
from galleries.steps import jobs
from galleries.steps.delivering import licences, offer, orders, sizes, usage
from galleries.steps.finishing import approvals
from tests import painted
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    return make_cast()


def delivered(cast: Cast, slug: str) -> Delivery:
    sizes.load()
    for final in painted.finals_of(cast, 1):
        approvals.deliver_as_it_is(final, cast.as_owner)
    licence = licences.compose(cast.sitting, licences.draft(cast.sitting), cast.as_owner)
    made = orders.prepare(cast.sitting, [DeliverySize.objects.get(slug=slug)], licence, cast.as_owner)
    jobs.run_waiting(cast.sitting, kinds=["delivery"])
    made.refresh_from_db()
    assert made.state == Delivery.State.READY, offer.problem_of(made)
    return made


def fetched(client: Client, cast: Cast, made: Delivery, name: str, view: str = "delivery-paper") -> bytes:
    answer = client.get(reverse(view, args=[cast.sitting.slug, made.pk, name]))
    assert answer.status_code == 200, answer.content
    return answer.content


def text_of(data: bytes, folder: Path) -> tuple[str, int]:
    """The words and the number of pages of a PDF."""
    path = folder / "paper.pdf"
    path.write_bytes(data)
    words = subprocess.run(["pdftotext", "-layout", path, "-"], check=True, capture_output=True, text=True).stdout
    about = subprocess.run(["pdfinfo", path], check=True, capture_output=True, text=True).stdout
    return " ".join(words.split()), int(about.split("Pages:")[1].split()[0])


def test_the_lab_gets_its_page_and_the_licence_says_who_accepted(cast: Cast, tmp_path: Path) -> None:
    made, client = delivered(cast, "full"), cast.client_of(cast.subject)
    at = reverse("delivery-paper", args=[cast.sitting.slug, made.pk, "print-release.pdf"])
    assert client.get(at).status_code == 403  # the licence comes first, as for the pictures
    licences.accept(made.licence, cast.as_subject, "Ansa Veld-Okonjo")
    page = client.get(reverse("delivery", args=[cast.sitting.slug])).content.decode()
    assert at in page
    words, pages = text_of(fetched(client, cast, made, "print-release.pdf"), tmp_path)
    assert pages == 1
    assert "Ansa Veld" in words
    words, _pages = text_of(fetched(client, cast, made, "licence.pdf"), tmp_path)
    assert "Ansa Veld-Okonjo" in words
    assert json.loads(fetched(client, cast, made, "licence.json"))["terms"]["subject"] == "Ansa Veld"
    assert JournalLine.objects.filter(verb="paper fetched").count() == 3
    studio = cast.client_of(cast.owner)
    assert fetched(studio, cast, made, "print-release.pdf", "studio-delivery-paper")[:5] == b"%PDF-"


def test_the_licence_on_paper_is_the_one_that_holds_with_what_was_allowed_since(cast: Cast, tmp_path: Path) -> None:
    made, client = delivered(cast, "casting-4x5-small"), cast.client_of(cast.subject)
    licences.accept(made.licence, cast.as_subject, "Ansa Veld")
    before, _pages = text_of(fetched(client, cast, made, "licence.pdf"), tmp_path)
    assert "asked for first" in before
    request = usage.ask(cast.sitting, cast.as_subject, "poster", "One poster for the spring production.")
    added = usage.grant(request, cast.as_owner, until=date(2999, 6, 30))
    since, _pages = text_of(fetched(client, cast, made, "licence.pdf"), tmp_path)
    assert f"version {added.number}" in since
    assert "30 June 2999" in since
    assert f"Ansa Veld accepted version {made.licence.number}" in since, "what was accepted is still said"
    assert json.loads(fetched(client, cast, made, "licence.json"))["terms"]["addenda"]


@pytest.mark.parametrize("name", ["print-release.pdf", "manifest.json", "../licence.pdf", "x"])
def test_there_is_no_paper_that_the_delivery_does_not_hold(cast: Cast, name: str) -> None:
    made, client = delivered(cast, "casting-4x5-small"), cast.client_of(cast.subject)
    licences.accept(made.licence, cast.as_subject, "Ansa Veld")
    address = reverse("delivery-paper", args=[cast.sitting.slug, made.pk, "licence.pdf"])
    assert client.get(address.replace("licence.pdf", name)).status_code == 404
    assert "print-release" not in client.get(reverse("delivery", args=[cast.sitting.slug])).content.decode()


def test_a_recipient_who_is_nobody_of_this_sitting_gets_no_paper(cast: Cast) -> None:
    made, other = delivered(cast, "full"), make_cast("elsewhere")
    for person in (other.subject, other.owner, None):
        answer = cast.client_of(person).get(reverse("delivery-paper", args=[cast.sitting.slug, made.pk, "licence.pdf"]))
        assert answer.status_code in {302, 404}


def test_who_asked_for_a_use_gets_the_answer_by_letter_and_in_words(cast: Cast) -> None:
    delivered(cast, "casting-4x5-small")
    first = usage.ask(cast.sitting, cast.as_subject, "poster")
    second = usage.ask(cast.sitting, cast.as_representation, "a banner over the market square")
    assert (
        "posters and paid publicity"
        in (cast.client_of(cast.subject).get(reverse("delivery", args=[cast.sitting.slug])).content.decode())
        .split('id="use-title"')[1]
        .split("<details")[0]
    )
    assert not Letter.objects.filter(kind="usage", invite__isnull=False).exists()
    usage.grant(first, cast.as_owner)
    assert Letter.objects.get(kind="usage", to=cast.subject.email).invite == cast.subject
    usage.refuse(second, cast.as_owner, "Not in the open.")
    assert Letter.objects.get(kind="usage", to=cast.representation.email).invite == cast.representation
