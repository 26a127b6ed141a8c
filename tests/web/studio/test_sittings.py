"""A sitting is planned, set, commented and published from the studio."""

from __future__ import annotations

import io
import re
from datetime import date, timedelta

import pytest
from django.core import mail
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from galleries.models import Frame, Invite, JournalLine, Letter, Look, Sitting
from galleries.steps.delivering import licences, receipts
from galleries.steps.sorting import looks
from galleries.web.studio.waiting import waiting_in, waiting_in_each
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    return make_cast(stage=Sitting.Stage.PLANNING)


def picture(side: int = 64) -> SimpleUploadedFile:
    out = io.BytesIO()
    Image.new("RGB", (side, side), (120, 110, 100)).save(out, "JPEG")
    return SimpleUploadedFile("light.jpg", out.getvalue(), "image/jpeg")


def values(sitting: Sitting, **other: object) -> dict[str, object]:
    base = {
        "title": sitting.title,
        "subject_given": sitting.subject_given,
        "subject_surname": sitting.subject_surname,
        "allowance": sitting.allowance,
        "answer_days": sitting.answer_days,
        "objection_hours": sitting.objection_hours,
        "time_zone": "Europe/Berlin",
    }
    return {**base, **other}


def test_a_new_sitting_gets_a_short_name_of_its_own(cast: Cast) -> None:
    client = cast.client_of(cast.owner)
    form = {"title": "Ansa Veld", "subject_given": "Ansa", "allowance": 4, "time_zone": "Europe/Oslo"}
    first = client.post(reverse("new-sitting"), form)
    assert first.headers["Location"] == "/studio/ansa-veld-2/"  # the cast's own sitting holds the plain name
    sitting = Sitting.objects.get(slug="ansa-veld-2")
    assert (sitting.photographer, sitting.stage, sitting.allowance) == (cast.owner, "planning", 4)
    assert JournalLine.objects.filter(sitting=sitting, verb="sitting planned").count() == 1


def test_a_sitting_cannot_take_the_name_of_a_page(cast: Cast) -> None:
    client = cast.client_of(cast.owner)
    form = {"title": "Sizes", "subject_given": "Ansa", "allowance": 4, "time_zone": "Europe/Oslo"}
    assert client.post(reverse("new-sitting"), form).headers["Location"] == "/studio/sizes-2/"


def test_a_title_and_a_real_time_zone_are_needed(cast: Cast) -> None:
    client = cast.client_of(cast.owner)
    answer = client.post(reverse("new-sitting"), {"title": "", "subject_given": "A", "allowance": 1, "time_zone": "x"})
    assert answer.status_code == 400
    assert "is not a time zone" in answer.content.decode()
    assert Sitting.objects.count() == 1


def test_settings_are_kept_and_the_journal_names_the_fields_not_their_text(cast: Cast) -> None:
    client = cast.client_of(cast.owner)
    sent = values(cast.sitting, subject_is_minor="on", guardian_name="Ilse Veld", guardian_consent_on="2026-03-04")
    assert client.post(reverse("studio-settings", args=[cast.sitting.slug]), sent).status_code == 302
    cast.sitting.refresh_from_db()
    assert (cast.sitting.guardian_name, cast.sitting.time_zone) == ("Ilse Veld", "Europe/Berlin")
    line = JournalLine.objects.get(verb="settings changed")
    assert "guardian_name" in line.detail["fields"]
    assert "Ilse" not in str(line.detail)


def test_the_overview_says_what_is_waiting_for_whom(cast: Cast) -> None:
    page = cast.client_of(cast.owner).get(reverse("studio-sitting", args=[cast.sitting.slug])).content.decode()
    assert "bring the frames in" in page
    cast.frame(1, cast.look())
    page = cast.client_of(cast.owner).get(reverse("studio-sitting", args=[cast.sitting.slug])).content.decode()
    assert "show the proofs" in page
    assert "bring the frames in" not in page


def test_only_who_came_in_is_still_marking(cast: Cast) -> None:
    Sitting.objects.filter(pk=cast.sitting.pk).update(stage=Sitting.Stage.PROOFING)
    cast.sitting.refresh_from_db()
    Invite.objects.filter(pk=cast.subject.pk).update(first_opened_at=timezone.now())
    told = {one.who: one.what for one in waiting_in(cast.sitting)}
    assert told[cast.subject.name] == "is still marking"
    assert told[cast.representation.name] == "has not come in yet"
    page = cast.client_of(cast.owner).get(reverse("studio-lists", args=[cast.sitting.slug])).content.decode()
    assert (page.count("is still marking"), page.count("has not come in yet")) == (1, 1)


def test_of_each_delivery_it_is_said_who_has_not_fetched_it(cast: Cast) -> None:
    Sitting.objects.filter(pk=cast.sitting.pk).update(stage=Sitting.Stage.DELIVERED)
    cast.sitting.refresh_from_db()
    licence, now = licences.compose(cast.sitting, licences.draft(cast.sitting), cast.as_owner), timezone.now()
    final = cast.final(1, state="approved")
    states = ("ready", "ready", "ready", "withdrawn")
    for number, state in enumerate(states, 1):
        past = now - timedelta(days=1) if number == 3 else None
        one = cast.sitting.deliveries.create(number=number, licence=licence, sizes={}, state=state, expires_at=past)
        one.files.create(final=final, name="a.jpg", key="k", size_slug="web", bytes=9, sha256="b" * 64)
    first, second = cast.sitting.deliveries.order_by("number")[:2]
    receipts.record(second, cast.subject, cast.subject.name, "a.jpg", 8)
    unfetched = [one.what for one in waiting_in(cast.sitting) if "fetched" in one.what]
    assert unfetched == ["has not fetched delivery 1 yet"]
    page = cast.client_of(cast.owner).get(reverse("studio-delivery", args=[cast.sitting.slug])).content.decode()
    part = {
        number: page.split(f'id="d{one.pk}"')[1].split("</section>")[0] for number, one in ((1, first), (2, second))
    }
    agent, desk = cast.representation.name, cast.recipient.name
    assert f"Not fetched yet by {cast.subject.name}, {agent}, {desk}." in part[1]
    assert f"Not fetched yet by {agent}, {desk}." in part[2]
    assert page.count("Not fetched yet by") == 3


def test_the_front_says_of_each_sitting_its_own_and_of_a_foreign_one_nothing(cast: Cast) -> None:
    """Asked for all at once, the sentences are those of each sitting alone; another photographer's never come in."""
    foreign, mine = (
        make_cast("foreign", stage=Sitting.Stage.FINISHING),
        make_cast("mine", stage=Sitting.Stage.FINISHING),
    )
    Sitting.objects.filter(pk=mine.sitting.pk).update(photographer=cast.owner)
    for busy, times in ((mine, 2), (foreign, 7)):
        for number in range(times):
            frame = busy.frame(number)
            final = busy.sitting.finals.create(frame=frame, round=busy.sitting.rounds.get(), state="agreed")
            busy.sitting.strays.create(sha256=f"{number:064x}", key="k", name="n", bytes=1)
            final.versions.create(number=1, sha256="a" * 64, key="k", name="n.jpg", bytes=1, width=4, height=6)
    sittings = list(Sitting.objects.order_by("pk"))
    each = waiting_in_each(sittings)
    assert each == {sitting.pk: waiting_in(sitting) for sitting in sittings}
    page = cast.client_of(cast.owner).get(reverse("studio")).content.decode()
    for told in each[mine.sitting.pk]:
        assert told.what in page
    assert "look at 2 retouches, then send them" in page
    assert "7 retouches" not in page
    assert "7 retouches" in foreign.client_of(foreign.owner).get(reverse("studio")).content.decode()
    assert "2 retouches" not in foreign.client_of(foreign.owner).get(reverse("studio")).content.decode()


def test_looks_are_added_written_and_taken_off(cast: Cast) -> None:
    client, slug = cast.client_of(cast.owner), cast.sitting.slug
    client.post(reverse("studio-look-add", args=[slug]), {"title": "Rain coat", "purpose": "portfolio"})
    look = Look.objects.get(title="Rain coat")
    assert look.purpose == "portfolio"
    form = {"title": "Rain coat", "purpose": "casting", "treatment": "colour", "gel": "1/2 CTO", "distance_cm": 140}
    assert client.post(reverse("studio-look", args=[slug, look.pk]), form).status_code == 302
    look.refresh_from_db()
    assert (look.purpose, look.gel, look.distance_cm) == ("casting", "1/2 CTO", 140)
    assert client.post(reverse("studio-look", args=[slug, look.pk]), {"title": ""}).status_code == 400
    assert client.post(reverse("studio-look-remove", args=[slug, look.pk])).status_code == 302
    assert not Look.objects.exists()
    assert client.post(reverse("studio-look-add", args=[slug]), {"title": " "}).status_code == 400


def test_a_look_with_frames_cannot_be_taken_off(cast: Cast) -> None:
    look = cast.look()
    cast.frame(1, look)
    answer = cast.client_of(cast.owner).post(reverse("studio-look-remove", args=[cast.sitting.slug, look.pk]))
    assert answer.status_code == 409


def test_reference_pictures_are_kept_small_and_without_metadata(cast: Cast) -> None:
    client, slug = cast.client_of(cast.owner), cast.sitting.slug
    look = cast.look()
    exif = Image.Exif()
    exif[0x010F] = "Somebody's camera"
    out = io.BytesIO()
    Image.new("RGB", (2400, 1200), (90, 90, 90)).save(out, "JPEG", exif=exif)
    sent = {"picture": SimpleUploadedFile("x.jpg", out.getvalue()), "caption": "this light", "look": look.pk}
    assert client.post(reverse("studio-reference-add", args=[slug]), sent).status_code == 302
    reference = cast.sitting.references.get()
    answer = client.get(reverse("studio-reference", args=[slug, reference.pk]))
    with Image.open(io.BytesIO(b"".join(answer))) as shown:  # type: ignore[arg-type]
        assert shown.size == (1600, 800)
        assert not shown.getexif()
    assert client.post(reverse("studio-reference-remove", args=[slug, reference.pk])).status_code == 302
    assert client.get(reverse("studio-reference", args=[slug, reference.pk])).status_code == 404


def test_what_is_no_picture_is_refused_with_a_sentence(cast: Cast) -> None:
    client = cast.client_of(cast.owner)
    at = reverse("studio-reference-add", args=[cast.sitting.slug])
    answer = client.post(at, {"picture": SimpleUploadedFile("x.jpg", b"no picture at all")})
    assert answer.status_code == 400
    assert client.post(at).status_code == 400


def test_comments_are_said_for_the_whole_plan_or_a_look(cast: Cast) -> None:
    client, slug = cast.client_of(cast.owner), cast.sitting.slug
    look = cast.look()
    client.post(reverse("studio-say", args=[slug]), {"text": "Bring <b>two</b> collars", "look": look.pk})
    page = client.get(reverse("studio-sitting", args=[slug])).content.decode()
    assert "Bring &lt;b&gt;two&lt;/b&gt; collars" in page
    assert client.post(reverse("studio-say", args=[slug]), {"text": "  "}).status_code == 400
    assert client.post(reverse("studio-say", args=[slug]), {"text": "x", "look": 999}).status_code == 404


def test_showing_the_proofs_moves_the_stage_and_lists_one_letter_each(cast: Cast) -> None:
    client, at = cast.client_of(cast.owner), reverse("studio-publish", args=[cast.sitting.slug])
    assert client.post(at).status_code == 400  # no frames yet
    cast.frame(1, cast.look())
    assert client.post(at, {"letter": "1"}).status_code == 302
    cast.sitting.refresh_from_db()
    assert cast.sitting.stage == "proofing"
    assert set(Letter.objects.values_list("kind", "to")) == {
        ("proofs", cast.subject.email),
        ("proofs", cast.representation.email),
    }
    assert not mail.outbox  # the worker sends them
    assert client.post(at).status_code == 409


def test_the_journal_is_shown_newest_first_and_can_be_narrowed(cast: Cast) -> None:
    client, slug = cast.client_of(cast.owner), cast.sitting.slug
    client.post(reverse("studio-say", args=[slug]), {"text": "one"})
    client.post(reverse("studio-look-add", args=[slug]), {"title": "Coat"})
    page = client.get(reverse("studio-journal", args=[slug])).content.decode()
    assert page.index("<td>look added</td>") < page.index("<td>said something of the plan</td>")
    narrowed = client.get(reverse("studio-journal", args=[slug]), {"verb": "look added"}).content.decode()
    assert "<td>look added</td>" in narrowed
    assert "<td>said something of the plan</td>" not in narrowed


def test_a_long_journal_comes_in_pages_and_by_person(cast: Cast) -> None:
    client, where = cast.client_of(cast.owner), reverse("studio-journal", args=[cast.sitting.slug])
    JournalLine.objects.bulk_create(
        JournalLine(sitting=cast.sitting, sitting_slug=cast.sitting.slug, who=f"P{number % 2}", verb="look added")
        for number in range(150)
    )
    first, last = client.get(where), client.get(where, {"page": 2, "verb": "look added"})
    assert len(first.context["lines"]) == 100
    assert len(last.context["lines"]) == 50
    assert "page=1&amp;verb=look+added" in last.content.decode()
    assert len(client.get(where, {"who": "P1"}).context["lines"]) == 75
    assert client.get(where, {"page": "none"}).status_code == 200


def test_the_front_has_all_deadlines_and_what_waits_for_the_reader(cast: Cast) -> None:
    page = cast.client_of(cast.owner).get(reverse("studio"))
    assert [one.pk for one in page.context["days"]] == ([cast.sitting.pk] if cast.sitting.deadline else [])
    assert all(item.is_ours for _sitting, item in page.context["ours"])
    Sitting.objects.update(deadline=date(2026, 1, 2), stage=Sitting.Stage.PROOFING)
    late = cast.client_of(cast.owner).get(reverse("studio")).content.decode()
    assert 'class="late"' in late


def test_a_sitting_and_a_look_are_copied_without_their_day_their_people_and_frames(cast: Cast) -> None:
    client, slug = cast.client_of(cast.owner), cast.sitting.slug
    look = looks.new_look(cast.sitting, "Rain coat", cast.as_owner, gel="1/2 CTO", purpose="portfolio")
    cast.frame(1, look)
    consent = {"subject_is_minor": True, "guardian_name": "G", "guardian_consent_on": date(2026, 5, 1)}
    Sitting.objects.update(held_on=date(2026, 5, 4), **consent)
    answer = client.post(reverse("studio-sitting-copy", args=[slug]))
    copy = Sitting.objects.exclude(slug=slug).get()
    assert answer.url == reverse("studio-settings", args=[copy.slug])
    assert (copy.subject_name, copy.allowance) == (cast.sitting.subject_name, cast.sitting.allowance)
    assert (copy.held_on, copy.guardian_consent_on) == (None, None)
    assert (copy.stage, copy.frames.count(), copy.invites.count()) == ("planning", 0, 0)
    assert list(copy.looks.values_list("title", "gel", "purpose")) == [("Rain coat", "1/2 CTO", "portfolio")]
    client.post(reverse("studio-look-copy", args=[slug, look.pk]))
    titles = list(cast.sitting.looks.filter(gel="1/2 CTO").values_list("title", flat=True))
    assert titles == ["Rain coat", "Rain coat, copy"]
    for name, more in (("studio-sitting-copy", []), ("studio-look-copy", [look.pk])):
        assert cast.client_of(cast.stranger).post(reverse(name, args=[slug, *more])).status_code == 404
        assert cast.client_of(cast.subject).post(reverse(name, args=[slug, *more])).status_code == 302
    assert Sitting.objects.count() == 2


def test_people_invited_before_are_offered_to_whoever_invited_them_and_to_nobody_else(cast: Cast) -> None:
    mine, foreign = make_cast("mine", stage=Sitting.Stage.PLANNING), make_cast("foreign")
    Sitting.objects.filter(pk=mine.sitting.pk).update(photographer=cast.owner)
    mine.sitting.invites.all().delete()
    page = cast.client_of(cast.owner).get(reverse("studio-people", args=[mine.sitting.slug]))
    known = {one.email for one in page.context["known"]}
    assert known == {cast.subject.email, cast.representation.email, cast.recipient.email}
    assert page.context["form"].initial == {"role": "subject", "name": mine.sitting.subject_name}
    stranger = foreign.client_of(foreign.owner).get(reverse("studio-people", args=[foreign.sitting.slug]))
    assert stranger.context["known"] == []


def test_a_sitting_is_put_away_and_brought_back(cast: Cast) -> None:
    client, where = cast.client_of(cast.owner), reverse("studio-keeping", args=[cast.sitting.slug])
    assert "Archive it" in client.get(where).content.decode()
    client.post(where, {"do": "away"})
    cast.sitting.refresh_from_db()
    assert cast.sitting.stage == "archived"
    assert client.post(where, {"do": "away"}).status_code == 409
    client.post(where, {"do": "back"})
    cast.sitting.refresh_from_db()
    assert cast.sitting.stage == "planning"
    assert client.post(where, {"do": "burn"}).status_code == 400


def test_a_sitting_is_removed_only_when_its_name_is_typed(cast: Cast) -> None:
    client, where = cast.client_of(cast.owner), reverse("studio-keeping", args=[cast.sitting.slug])
    assert client.post(where, {"do": "erase", "why": "asked for", "slug": "something"}).status_code == 400
    assert client.post(where, {"do": "erase", "why": " ", "slug": cast.sitting.slug}).status_code == 400
    assert Sitting.objects.exists()
    answer = client.post(where, {"do": "erase", "why": "the subject asked for it", "slug": cast.sitting.slug})
    assert answer.headers["Location"] == reverse("studio")
    assert not Sitting.objects.exists()


def test_the_film_shows_the_best_known_frame_of_each_look(cast: Cast, client: Client) -> None:
    """Nobody's shut eyes stand for a look: first what the studio suggests, then what is picked, then open eyes."""
    look = cast.look()
    frames = [cast.frame(number, look) for number in (1, 2, 3)]
    Frame.objects.filter(pk=frames[0].pk).update(reading={"face": {"right_openness": 0.1, "left_openness": 0.1}})
    for frame in frames:
        frame.proofs.create(large_width=2, large_height=3, small_width=2, small_height=3)

    def shown() -> list[str]:
        page = client.get(reverse("studio-sitting", args=[cast.sitting.slug])).content.decode()
        return re.findall(r"/files/view/([0-9]+)\.jpg", page)

    assert shown() == [str(frames[1].pk)]
    cast.subject.marks.create(frame=frames[2], kind="pick", acted_at=timezone.now())
    assert shown() == [str(frames[2].pk)]
    Frame.objects.filter(pk=frames[0].pk).update(suggested=True)
    assert shown() == [str(frames[0].pk)]
