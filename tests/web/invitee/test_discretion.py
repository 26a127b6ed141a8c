"""What the subject tells the studio alone, and what they strike, seen from the representation's chair."""

from __future__ import annotations

import pytest
from django.core import mail
from django.urls import reverse

from galleries.errors import BadInput
from galleries.models import Final, Mark, Sitting, Studio
from galleries.steps import jobs
from galleries.steps.agreeing import agree, sidecars
from galleries.steps.people import letters
from galleries.steps.picking import pick
from galleries.steps.sorting import contact
from tests.cast import Cast, make_cast
from tests.web.invitee.sheets import filled
from tests.web.invitee.test_finals_delivery import version

pytestmark = pytest.mark.django_db
NOTE = "the scar above my eye, please"


@pytest.fixture
def cast() -> Cast:
    """Frame 1 carries a pick and a note for the studio alone, frame 2 nothing but such a note."""
    cast = make_cast()
    one, two, *_rest = filled(cast)
    pick.set_mark(cast.as_subject, one.pk, kind="pick", note=NOTE, for_studio=True)
    pick.set_mark(cast.as_subject, two.pk, note=NOTE, for_studio=True)
    return cast


def test_a_note_for_the_studio_alone_is_read_by_the_studio(cast: Cast) -> None:
    page = cast.client_of(cast.owner).get(reverse("studio-lists", args=[cast.sitting.slug])).content.decode()
    assert page.count(f"<b>Ansa Veld, for the studio alone</b>: {NOTE}") == 2
    frame = cast.sitting.frames.get(number=1)
    told = cast.client_of(cast.owner).get(reverse("remarks", args=[cast.sitting.slug, frame.pk])).json()
    assert told["notes"] == [{"who": "Ansa Veld, for the studio alone", "text": NOTE}]
    own = cast.client_of(cast.subject).get(reverse("marks", args=[cast.sitting.slug])).json()
    assert own["mine"][str(frame.pk)] == ["pick", 1, NOTE, True]


@pytest.mark.parametrize("stage", ["proofing", "finishing", "delivered"])
def test_nobody_invited_comes_to_read_it(cast: Cast, stage: str) -> None:
    slug, (one, two) = cast.sitting.slug, cast.sitting.frames.filter(number__lte=2).order_by("number")
    final = Final.objects.create(sitting=cast.sitting, frame=one, round=cast.sitting.rounds.get(), state="shown")
    version(cast, 1, final)
    Sitting.objects.update(stage=stage)
    client = cast.client_of(cast.representation)
    session = client.session
    session["desk"] = cast.representation.email
    session.save()
    pages = ["plan", "sheet", "marks", "changes", "compare", "lists", "finals", "delivery", "sitting"]
    addresses = [reverse(name, args=[slug]) for name in pages]
    addresses += [reverse("compare", args=[slug]) + f"?frames={one.pk},{two.pk}", reverse("desk")]
    addresses += [reverse("remarks", args=[slug, frame.pk]) for frame in (one, two)]
    addresses += [reverse("final", args=[slug, final.pk])]
    for address in addresses:
        assert NOTE not in client.get(address, follow=True).content.decode(), address
    assert not final.pinned_notes.exists()
    lines = {line.frame.number: line for line in agree.tally(cast.sitting, cast.as_representation).lines}
    assert set(lines) == {1}  # a note alone gives frame 2 no line
    assert (lines[1].notes, lines[1].for_studio) == ((), ())


def test_neither_paper_nor_export_nor_letter_carries_it(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    printed: list[object] = []
    monkeypatch.setattr(contact, "contact_sheet_pdf", lambda title, strips, **how: printed.append((strips, how)) or b"")
    for visitor in (cast.as_representation, cast.as_owner):
        contact.contact_sheet(visitor, cast.sitting)
    assert printed
    assert NOTE not in repr(printed)
    finals = agree.close(cast.sitting, [cast.sitting.frames.get(number=1).pk], cast.as_representation)
    assert NOTE not in agree.as_csv(finals) + agree.as_text(finals)
    assert NOTE not in str(sidecars.sidecars(finals))
    Studio.objects.update(letters_from=0, letters_until=24)
    letters.notify_photographer(cast.sitting, "through")
    jobs.run_waiting(cast.sitting, kinds=["letter"])
    assert {to for letter in mail.outbox for to in letter.to} >= {cast.representation.email, cast.subject.email}
    assert not any(NOTE in letter.body for letter in mail.outbox)


def test_a_note_is_given_fewer_readers_at_once_and_more_only_in_sight(cast: Cast) -> None:
    frame = cast.sitting.frames.get(number=3)
    mark = lambda: Mark.objects.get(frame=frame, invite=cast.subject)  # noqa: E731
    pick.set_mark(cast.as_subject, frame.pk, note="the collar")
    pick.set_mark(cast.as_subject, frame.pk, kind="pick")  # from another device
    answer = pick.set_mark(cast.as_subject, frame.pk, note="the collar", for_studio=True, seen=1)
    assert (answer.for_studio, answer.conflict, mark().note_for_studio) == (True, False, True)
    assert pick.set_mark(cast.as_subject, frame.pk, note="the collar", for_studio=False, seen=1).for_studio
    assert pick.set_mark(cast.as_subject, frame.pk, note="the left collar").for_studio  # a page that knows of no choice
    assert not pick.set_mark(cast.as_subject, frame.pk, note="", for_studio=True).for_studio
    assert not pick.set_mark(cast.as_subject, frame.pk, note="anew").for_studio
    with pytest.raises(BadInput, match="the subject's to write"):
        pick.set_mark(cast.as_representation, frame.pk, note="between us", for_studio=True)


def test_an_outbox_says_who_may_read(cast: Cast) -> None:
    frame = cast.sitting.frames.get(number=3)
    acts = [{"frame": frame.pk, "note": "quietly", "for_studio": True, "act": "a"}]
    (answer,) = pick.take_acts(cast.as_subject, acts)
    assert answer["for_studio"] is True
    assert Mark.objects.get(frame=frame).note_for_studio


def test_places_are_counted_without_the_frames_that_are_struck(cast: Cast) -> None:
    Sitting.objects.update(strikes_hide=True)
    cast.sitting.refresh_from_db()
    one, two, three = cast.sitting.frames.filter(number__lte=3).order_by("number")
    for frame in (one, two, three):
        pick.set_mark(cast.as_subject, frame.pk, kind="pick")
        pick.set_mark(cast.as_representation, frame.pk, kind="pick")
    for who in (cast.as_subject, cast.as_representation):
        pick.set_order(who, cast.sitting, [one.pk, two.pk, three.pk])
    pick.set_mark(cast.as_subject, two.pk, kind="strike")
    lines = agree.tally(cast.sitting, cast.as_representation).lines
    assert {line.frame.pk: line.place_subject for line in lines} == {one.pk: 1, three.pk: 2}
    assert {line.frame.pk: line.place_representation for line in lines} == {one.pk: 1, three.pk: 2}
    client, address = cast.client_of(cast.representation), reverse("compare", args=[cast.sitting.slug])
    answer = client.post(address, {"order": f"{three.pk},{one.pk}"})  # their own order goes on, and says nothing
    assert answer.status_code == 302
    assert list(cast.representation.standings.values_list("frame", flat=True)) == [three.pk, two.pk, one.pk]


def test_the_state_names_nobody_whose_marks_are_all_on_struck_frames(cast: Cast) -> None:
    Sitting.objects.update(strikes_hide=True)
    frame = cast.sitting.frames.get(number=1)
    pick.set_mark(cast.as_subject, frame.pk, kind="strike")
    said = cast.client_of(cast.representation).get(reverse("marks", args=[cast.sitting.slug])).json()
    assert (said["people"], said["theirs"], said["sides"]) == ({}, {}, {})
    assert frame.pk not in said["frames"]
