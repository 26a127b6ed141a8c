"""Proposals for a sitting that was read: the program proposes, a person's hand wins."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from galleries.models import Look
from galleries.steps.sorting import looks, sort, take_back
from tests.cast import make_cast

pytestmark = pytest.mark.django_db

START = datetime(2026, 5, 4, 10, tzinfo=UTC)
CANVAS, DARK = (62.0, 4.0, 14.0), (14.0, 0.5, -2.0)
SHIRT, COAT = (70.0, -2.0, -20.0), (22.0, 2.0, -12.0)


def reading(backdrop, wardrobe, **more: Any) -> dict[str, Any]:
    """What the reader stores, as far as sorting looks at it."""
    return {
        "backdrop_lab": list(backdrop),
        "wardrobe_lab": list(wardrobe),
        "light_x": 0.2,
        "light_y": 0.4,
        "monochrome": False,
        "hash": "00ff00ff00ff00ff",
        "sharpness": 0.5,
        "face": {"right_openness": 0.3, "left_openness": 0.3},
        **more,
    }


@pytest.fixture
def cast():
    return make_cast(stage="planning")


def shoot(cast, start: int, count: int, minute: float, backdrop, wardrobe, **more):
    return [
        cast.frame(
            start + index,
            captured_at=START + timedelta(minutes=minute, seconds=7 * index),
            reading=reading(backdrop, wardrobe, **more),
            reading_version=1,
            camera="Kelvar K2",
        )
        for index in range(count)
    ]


def everything(sitting):
    return list(Look.objects.values()), list(sitting.frames.values("pk", "look_id", "run", "run_place"))


def by_look(sitting):
    return {look.title: sorted(look.frames.values_list("number", flat=True)) for look in sitting.looks.all()}


def test_an_outfit_changed_without_a_pause_is_a_look_of_its_own(cast):
    shoot(cast, 1, 10, 0, CANVAS, SHIRT)
    shoot(cast, 11, 10, 1.5, CANVAS, COAT)
    shoot(cast, 21, 10, 30, DARK, COAT)
    sort.sort_sitting(cast.sitting.pk)
    assert by_look(cast.sitting) == {
        "Look 1": list(range(1, 11)),
        "Look 2": list(range(11, 21)),
        "Look 3": list(range(21, 31)),
    }
    assert all(look.proposed_reason for look in cast.sitting.looks.all())


def test_frames_of_a_look_that_comes_back_are_proposed_as_that_look(cast):
    for number in range(30):  # five frames of each outfit in turns, the head never twice the same
        outfit = SHIRT if number // 5 % 2 == 0 else COAT
        shoot(cast, 1 + number, 1, 0.2 * number, CANVAS, outfit, light_x=0.2 + 0.1 * (number % 3))
    sort.sort_sitting(cast.sitting.pk)
    assert by_look(cast.sitting) == {
        "Look 1": [*range(1, 6), *range(11, 16), *range(21, 26)],
        "Look 2": [*range(6, 11), *range(16, 21), *range(26, 31)],
    }
    sort.sort_sitting(cast.sitting.pk)
    assert cast.sitting.looks.count() == 2


def test_sorting_again_changes_nothing(cast):
    shoot(cast, 1, 8, 0, CANVAS, SHIRT)
    shoot(cast, 9, 8, 20, DARK, COAT)
    sort.sort_sitting(cast.sitting.pk)
    before = list(Look.objects.values()), list(cast.sitting.frames.values("pk", "look_id", "run", "run_place"))
    sort.sort_sitting(cast.sitting.pk)
    assert (
        list(Look.objects.values()),
        list(cast.sitting.frames.values("pk", "look_id", "run", "run_place")),
    ) == before


def test_a_better_proposal_replaces_the_first_guess_by_time(cast):
    frames = shoot(cast, 1, 8, 0, CANVAS, SHIRT) + shoot(cast, 9, 8, 1.2, CANVAS, COAT)
    for frame in frames:
        looks.place_at_once(frame)
    assert cast.sitting.looks.count() == 1
    sort.sort_sitting(cast.sitting.pk)
    assert by_look(cast.sitting) == {"Look 1": list(range(1, 9)), "Look 2": list(range(9, 17))}


def test_what_a_person_placed_stays(cast):
    """One frame moved to the other look takes nothing along, however often the program proposes again."""
    first = shoot(cast, 1, 8, 0, CANVAS, SHIRT)
    shoot(cast, 9, 8, 20, DARK, COAT)
    sort.sort_sitting(cast.sitting.pk)
    _one, two = cast.sitting.looks.all()
    looks.move_frames(cast.sitting, [first[0].pk, first[4].pk], two, cast.as_owner)
    looks.edit_look(two, cast.as_owner, title="Coat on dark")
    want = {"Look 1": [2, 3, 4, 6, 7, 8], "Coat on dark": [1, 5, *range(9, 17)]}
    for _again in range(2):
        sort.sort_sitting(cast.sitting.pk)
        assert by_look(cast.sitting) == want


def test_a_look_started_on_set_takes_nothing_of_what_was_shot_before(cast):
    """The photographer says that a new look begins, though to the program it looks the same."""
    for frame in shoot(cast, 1, 6, 0, CANVAS, SHIRT):
        looks.place_at_once(frame)
    looks.start_look_on_set(cast.sitting, "Blue hour", cast.as_owner)
    for start in (7, 10):  # more than were shot before, in the end
        for frame in (
            shoot(cast, start, 5, start, CANVAS, SHIRT) if start == 7 else shoot(cast, 12, 4, 9, CANVAS, SHIRT)
        ):
            frame.sitting.refresh_from_db()
            looks.place_at_once(frame)
        sort.sort_sitting(cast.sitting.pk)
        assert by_look(cast.sitting)["Look 1"] == list(range(1, 7))
    assert by_look(cast.sitting)["Blue hour"] == list(range(7, 16))


def test_a_split_and_a_merge_outlast_the_next_proposal(cast):
    frames = shoot(cast, 1, 10, 0, CANVAS, SHIRT)
    shoot(cast, 11, 8, 20, DARK, COAT)
    sort.sort_sitting(cast.sitting.pk)
    frames[3].refresh_from_db()
    looks.split(frames[3], "Collar open", cast.as_owner)
    split = {"Look 1": [1, 2, 3], "Collar open": list(range(4, 11)), "Look 2": list(range(11, 19))}
    sort.sort_sitting(cast.sitting.pk)
    assert by_look(cast.sitting) == split
    collar, coat = cast.sitting.looks.get(title="Collar open"), cast.sitting.looks.get(title="Look 2")
    looks.merge(coat, collar, cast.as_owner)
    shoot(cast, 30, 2, 40, DARK, COAT)
    sort.sort_sitting(cast.sitting.pk)
    found = by_look(cast.sitting)
    assert found["Look 1"] == [1, 2, 3]
    assert set(found["Collar open"]) >= set(range(4, 19))
    take_back.undo(cast.sitting, cast.as_owner)
    assert by_look(cast.sitting)["Look 2"] == list(range(11, 19))


def test_frames_that_come_late_join_the_look_that_was_accepted(cast):
    for frame in shoot(cast, 1, 6, 0, CANVAS, SHIRT):
        looks.place_at_once(frame)
    sort.sort_sitting(cast.sitting.pk)
    looks.accept(cast.sitting.looks.get(), cast.as_owner)
    for frame in shoot(cast, 7, 3, 8, CANVAS, SHIRT):  # after a pause: by the clock alone another look
        looks.place_at_once(frame)
    assert cast.sitting.looks.count() == 2
    sort.sort_sitting(cast.sitting.pk)
    assert by_look(cast.sitting) == {"Look 1": list(range(1, 10))}


def test_planned_looks_are_filled_in_order_and_never_removed(cast):
    cast.look("Shirt, canvas")
    cast.look("Coat, dark")
    spare = cast.look("If time allows")
    shoot(cast, 1, 8, 0, CANVAS, SHIRT)
    shoot(cast, 9, 8, 20, DARK, COAT)
    sort.sort_sitting(cast.sitting.pk)
    assert by_look(cast.sitting) == {
        "Shirt, canvas": list(range(1, 9)),
        "Coat, dark": list(range(9, 17)),
        "If time allows": [],
    }
    assert Look.objects.filter(pk=spare.pk).exists()


def test_black_and_white_is_noticed(cast):
    shoot(cast, 1, 8, 0, CANVAS, SHIRT)
    grey = (40.0, 0.0, 0.0)
    shoot(cast, 9, 8, 20, grey, grey, monochrome=True)
    sort.sort_sitting(cast.sitting.pk)
    assert list(cast.sitting.looks.values_list("treatment", flat=True)) == ["colour", "monochrome"]


def test_runs_put_the_best_first_and_hide_nothing(cast):
    shut = {"face": {"right_openness": 0.05, "left_openness": 0.05}}
    first = shoot(cast, 1, 1, 0, CANVAS, SHIRT, **shut)
    rest = [
        cast.frame(
            number,
            captured_at=START + timedelta(seconds=number),
            reading=reading(CANVAS, SHIRT),
            reading_version=1,
            camera="Kelvar K2",
        )
        for number in (2, 3)
    ]
    apart = shoot(cast, 9, 1, 2, CANVAS, SHIRT, hash="ff00ff00ff00ff00")
    sort.sort_sitting(cast.sitting.pk)
    for frame in (*first, *rest, *apart):
        frame.refresh_from_db()
        assert not frame.hidden
    assert {frame.run for frame in (*first, *rest)} == {rest[0].run}
    assert rest[0].run is not None
    assert first[0].run_place == 2  # shut eyes come last
    assert apart[0].run is None


def test_an_archived_or_vanished_sitting_is_left_alone(cast):
    sort.sort_sitting(999_999)
    cast.sitting.stage = "archived"
    cast.sitting.save()
    shoot(cast, 1, 8, 0, CANVAS, SHIRT)
    sort.sort_sitting(cast.sitting.pk)
    assert not cast.sitting.looks.exists()
