"""Lists, desk, sheet, contact sheet and proposal say the same of what a side says, whoever spoke first."""

from __future__ import annotations

from itertools import product
from typing import Any

import pytest

from galleries.models import Invite
from galleries.sorting import sides
from galleries.steps.agreeing import agree, proposals
from galleries.steps.picking import pick
from galleries.steps.sorting import contact
from galleries.steps.sorting.readings import readings_of
from galleries.web.invitee import showing
from galleries.web.studio import desk_data
from tests.cast import Cast, make_cast
from tests.web.invitee.sheets import filled

pytestmark = pytest.mark.django_db
WORDS = ("pick", "alternate", "strike", "")  # '' is a mark that was taken back


@pytest.fixture
def cast() -> Cast:
    return make_cast()


def second_agent(cast: Cast) -> Invite:
    return Invite.objects.create(
        sitting=cast.sitting,
        role="representation",
        name="Iza Morell",
        email="iza@morell.example",
        expires_at=cast.representation.expires_at,
    )


def test_every_place_gives_the_same_word(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    frames = filled(cast, 1, len(WORDS) ** 2)
    other = second_agent(cast)
    wanted: dict[int, str] = {}
    for frame, (first, then) in zip(frames, product(WORDS, WORDS), strict=True):
        for invite, kind in ((cast.representation, first), (other, then)):
            by = type(cast.as_subject)(invite=invite)
            pick.set_mark(by, frame.pk, kind=kind or "strike")
            if not kind:
                pick.set_mark(by, frame.pk, kind="")
        wanted[frame.pk] = sides.says((first, then))
    spoken = {pk: kind for pk, kind in wanted.items() if kind}

    tally = agree.tally(cast.sitting, cast.as_owner)
    assert {line.frame.pk: line.representation for line in tally.lines} == spoken
    assert {one.key: one.representation for one in proposals.candidates(tally, readings_of(cast.sitting))} == spoken

    desk = desk_data.everything(cast.sitting)["frames"]
    assert {row["id"]: row["marks"]["r"] for row in desk if row["marks"]} == spoken

    strips = showing.sheet_of(cast.as_subject, cast.sitting).strips
    drawn = {one.frame.pk: one.drawn("subject") for strip in strips for one in strip.frames}
    assert {pk: kinds["representation"] for pk, kinds in drawn.items() if kinds} == spoken
    state = showing.state(cast.as_subject, cast.sitting)["sides"]
    assert {pk: kinds["representation"] for pk, kinds in state.items()} == spoken

    printed: dict[str, list[str]] = {}

    def paper(_title: str, looks: list[Any], **_how: Any) -> bytes:
        printed.update({one.number: [mark.kind for mark in one.marks] for look in looks for one in look.frames})
        return b""

    monkeypatch.setattr(contact, "contact_sheet_pdf", paper)
    monkeypatch.setattr(contact.storage, "get", lambda _store, _key: b"")
    contact.contact_sheet(cast.as_owner, cast.sitting)
    labels = {frame.label: frame.pk for frame in frames}
    assert {labels[label]: kinds[0] for label, kinds in printed.items() if kinds} == spoken
    assert all(len(kinds) <= 1 for kinds in printed.values())


def test_a_note_keeps_its_line_when_the_mark_is_taken_back(cast: Cast) -> None:
    noted, silent = filled(cast, 1, 2)
    pick.set_mark(cast.as_representation, noted.pk, kind="pick", note="for the drama")
    for frame in (noted, silent):
        pick.set_mark(cast.as_representation, frame.pk, kind="alternate")
        pick.set_mark(cast.as_representation, frame.pk, kind="")
    (line,) = agree.tally(cast.sitting, cast.as_owner).lines
    assert (line.frame.pk, line.representation, line.notes) == (noted.pk, "", (("Ruben Achterberg", "for the drama"),))


def test_of_two_rankings_the_better_place_counts_while_its_owner_wants_the_frame(cast: Cast) -> None:
    one, two, three = filled(cast, 1, 3)
    other = type(cast.as_subject)(invite=second_agent(cast))
    for frame in (one, two, three):
        pick.set_mark(cast.as_representation, frame.pk, kind="pick")
        pick.set_mark(other, frame.pk, kind="alternate")
    pick.set_order(cast.as_representation, cast.sitting, [one.pk, two.pk, three.pk])
    pick.set_order(other, cast.sitting, [three.pk, two.pk, one.pk])
    pick.set_mark(other, three.pk, kind="strike")
    places = {line.frame.pk: line.place_representation for line in agree.tally(cast.sitting, cast.as_owner).lines}
    assert places == {one.pk: 1, two.pk: 2, three.pk: 3}


def test_candidates_carry_what_the_reading_says(cast: Cast) -> None:
    frame, unread = *filled(cast, 1, 1), cast.frame(99)
    readings = readings_of(cast.sitting)
    assert len(readings.of(frame.pk).differences) == 4
    assert readings.of(unread.pk).differences == ()
    pick.set_mark(cast.as_subject, frame.pk, kind="pick")
    pick.set_order(cast.as_subject, cast.sitting, [frame.pk])
    (one,) = proposals.candidates(agree.tally(cast.sitting, cast.as_representation), readings)
    assert one.expression == readings.of(frame.pk).differences
    assert (one.key, one.subject, one.place_subject, one.purpose) == (frame.pk, "pick", 1, "casting")
