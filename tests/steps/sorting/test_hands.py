"""Where the program's proposal gives way: beside a person's frames, in looks a person touched; when it is silent."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from galleries.models import Frame, JournalLine, Look, Sitting
from galleries.sorting.cast import AB
from galleries.steps.sorting import sort
from galleries.told import Told
from galleries.words.steps import Code
from tests.cast import Cast, make_cast
from tests.steps.sorting.test_sort import CANVAS, COAT, DARK, SHIRT, reading

WHY = Told(Code.FIRST_FRAMES)
A, B, C = 1, 2, 3  # looks


def lying(text: str) -> list[Frame]:
    """Frames 1, 2, …, as they lie: a letter is the look, '-' none, a capital one was put there by a person."""
    looks = {"a": A, "b": B, "c": C, "-": None, "x": None}
    return [Frame(pk=at, look_id=looks[sign.lower()], placed_by_hand=sign.isupper()) for at, sign in enumerate(text, 1)]


@pytest.mark.parametrize(
    ("text", "moves"),
    [
        ("A--", {A: [2, 3]}),  # what comes after a placed frame goes with it
        ("--A", {A: [1, 2]}),  # loose frames before it have nowhere else to go
        ("bbAbb", {}),  # one exception among more that lie elsewhere takes none along
        ("bbAAAb", {A: [6]}),  # more hands than frames elsewhere: what comes after goes with them
        ("bbAAbb", {}),  # as many: they stay
        ("bbAAAbb", {A: [6, 7]}),
        ("bb-A", {B: [3]}),  # before the first hand: with what most of them lie in
        ("bbcc-cA", {C: [5]}),
        ("AA-BB-", {A: [3], B: [6]}),  # each with the hand before it
        ("AAbB-", {A: [3], B: [5]}),
        ("AX-", {A: [3]}),  # taken out of every look by a person: no look begins there
        ("XA-", {A: [3]}),
        ("-XA", {A: [1]}),
        ("Abb", {}),
        ("AAbX", {A: [3]}),
    ],
)
def test_what_lies_before_a_hand_stays_and_what_comes_after_goes_with_it(
    text: str, moves: dict[int, list[int]]
) -> None:
    assert sort._beside_hands(lying(text)) == moves


@pytest.fixture
def cast(db: None) -> Cast:
    return make_cast(stage="planning")


def put(cast: Cast, look: Look, *numbers: int, by_hand: bool = False) -> list[Frame]:
    return [cast.frame(number, look, placed_by_hand=by_hand) for number in numbers]


def test_a_look_is_a_groups_own_where_it_lies_free_or_with_half_of_the_look(cast: Cast) -> None:
    free, half, less, other = (cast.look(title) for title in ("Free", "Half", "Less", "Other"))
    members = [
        *put(cast, free, 1), *put(cast, half, 2, 3, by_hand=True), *put(cast, less, 4, by_hand=True), cast.frame(5)
    ]  # fmt: skip
    put(cast, free, 11, 12, 13, 14)
    put(cast, half, 21, 22)
    put(cast, less, 31, 32)
    put(cast, other, 41)
    assert set(sort._own_looks(members)) == {free.pk, half.pk}


def test_a_group_goes_where_most_of_it_lies_unless_others_were_put_there_by_hand(cast: Cast) -> None:
    most, few, planned = cast.look("Most"), cast.look("Few"), cast.look("Planned")
    members = [*put(cast, most, 1, 2, 3), *put(cast, few, 4, 5), cast.frame(6)]
    assert sort._look_for(cast.sitting, members, []) == most
    assert sort._look_for(cast.sitting, members, [most.pk]) == few
    put(cast, most, 11, 12, by_hand=True)
    assert sort._look_for(cast.sitting, members, []) == most
    put(cast, most, 13, by_hand=True)  # as many by hand as lie there of the group
    assert sort._look_for(cast.sitting, members, []) == few
    assert sort._look_for(cast.sitting, members, [few.pk]) == planned
    assert sort._look_for(cast.sitting, members, [few.pk, planned.pk]) is None
    assert sort._look_for(make_cast("beside").sitting, [], []) is None


@pytest.mark.parametrize("where", ["in the group", "in the look", "nowhere"])
@pytest.mark.parametrize("monochrome", [True, False])
def test_a_reason_is_given_for_looks_that_no_hand_has_touched(cast: Cast, where: str, monochrome: bool) -> None:
    look, other = cast.look("One"), cast.look("Other")
    members = put(cast, look, 1, by_hand=where == "in the group")
    put(cast, look, 2, by_hand=where == "in the look")
    put(cast, other, 3, by_hand=True)
    if where == "in the group":
        Frame.objects.update(placed_by_hand=False)  # as it was loaded, though not as it is
    sort._say_why(look, members, WHY, monochrome)
    look.refresh_from_db()
    other.refresh_from_db()
    assert bool(look.proposed_reason) is (where == "nowhere")
    assert look.treatment == ("monochrome" if monochrome and where == "nowhere" else "colour")
    assert (other.proposed_reason, other.treatment) == ("", "colour")


def test_looks_of_the_program_alone_are_numbered_and_an_empty_one_goes(cast: Cast) -> None:
    one, two, empty = (cast.look(title, made_by_program=True) for title in ("Look 7", "Look 8", "Look 9"))
    theirs = make_cast("beside").look("Look 7", made_by_program=True)
    put(cast, one, 1)
    put(cast, two, 2)
    sort._drop_empty(cast.sitting)
    assert not Look.objects.filter(pk=empty.pk).exists()
    assert Look.objects.filter(pk=theirs.pk).exists()
    sort._put_in_order(cast.sitting, [two.pk, one.pk])
    assert [(look.pk, look.title) for look in cast.sitting.looks.all()] == [(two.pk, "Look 1"), (one.pk, "Look 2")]
    planned = cast.look("Planned")
    sort._drop_empty(cast.sitting)
    sort._put_in_order(cast.sitting, [one.pk, two.pk])
    assert [look.pk for look in cast.sitting.looks.all()] == [two.pk, one.pk, planned.pk]


def shoot(
    cast: Cast, start: int, count: int, minute: float, backdrop: Any, wardrobe: Any, apart: int = 7, **more: Any
) -> list[Frame]:
    began = datetime(2026, 5, 4, 10, tzinfo=UTC) + timedelta(minutes=minute)
    return [
        cast.frame(
            start + at, captured_at=began + timedelta(seconds=apart * at), camera="Kelvar K2", **more,
            reading=reading(backdrop, wardrobe),
        )
        for at in range(count)
    ]  # fmt: skip


def test_a_proposal_says_how_many_frames_it_moved_and_a_second_one_says_nothing(cast: Cast) -> None:
    other = make_cast("beside", stage="planning")
    shoot(other, 1, 3, 0, CANVAS, SHIRT)
    shoot(cast, 1, 8, 0, CANVAS, SHIRT)
    shoot(cast, 9, 8, 20, DARK, COAT)
    assert sort.place(cast.sitting) == 16
    (line,) = JournalLine.objects.all()
    assert (line.verb, line.who, line.thing, line.detail) == ("looks proposed", "the program", "2", {"moved": 16})
    change = Sitting.objects.get(pk=cast.sitting.pk).change
    assert sort.place(cast.sitting) == 0
    assert JournalLine.objects.count() == 1
    assert Sitting.objects.get(pk=cast.sitting.pk).change == change
    assert not other.sitting.looks.exists()
    assert {frame.placed_by_hand for frame in cast.sitting.frames.all()} == {False}
    assert [look.made_by_program for look in cast.sitting.looks.all()] == [True, True]


def test_the_look_of_a_group_with_a_hand_in_it_is_not_given_to_the_next_group_too(cast: Cast) -> None:
    """By the clock all lay in one; a person has placed the first frame there."""
    one = cast.look("One")
    shoot(cast, 1, 8, 0, CANVAS, SHIRT, look=one)
    shoot(cast, 9, 8, 20, DARK, COAT, look=one)
    cast.sitting.frames.filter(number=1).update(placed_by_hand=True)
    sort.place(cast.sitting)
    assert set(one.frames.values_list("number", flat=True)) == set(range(1, 9))
    assert set(cast.sitting.looks.get(title="Look 2").frames.values_list("number", flat=True)) == set(range(9, 17))


def test_a_proposal_is_whole_or_not_at_all(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    shoot(cast, 1, 8, 0, CANVAS, SHIRT)

    def broken(*_words: object, **_more: object) -> None:
        raise ArithmeticError

    monkeypatch.setattr(JournalLine, "write", broken)
    with pytest.raises(ArithmeticError):
        sort.place(cast.sitting)
    assert not cast.sitting.looks.exists()
    assert not cast.sitting.frames.exclude(look=None).exists()


def test_a_frame_placed_after_the_proposal_was_made_is_not_moved(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    """A person's hand comes between the reading of the frames and the writing."""
    first = shoot(cast, 1, 8, 0, CANVAS, SHIRT)[0]
    new_look = sort._new_look

    def meanwhile(sitting: Sitting) -> Look:
        mine = cast.look("Mine")
        Frame.objects.filter(pk=first.pk).update(look=mine, placed_by_hand=True)
        return new_look(sitting)

    monkeypatch.setattr(sort, "_new_look", meanwhile)
    sort.place(cast.sitting)
    assert {look.title: look.frames.count() for look in cast.sitting.looks.all()} == {"Mine": 1, "Look 2": 7}
    assert Frame.objects.get(pk=first.pk).placed_by_hand


def test_what_was_read_while_it_sorted_is_sorted_too(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    shoot(cast, 1, 4, 0, CANVAS, SHIRT)
    late = iter([lambda: shoot(cast, 5, 1, 1, CANVAS, SHIRT), lambda: None])
    stack, rounds = sort.stack, []

    def stacked(sitting: Sitting) -> None:
        stack(sitting)
        rounds.append(next(late)())

    monkeypatch.setattr(sort, "stack", stacked)
    sort.sort_sitting(cast.sitting.pk)
    assert len(rounds) == 2
    assert not cast.sitting.frames.filter(look=None).exists()


def test_runs_are_numbered_through_the_sitting_and_never_across_looks(cast: Cast) -> None:
    one, two = cast.look("One"), cast.look("Two")
    for look, start in ((one, 1), (two, 11)):
        shoot(cast, start, 3, start / 100, CANVAS, SHIRT, apart=1, look=look)
    lone = shoot(cast, 30, 1, 50, CANVAS, SHIRT, run=9, look=one)[0]
    other = make_cast("beside")
    shoot(other, 1, 1, 0, CANVAS, SHIRT, run=77)
    sort.stack(cast.sitting)
    runs = [set(look.frames.exclude(pk=lone.pk).values_list("run", flat=True)) for look in (one, two)]
    assert [len(numbers) for numbers in runs] == [1, 1]
    assert len((runs[0] | runs[1]) - {None}) == 2
    assert sorted(two.frames.values_list("run_place", flat=True)) == [0, 1, 2]
    lone.refresh_from_db()
    assert (lone.run, lone.run_place) == (None, 0)
    assert other.sitting.frames.get().run == 77
    assert Sitting.objects.get(pk=cast.sitting.pk).change == 1


def test_skin_is_held_against_its_own_look_only() -> None:
    """Five frames of a look agree, the sixth is redder; in another look that is how skin is."""

    def frame(pk: int, look: int | None, a: float | None) -> tuple[int, int | None, AB | None]:
        return pk, look, (a, 12.0) if a is not None else None

    frames = [frame(pk, A, 10.0) for pk in range(1, 6)] + [frame(6, A, 20.0), frame(7, A, None)]
    frames += [frame(pk, B, 20.0) for pk in range(11, 16)] + [frame(20, None, 20.0), frame(21, C, 20.0)]
    found = sort.skin_casts(frames)
    assert set(found) == {*range(1, 7), *range(11, 16)}
    assert [pk for pk, cast in found.items() if cast.marked] == [6]
    assert (found[6].a, found[6].b, found[6].towards) == (10.0, 0.0, "red")


def test_to_sorting_a_frame_is_its_readings_and_the_cameras_clock_as_it_stood() -> None:
    at = datetime(2026, 5, 4, 10, 30, tzinfo=UTC)
    numbers = sort.numbers(Frame(pk=7, captured_at=at, camera="K2", number=412, reading=reading(CANVAS, SHIRT)))
    assert (numbers.id, numbers.captured_at, numbers.camera) == ("7", datetime(2026, 5, 4, 10, 30), "K2")
    assert sort.numbers(Frame(pk=8)).captured_at is None
