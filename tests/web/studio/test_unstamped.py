"""The studio judges its pictures without the stamp, wherever they stand; nobody else reaches one of them."""

from __future__ import annotations

import re

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from galleries.models import Final, Proof, Sitting
from tests.cast import Cast

pytestmark = pytest.mark.django_db
STAMPED, UNSTAMPED = "/files/proof/", re.compile(r"/files/view/[0-9]+\.jpg(?:\?of=desk)?")
PAGES = ["studio", "studio-sitting", "studio-lists", "studio-finals", "studio-set-news", "studio-desk-data"]


@pytest.fixture
def final(cast: Cast) -> Final:
    """A final whose frame has a proof and whose retouch waits to be sent."""
    look = cast.look()
    final = cast.final(look=look)
    Proof.objects.create(
        frame=final.frame, recipe="p", large_key="l", large_width=2, large_height=3,
        small_key="s", small_width=2, small_height=3,
    )  # fmt: skip
    final.versions.create(number=1, key="k", name="v.jpg", sha256="e" * 64, bytes=1, width=2, height=3, proof_key="p")
    return final


def picture_addresses(cast: Cast, client: Client, final: Final) -> set[str]:
    names = [reverse(name, args=[] if name == "studio" else [cast.sitting.slug]) for name in PAGES]
    names += [reverse("studio-as-it-is", args=[cast.sitting.slug, final.pk])]
    names += [reverse("studio-send-retouches", args=[cast.sitting.slug])]
    seen: set[str] = set()
    for stage in (Sitting.Stage.PROOFING, Sitting.Stage.FINISHING):
        Sitting.objects.filter(pk=cast.sitting.pk).update(stage=stage)
        for name in names:
            page = client.get(name, headers={"accept": "text/html"})
            assert page.status_code == 200, name
            text = page.content.decode()
            assert STAMPED not in text, f"a stamped picture stands on {name} ({stage})"
            assert UNSTAMPED.search(text) or "view.jpg" in text or (name.endswith("/lists") and stage == "proofing"), (
                name
            )
            seen |= set(UNSTAMPED.findall(text))
    return seen


def test_no_page_of_the_studio_shows_it_a_stamp(cast: Cast, client: Client, final: Final) -> None:
    cast.subject.marks.create(frame=final.frame, kind="pick", acted_at=timezone.now())
    assert len(picture_addresses(cast, client, final)) == 2  # one frame: as the desk draws it, and large


def test_nobody_but_the_sittings_own_photographers_reaches_them(cast: Cast, client: Client, final: Final) -> None:
    cast.sitting.colleagues.add(cast.colleague)
    others = [cast.subject, cast.representation, cast.recipient, cast.retoucher(), cast.stranger, None]
    addresses = picture_addresses(cast, client, final)
    version = final.versions.get()
    addresses |= {reverse("studio-version-view", args=[cast.sitting.slug, version.pk])}
    for address in addresses:  # the door of the studio's own pages says to everybody: sign in
        for one in others:
            answer = cast.client_of(one).get(address)
            assert answer.status_code in {302, 404}, (one, address)
            assert answer.status_code == 404 or "/sign-in" in answer["Location"], (one, address)
