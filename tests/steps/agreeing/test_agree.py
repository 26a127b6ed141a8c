"""Two people's marks become one closed list."""

from __future__ import annotations

import csv
import io

import pytest

from galleries.errors import BadInput, Conflict, Refused
from galleries.models import Final, JournalLine, Round
from galleries.steps.agreeing import agree
from galleries.steps.picking import pick
from tests.cast import make_cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast():
    return make_cast()


def test_the_tally_says_who_agrees_on_what(cast):
    frames = [cast.frame(number, cast.look(f"Look {number}")) for number in range(1, 5)]
    marks = [("pick", "pick"), ("pick", "strike"), ("", "pick"), ("alternate", "")]
    for frame, (subject, representation) in zip(frames, marks, strict=True):
        if subject:
            pick.set_mark(cast.as_subject, frame.pk, kind=subject)
        if representation:
            pick.set_mark(cast.as_representation, frame.pk, kind=representation, note="for the drama")
    found = agree.tally(cast.sitting, cast.as_owner)
    assert [line.standing for line in found.lines] == ["agreed", "subject", "representation", ""]
    assert found.lines[0].notes == (("Ruben Achterberg", "for the drama"),)
    assert "No pick of either side in “Look 4”." in found.words


def test_coverage_is_told_per_purpose_and_allowance(cast):
    cast.sitting.allowance = 1
    cast.sitting.save()
    casting, portfolio = cast.look("Shirt"), cast.look("Hard light", purpose="portfolio")
    cast.frame(9, portfolio)
    for number in (1, 2):
        frame = cast.frame(number, casting)
        pick.set_mark(cast.as_subject, frame.pk, kind="pick")
        pick.set_mark(cast.as_representation, frame.pk, kind="pick")
    words = agree.tally(cast.sitting, cast.as_owner).words
    assert "No pick for portfolio among them." in words
    assert "1 agreed frame more than the 1 included." in words


def test_a_kind_of_casting_without_a_pick_is_named_and_so_is_what_the_list_leaves_out(cast):
    shirt, jacket = (
        cast.look("Shirt", casting_kind="Commercial"),
        cast.look("Jacket", casting_kind="theatrical, commercial"),
    )
    chosen, other = cast.frame(1, shirt), cast.frame(2, jacket)
    pick.set_mark(cast.as_subject, chosen.pk, kind="pick")
    words = agree.tally(cast.sitting, cast.as_owner).words
    assert "No look for “theatrical” among the picks." in words
    assert not any("ommercial" in said for said in words)
    pick.set_mark(cast.as_representation, other.pk, kind="pick")
    found = agree.tally(cast.sitting, cast.as_owner)
    assert not any("theatrical" in said for said in found.words)
    assert agree.not_on_list(found, [chosen.pk], cast.sitting, cast.as_owner) == [
        "Nothing of “Jacket” is on the list.",
        "Nothing for theatrical is on the list.",
    ]
    assert agree.not_on_list(found, [chosen.pk, other.pk], cast.sitting, cast.as_owner) == []


def test_closing_makes_finals_in_order_and_moves_the_sitting(cast):
    frames = [cast.frame(number) for number in range(1, 4)]
    finals = agree.close(cast.sitting, [frames[2].pk, frames[0].pk], cast.as_representation)
    assert [final.frame for final in finals] == [frames[2], frames[0]]
    assert cast.sitting.stage == "finishing"
    closed = Round.objects.get()
    assert (closed.closed_by, closed.closed_by_invite) == ("Ruben Achterberg", cast.representation)
    line = JournalLine.objects.get(verb="list closed")
    assert line.detail["frames"] == ["KAL_0003.JPG", "KAL_0001.JPG"]
    assert agree.as_text(agree.listed(cast.sitting)) == "KAL_0003.JPG\nKAL_0001.JPG\n"
    assert agree.as_text(agree.listed(cast.sitting), endings=False) == "KAL_0003\nKAL_0001\n"


def test_who_may_not_close_and_what_cannot_be_closed(cast):
    frame, hidden = cast.frame(1), cast.frame(2, hidden=True)
    with pytest.raises(Refused):
        agree.close(cast.sitting, [frame.pk], cast.as_subject)
    with pytest.raises(BadInput, match="at least one"):
        agree.close(cast.sitting, [], cast.as_owner)
    for person in (cast.as_owner, cast.as_representation):
        with pytest.raises(BadInput, match="hidden"):
            agree.close(cast.sitting, [frame.pk, hidden.pk], person)
    assert not Final.objects.exists()


def test_closing_twice_is_refused(cast):
    frame = cast.frame(1)
    agree.close(cast.sitting, [frame.pk], cast.as_representation)
    with pytest.raises(Refused):
        agree.close(cast.sitting, [frame.pk], cast.as_owner)


def test_reopening_is_the_photographers_with_a_reason_and_keeps_what_was_made(cast):
    frames = [cast.frame(number) for number in (1, 2)]
    agree.close(cast.sitting, [frames[0].pk], cast.as_representation)
    first = Final.objects.get()
    with pytest.raises(Refused):
        agree.reopen(cast.sitting, cast.as_representation, "second thoughts")
    with pytest.raises(BadInput, match="why"):
        agree.reopen(cast.sitting, cast.as_owner, " ")
    agree.reopen(cast.sitting, cast.as_owner, "the agent wants a warmer one")
    assert cast.sitting.stage == "agreeing"
    with pytest.raises(Conflict):
        agree.reopen(cast.sitting, cast.as_owner, "again")
    agree.close(cast.sitting, [frames[1].pk], cast.as_owner)
    assert [final.frame for final in agree.listed(cast.sitting)] == [frames[1]]
    first.refresh_from_db()
    assert not first.on_list
    assert [(round_.number, round_.reason) for round_ in Round.objects.all()] == [
        (1, ""),
        (2, "the agent wants a warmer one"),
    ]


def test_csv_can_be_read_back_and_no_cell_is_a_formula(cast):
    look = cast.look('=HYPERLINK("x")')
    frame = cast.frame(1, look)
    agree.close(cast.sitting, [frame.pk], cast.as_owner)
    rows = list(csv.reader(io.StringIO(agree.as_csv(agree.listed(cast.sitting)))))
    assert rows[0] == ["position", "file", "number", "look", "purpose", "brief", "raw"]
    assert rows[1][:3] == ["1", "KAL_0001.JPG", "1"]
    assert rows[1][3].startswith("'=")


def test_publishing_needs_something_to_show():
    cast = make_cast(stage="planning")
    cast.sitting.rounds.all().delete()
    with pytest.raises(BadInput, match="no frames"):
        agree.publish(cast.sitting, cast.as_owner)
    cast.frame(1)
    agree.publish(cast.sitting, cast.as_owner)
    assert cast.sitting.stage == "proofing"
    assert cast.sitting.published_at
    assert cast.sitting.rounds.filter(closed_at=None).count() == 1


def test_the_photographer_is_told_when_a_pick_is_of_a_look_kept_back(cast):
    frame = cast.frame(1, cast.look(kept_from_representation=True))
    pick.set_mark(cast.as_subject, frame.pk, kind="pick")
    assert any("You keep the look of frame 0001" in words for words in agree.tally(cast.sitting, cast.as_owner).words)
    told = agree.tally(cast.sitting, cast.as_representation)
    assert not told.lines
    assert not any("0001" in words for words in told.words)


def test_only_a_pick_that_is_kept_back_stands_in_the_way_of_the_list(cast):
    kept, shown = cast.look("Bare", kept_from_representation=True), cast.look("Shirt")
    picked, other = cast.frame(1, shown), cast.frame(2, kept)
    pick.set_mark(cast.as_subject, picked.pk, kind="pick")
    pick.set_mark(cast.as_subject, other.pk, kind="alternate")
    assert not any("You keep the look" in words for words in agree.tally(cast.sitting, cast.as_owner).words)
