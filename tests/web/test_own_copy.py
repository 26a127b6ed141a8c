"""'Everything about me' through the pages: asked for, let go, fetched by its person and by nobody else."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from galleries import storage
from galleries.models import Invite, JournalLine, OwnCopy, Sitting, Verb
from galleries.steps import jobs
from tests.cast import Cast, body_of, make_cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    cast = make_cast(stage="delivered")
    frame = cast.frame(1)
    storage.put(storage.private(), frame.key, b"camera file")
    return cast


def let_go(cast: Cast) -> OwnCopy:
    """By the photographer's presses."""
    desk, page = cast.client_of(cast.owner), reverse("studio-own-copies", args=[cast.sitting.slug])
    said = {"do": "make", "person": cast.subject.pk, "days": "10", "originals": "1"}
    assert desk.post(page, said).status_code == 302
    jobs.run_waiting(cast.sitting, kinds=["own copy"])
    copy = OwnCopy.objects.get()
    assert b"Let it go" in desk.get(page).content
    assert desk.post(page, {"do": "let-go", "copy": copy.pk}).status_code == 302
    copy.refresh_from_db()
    return copy


def test_it_is_made_looked_at_let_go_and_fetched_with_resume(cast: Cast) -> None:
    copy = let_go(cast)
    client, at = cast.client_of(cast.subject), reverse("own-copy-archive", args=[cast.sitting.slug, copy.pk])
    assert at.encode() in client.get(reverse("own-copy", args=[cast.sitting.slug])).content
    answer = client.get(at)
    whole = body_of(answer)
    assert len(whole) == copy.archive_bytes
    assert answer["Cache-Control"] == "private, no-store"
    assert "attachment" in answer["Content-Disposition"]
    part = client.get(at, headers={"Range": f"bytes=100-{copy.archive_bytes - 1}"})
    assert (part.status_code, body_of(part)) == (206, whole[100:])
    copy.refresh_from_db()
    assert copy.first_fetched_at is not None
    assert JournalLine.objects.filter(verb=Verb.OWN_COPY_FETCHED).count() == 1


def test_the_agent_another_sittings_subject_and_a_withdrawn_invite_do_not_get_it(cast: Cast) -> None:
    elsewhere = make_cast("elsewhere", stage="delivered")
    copy = let_go(cast)
    other = OwnCopy.objects.create(sitting=elsewhere.sitting, invite=elsewhere.subject, state="ready", archive_key="k")
    at = reverse("own-copy-archive", args=[cast.sitting.slug, copy.pk])
    assert cast.client_of(cast.representation).get(at).status_code == 403
    assert cast.client_of(cast.recipient).get(at).status_code == 403
    assert elsewhere.client_of(elsewhere.subject).get(at).status_code == 404
    crossed = reverse("own-copy-archive", args=[elsewhere.sitting.slug, copy.pk])
    assert elsewhere.client_of(elsewhere.subject).get(crossed).status_code == 404
    assert cast.client_of(cast.subject).get(at.replace(str(copy.pk), str(other.pk))).status_code == 404
    assert cast.client_of(None).get(at).status_code == 404
    Invite.objects.filter(pk=cast.subject.pk).update(revoked_at=timezone.now())
    assert cast.client_of(cast.subject).get(at).status_code == 404
    assert not JournalLine.objects.filter(verb=Verb.OWN_COPY_FETCHED).exists()


def test_a_link_whose_days_are_over_says_so(cast: Cast) -> None:
    copy = let_go(cast)
    OwnCopy.objects.update(expires_at=timezone.now() - timedelta(seconds=1))
    client = cast.client_of(cast.subject)
    answer = client.get(reverse("own-copy-archive", args=[cast.sitting.slug, copy.pk]))
    assert answer.status_code == 403
    assert b"could be fetched until" in answer.content


def test_in_an_archived_sitting_its_person_is_led_to_it_and_nobody_else_to_anything(cast: Cast) -> None:
    copy = let_go(cast)
    Sitting.objects.update(stage="archived")
    client, start = cast.client_of(cast.subject), reverse("sitting", args=[cast.sitting.slug])
    assert client.get(start)["Location"] == reverse("own-copy", args=[cast.sitting.slug])
    assert client.get(reverse("own-copy-archive", args=[cast.sitting.slug, copy.pk])).status_code == 200
    assert cast.client_of(cast.representation).get(start).status_code == 403
    assert client.get(reverse("sheet", args=[cast.sitting.slug])).status_code == 403
