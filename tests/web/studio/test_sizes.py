"""Delivery sizes are added, changed, copied and retired by whoever may sign in; nobody else sees them."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from galleries.models import DeliverySize
from galleries.steps.delivering import sizes
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db

FORM = {
    "slug": "desk-3x4",
    "title": "Desk portrait 3:4",
    "use": "casting",
    "width": 900,
    "height": 1200,
    "ppi": 72,
    "bleed": 0,
    "border": 0,
    "safe": 0,
    "byte_cap": 800000,
    "file_format": "JPEG",
    "bits": 8,
    "profile": "sRGB",
    "min_ppi": 0,
    "quality": 90,
    "source": "the desk's own page",
    "source_kind": "studio",
    "checked_on": "2026-03-04",
}


@pytest.fixture
def cast() -> Cast:
    sizes.load()
    return make_cast()


def test_sizes_say_where_they_come_from(cast: Cast) -> None:
    page = cast.client_of(cast.owner).get(reverse("studio-sizes")).content.decode()
    assert "ISO 216" in page
    assert page.count('<th scope="row">') == DeliverySize.objects.count()
    for client in (Client(), cast.client_of(cast.subject)):
        assert client.get(reverse("studio-sizes")).status_code == 302


def test_a_size_is_added_and_one_that_contradicts_itself_is_not(cast: Cast) -> None:
    client = cast.client_of(cast.owner)
    assert client.post(reverse("studio-size-new"), FORM).status_code == 302
    made = DeliverySize.objects.get(slug="desk-3x4")
    assert made.position == max(DeliverySize.objects.values_list("position", flat=True))
    bad = client.post(reverse("studio-size-new"), {**FORM, "slug": "x", "bits": 16})
    assert bad.status_code == 400
    assert "16 bits are not possible in a JPEG file" in bad.content.decode()
    assert client.post(reverse("studio-size-new"), {**FORM, "slug": "y", "source": ""}).status_code == 400
    changed = client.post(reverse("studio-size", args=[made.pk]), {**FORM, "width": 960, "height": 1280})
    assert changed.status_code == 302
    made.refresh_from_db()
    assert made.width == 960


def test_a_size_is_copied_retired_and_offered_again(cast: Cast) -> None:
    client = cast.client_of(cast.owner)
    size = DeliverySize.objects.get(slug="casting-4x5")
    answer = client.post(reverse("studio-size-copy", args=[size.pk]), {"title": "My desk 4:5"})
    copy = DeliverySize.objects.get(slug="my-desk-45")
    assert answer.headers["Location"] == reverse("studio-size", args=[copy.pk])
    assert (copy.width, copy.source_kind) == (size.width, "studio")
    assert client.post(reverse("studio-size-copy", args=[size.pk]), {"title": "My desk 4:5"}).status_code == 400
    client.post(reverse("studio-size-retire", args=[size.pk]))
    assert size not in sizes.offered()
    client.post(reverse("studio-size-retire", args=[size.pk]), {"retired": "0"})
    assert size in sizes.offered()
    assert client.get(reverse("studio-size", args=[99999])).status_code == 404
    assert client.get(reverse("studio-size-retire", args=[size.pk])).status_code == 405
