"""The plan, sharing inside an agency, the agent's desk, the language of a page, and the wording of letters."""

from __future__ import annotations

import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import translation

from galleries.models import Invite, Job, Letter, PlanComment, ReferencePicture, Sitting, Studio
from galleries.steps.people import letters, posting
from tests.cast import LANGUAGE, Cast, make_cast
from tests.web.invitee.sheets import picture

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    made = make_cast()
    Sitting.objects.update(stage="planning")
    made.sitting.refresh_from_db()
    return made


def test_the_plan_is_read_and_talked_about(cast: Cast) -> None:
    look = cast.look("Linen shirt", wardrobe="sand linen", key_light="window, north", gel="1/4 CTO")
    client, address = cast.client_of(cast.subject), reverse("plan", args=[cast.sitting.slug])
    page = client.get(address).content.decode()
    for words in ("Linen shirt", "sand linen", "window, north", "1/4 CTO", "Finals included"):
        assert words in page
    assert "The plan for Ansa" not in page, "nobody reads of himself as of somebody else"
    assert client.post(address, {"look": look.pk, "text": "Sleeves up?"}).status_code == 302
    assert client.post(address, {"look": "", "text": "<script>alert(1)</script>"}).status_code == 302
    assert client.post(address, {"text": " "}).status_code == 400
    assert client.post(address, {"look": "999999", "text": "x"}).status_code == 404
    page = cast.client_of(cast.representation).get(address).content.decode()
    assert "Sleeves up?" in page
    assert "The plan for Ansa Veld" in page
    assert "<script>alert" not in page
    assert PlanComment.objects.filter(look=look, who="Ansa Veld").count() == 1


def test_references_are_brought_seen_and_taken_away_by_their_bringer(cast: Cast) -> None:
    client, address = cast.client_of(cast.subject), reverse("plan", args=[cast.sitting.slug])
    good = SimpleUploadedFile("light.jpg", picture(300, 200), "image/jpeg")
    assert client.post(address, {"picture": good, "caption": "like this light"}).status_code == 302
    bad = SimpleUploadedFile("light.jpg", b"no picture at all", "image/jpeg")
    assert client.post(address, {"picture": bad}).status_code == 400
    reference = ReferencePicture.objects.get()
    seen = reverse("reference", args=[cast.sitting.slug, reference.pk])
    assert cast.client_of(cast.representation).get(seen).status_code == 200
    assert cast.client_of(cast.recipient).get(seen).status_code == 403
    assert make_cast("other-sitting").client_of(None).get(seen).status_code == 404
    assert cast.client_of(cast.representation).post(address, {"remove": reference.pk}).status_code == 403
    assert client.post(address, {"remove": reference.pk}).status_code == 302
    assert not ReferencePicture.objects.exists()


def test_an_invite_is_passed_on_only_where_allowed(cast: Cast) -> None:
    Sitting.objects.update(stage="proofing")
    client, address = cast.client_of(cast.representation), reverse("pass-on", args=[cast.sitting.slug])
    assert client.get(address).status_code == 403
    Invite.objects.filter(pk=cast.representation.pk).update(may_pass_on=True)
    assert client.post(address, {"name": "Ida Brandt", "email": "ida@achterberg.example"}).status_code == 302
    made = Invite.objects.get(name="Ida Brandt")
    assert made.voice == cast.representation
    assert Letter.objects.get(kind="invitation").to == "ida@achterberg.example"
    assert "Ida Brandt" in client.get(address).content.decode()
    assert client.post(address, {"name": "Ida", "email": "no address"}).status_code == 400
    # the colleague may not pass it on in turn unless the photographer allows that, too
    assert cast.client_of(made).get(address).status_code == 403


def test_the_language_is_the_persons_choice(cast: Cast) -> None:
    client = cast.client_of(cast.subject)
    address = reverse("plan", args=[cast.sitting.slug])
    assert '<html lang="en"' in client.get(address).content.decode()
    assert client.post(reverse("language"), {"language": "de", "next": address}).status_code == 302
    assert '<html lang="de"' in client.get(address).content.decode()
    away = client.post(reverse("language"), {"language": "es", "next": "https://elsewhere.example/"})
    assert "elsewhere" not in away["Location"]
    assert client.get(reverse("language")).status_code == 405


@pytest.mark.parametrize("kind", sorted(letters.KINDS))
@pytest.mark.parametrize("language", ["en", "de", "es"])
def test_every_letter_has_a_subject_line_a_link_and_no_markup(cast: Cast, kind: str, language: str) -> None:
    cast.sitting.title = "Ansa & Tom's <spring>"
    for person in (cast.subject, cast.representation, cast.recipient, None):
        if person is None and kind in {"invitation", "proofs", "reminder", "retouch", "delivery"}:
            continue  # these go to people invited only
        with translation.override(language):
            text = render_to_string(
                f"galleries/letters/{kind}.txt",
                {"sitting": cast.sitting, "person": person, "studio": Studio.current(), "link": "https://x.example/i/abc",
                 "about": "a", "minutes": 30},
            ).strip()  # fmt: skip
        subject, blank, *rest = text.split("\n")
        assert 8 < len(subject) < 90
        assert blank == ""
        assert ("https://x.example/i/abc" in rest) == (kind != "ended")  # an invite that ended opens nothing
        assert "&amp;" not in text
        assert "{" not in text
        if kind not in {"desk"}:
            assert "Ansa & Tom's <spring>" in subject


def test_a_reminder_goes_to_whoever_is_not_through(cast: Cast) -> None:
    from datetime import date

    Sitting.objects.update(stage="proofing", deadline=date(2026, 12, 4))
    from django.utils import timezone

    Invite.objects.filter(pk=cast.representation.pk).update(picks_done_at=timezone.now())
    for day in (date(2026, 11, 20), date(2026, 12, 1), date(2026, 12, 1), date(2026, 12, 2)):
        posting.send_due(day)
    sent = Letter.objects.filter(kind="reminder")
    assert [letter.to for letter in sent] == ["ansa@veld.example"]
    assert Job.objects.filter(kind="letter", thing=sent[0].pk).count() == 1


def test_the_agents_desk_shows_every_sitting_and_what_is_wanted(cast: Cast) -> None:
    other = make_cast("other-sitting")
    Invite.objects.filter(role="representation").update(email="ruben@achterberg.example")
    client = cast.client_of(None)
    session = client.session
    session["desk"] = "ruben@achterberg.example"
    session.save()
    page = client.get(reverse("desk")).content.decode()
    for sitting in (cast.sitting, other.sitting):
        assert reverse("sitting", args=[sitting.slug]) in page
    (main,) = re.findall(r'class="button main" href="([^"]*)"', page)
    assert main == reverse("sheet", args=[other.sitting.slug])  # the other one is still being planned
    assert client.get(reverse("sheet", args=[other.sitting.slug])).status_code == 200


def test_times_are_those_of_the_sittings_own_clock(cast: Cast) -> None:
    from datetime import UTC, datetime

    PlanComment.objects.create(sitting=cast.sitting, who="Ansa Veld", text="late")
    PlanComment.objects.update(created_at=datetime(2026, 7, 1, 22, 30, tzinfo=UTC))
    address = reverse("plan", args=[cast.sitting.slug])
    for zone, time in (("Europe/London", "1 Jul 2026, 23:30"), ("Asia/Tokyo", "2 Jul 2026, 07:30")):
        Sitting.objects.update(time_zone=zone)
        assert time in cast.client_of(cast.subject).get(address).content.decode(), zone
    client = cast.client_of(cast.subject)
    client.cookies[LANGUAGE] = "de"
    Sitting.objects.update(time_zone="Europe/Berlin")
    assert "2. Juli 2026, 00:30" in client.get(address).content.decode()
