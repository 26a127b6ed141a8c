"""Looks under the photographer's hands, and every act taken back."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from galleries.errors import BadInput, Conflict, Missing
from galleries.models import Frame, Look
from galleries.steps.sorting import looks, take_back
from tests.cast import make_cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast():
    return make_cast()


def placed(sitting):
    return {frame.label: frame.look.title if frame.look else None for frame in sitting.frames.select_related("look")}


def state(sitting):
    """All that undo must bring back."""
    return (
        list(sitting.frames.values_list("pk", "look_id", "hidden", "suggested", "placed_by_hand")),
        list(sitting.looks.values_list("pk", "title", "position", "purpose", "notes")),
    )


def test_frames_find_their_look_by_the_cameras_clock_while_they_come_in(cast):
    start = timezone.now()
    for number, minute in enumerate([0, 1, 2, 20, 21, 60]):
        looks.place_at_once(cast.frame(number, captured_at=start + timedelta(minutes=minute)))
    assert list(placed(cast.sitting).values()) == ["Look 1"] * 3 + ["Look 2"] * 2 + ["Look 3"]
    assert all(look.proposed_reason for look in cast.sitting.looks.all())


def test_planned_looks_are_filled_in_their_order_and_a_frame_without_a_clock_waits(cast):
    cast.look("Shirt")
    cast.look("Coat")
    start = timezone.now()
    for number, minute in enumerate([0, 30]):
        looks.place_at_once(cast.frame(number, captured_at=start + timedelta(minutes=minute)))
    looks.place_at_once(cast.frame(7, captured_at=None))
    assert placed(cast.sitting) == {"0000": "Shirt", "0001": "Coat", "0007": None}


def test_on_set_frames_go_to_the_current_look(cast):
    look = looks.start_look_on_set(cast.sitting, "Leather jacket", cast.as_owner)
    frame = cast.frame(1)
    frame.sitting.refresh_from_db()
    looks.place_at_once(frame)
    assert (frame.look, frame.placed_by_hand) == (look, True)
    looks.end_look_on_set(cast.sitting, cast.as_owner)
    assert cast.sitting.current_look is None


def test_split_moves_the_later_frames_to_a_new_look_right_behind(cast):
    look, after = cast.look("One"), cast.look("Two")
    frames = [cast.frame(number, look) for number in range(1, 5)]
    new = looks.split(frames[2], "One, coat on", cast.as_owner)
    assert placed(cast.sitting) == {"0001": "One", "0002": "One", "0003": "One, coat on", "0004": "One, coat on"}
    assert [look.title for look in cast.sitting.looks.all()] == ["One", "One, coat on", "Two"]
    assert new.position < Look.objects.get(pk=after.pk).position
    with pytest.raises(BadInput, match="first of its look"):
        looks.split(frames[0], "x", cast.as_owner)


@pytest.mark.parametrize("act", ["move", "hide", "suggest", "split", "merge"])
def test_every_act_on_frames_can_be_taken_back(cast, act):
    one, two = cast.look("One", notes="key at 45°"), cast.look("Two")
    frames = [cast.frame(number, one) for number in range(1, 4)] + [cast.frame(9, two)]
    before = state(cast.sitting)
    if act == "move":
        looks.move_frames(cast.sitting, [frames[0].pk, frames[3].pk], two, cast.as_owner)
    elif act == "hide":
        looks.set_hidden(cast.sitting, [frames[1].pk], True, cast.as_owner)
    elif act == "suggest":
        looks.set_suggested(cast.sitting, [frames[1].pk], True, cast.as_owner)
    elif act == "split":
        looks.split(frames[1], "Half", cast.as_owner)
    else:
        looks.merge(one, two, cast.as_owner)
    assert state(cast.sitting) != before
    take_back.undo(cast.sitting, cast.as_owner)
    frames_now, looks_now = state(cast.sitting)
    assert frames_now == before[0]
    assert [row[:2] + row[3:] for row in looks_now] == [row[:2] + row[3:] for row in before[1]]


def test_undo_walks_back_one_act_at_a_time_and_then_says_that_nothing_is_left(cast):
    one, two = cast.look("One"), cast.look("Two")
    frame = cast.frame(1, one)
    looks.move_frames(cast.sitting, [frame.pk], two, cast.as_owner)
    looks.set_hidden(cast.sitting, [frame.pk], True, cast.as_owner)
    take_back.undo(cast.sitting, cast.as_owner)
    frame.refresh_from_db()
    assert (frame.hidden, frame.look) == (False, two)
    take_back.undo(cast.sitting, cast.as_owner)
    frame.refresh_from_db()
    assert frame.look == one
    with pytest.raises(Conflict, match="nothing to take back"):
        take_back.undo(cast.sitting, cast.as_owner)


def test_frames_and_looks_of_another_sitting_are_not_there(cast):
    other = make_cast("another")
    foreign, look = other.frame(1), other.look()
    with pytest.raises(Missing):
        looks.move_frames(cast.sitting, [foreign.pk], None, cast.as_owner)
    with pytest.raises(Missing):
        looks.move_frames(cast.sitting, [], look, cast.as_owner)
    with pytest.raises(Missing):
        looks.set_hidden(cast.sitting, [foreign.pk], True, cast.as_owner)
    with pytest.raises(BadInput):
        looks.merge(cast.look(), look, cast.as_owner)
    assert not Frame.objects.get(pk=foreign.pk).hidden


def test_editing_and_ordering_and_removing(cast):
    one, two = cast.look("One", proposed_reason="first frame after a pause"), cast.look("Two")
    looks.edit_look(one, cast.as_owner, title="Denim", purpose="portfolio", notes="key 1 m")
    one.refresh_from_db()
    assert (one.title, one.purpose, one.proposed_reason) == ("Denim", "portfolio", "")
    for bad in ({"title": " "}, {"colour": "red"}):
        with pytest.raises(BadInput):
            looks.edit_look(one, cast.as_owner, **bad)
    looks.reorder(cast.sitting, [two.pk, one.pk], cast.as_owner)
    assert [look.pk for look in cast.sitting.looks.all()] == [two.pk, one.pk]
    with pytest.raises(BadInput):
        looks.reorder(cast.sitting, [two.pk], cast.as_owner)
    cast.frame(1, one)
    with pytest.raises(Conflict, match="still has frames"):
        looks.remove_look(one, cast.as_owner)
    looks.remove_look(two, cast.as_owner)
    assert not Look.objects.filter(pk=two.pk).exists()
