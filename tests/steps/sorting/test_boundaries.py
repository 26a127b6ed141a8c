"""The edge between two looks, moved to another frame or taken away."""

from __future__ import annotations

import pytest

from galleries.errors import BadInput
from galleries.models import Frame, JournalLine, Look
from galleries.steps.sorting import boundaries, take_back
from tests.cast import Cast, make_cast


@pytest.fixture
def cast(db: None) -> Cast:
    """Frames 1 to 3 in “One”, none in “Empty”, 4 to 6 in “Two”, 7 in “Three”; another sitting lies beside."""
    cast = make_cast()
    for title, numbers in (("One", (1, 2, 3)), ("Empty", ()), ("Two", (4, 5, 6)), ("Three", (7,))):
        look = cast.look(title, proposed_reason="a pause", made_by_program=True)
        for number in numbers:
            cast.frame(number, look)
    other = make_cast("beside")
    other.frame(1, other.look("Theirs"))
    return cast


def look(cast: Cast, title: str) -> Look:
    return cast.sitting.looks.get(title=title)


def numbers(cast: Cast) -> dict[str, list[int]]:
    return {
        one.title: list(one.frames.order_by("number").values_list("number", flat=True))
        for one in cast.sitting.looks.all()
    }


@pytest.mark.parametrize(
    ("title", "before"), [("One", None), ("Empty", "One"), ("Two", "One"), ("Three", "Two"), ("Theirs", None)]
)
def test_the_look_before_is_the_nearest_with_frames_of_the_same_sitting(
    cast: Cast, title: str, before: str | None
) -> None:
    found = boundaries.look_before(Look.objects.get(title=title))
    assert (found.title if found else None) == before


@pytest.mark.parametrize(
    ("first", "one", "two", "moved"),
    [
        (2, [1], [2, 3, 4, 5, 6], [2, 3]),  # earlier: the frames from it on join the look
        (1, [], [1, 2, 3, 4, 5, 6], [1, 2, 3]),
        (5, [1, 2, 3, 4], [5, 6], [4]),  # later: those before it go back
        (6, [1, 2, 3, 4, 5], [6], [4, 5]),
        (4, [1, 2, 3], [4, 5, 6], []),  # where it is: agreed with, and nothing moves
    ],
)
def test_a_look_begins_with_the_frame_it_is_told_to(
    cast: Cast, first: int, one: list[int], two: list[int], moved: list[int]
) -> None:
    boundaries.move_start(look(cast, "Two"), cast.sitting.frames.get(number=first), cast.as_owner)
    assert numbers(cast) == {"One": one, "Empty": [], "Two": two, "Three": [7]}
    by_hand = cast.sitting.frames.filter(placed_by_hand=True).order_by("number").values_list("number", flat=True)
    assert list(by_hand) == sorted({*moved, *two})
    after = look(cast, "Two")
    assert (after.proposed_reason, after.made_by_program) == ("", False)
    assert look(cast, "Three").proposed_reason == "a pause"
    lines = JournalLine.objects.filter(sitting=cast.sitting).order_by("pk")
    assert [line.verb for line in lines] == [*(["frames moved"] if moved else []), "look accepted"]
    if moved:
        take_back.undo(cast.sitting, cast.as_owner)
        assert numbers(cast) == {"One": [1, 2, 3], "Empty": [], "Two": [4, 5, 6], "Three": [7]}


@pytest.mark.parametrize(("title", "first"), [("One", 2), ("Two", 7), ("Three", 1)])
def test_a_first_look_and_a_frame_of_a_third_are_refused(cast: Cast, title: str, first: int) -> None:
    before = numbers(cast)
    with pytest.raises(BadInput):
        boundaries.move_start(look(cast, title), cast.sitting.frames.get(number=first), cast.as_owner)
    assert numbers(cast) == before
    assert not JournalLine.objects.exists()


def test_a_frame_without_a_look_begins_none(cast: Cast) -> None:
    loose = cast.frame(9)
    with pytest.raises(BadInput, match=r"Frame 0009 is neither in “Two”"):
        boundaries.move_start(look(cast, "Two"), loose, cast.as_owner)


def test_where_two_frames_have_one_moment_the_name_says_which_is_first(cast: Cast) -> None:
    Frame.objects.update(captured_at=cast.sitting.frames.get(number=1).captured_at)
    boundaries.move_start(look(cast, "Two"), cast.sitting.frames.get(number=5), cast.as_owner)
    assert numbers(cast)["One"] == [1, 2, 3, 4]


def test_an_edge_taken_away_joins_the_look_before_it(cast: Cast) -> None:
    assert boundaries.take_away(look(cast, "Two"), cast.as_owner) == look(cast, "One")
    assert numbers(cast) == {"One": [1, 2, 3, 4, 5, 6], "Empty": [], "Three": [7]}
    with pytest.raises(BadInput, match="none before it to join"):
        boundaries.take_away(look(cast, "One"), cast.as_owner)
    assert numbers(cast) == {"One": [1, 2, 3, 4, 5, 6], "Empty": [], "Three": [7]}
