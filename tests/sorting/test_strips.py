"""Strips of a day: what a slate that was read decides, and what is only shown. Common practice on set, no source."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from galleries.sorting.strips import Doubt, Shot, Strip, goes_back, strips

START = datetime(2026, 11, 26, 9, 0)
SITTERS = {"A": 1, "B": 2, "C": 3}


def card(text: str, camera: str = "one", first: int = 0) -> list[Shot]:
    """A letter is a slate of that code, '?' one that cannot be read, '.' a frame, '~' one not looked at."""
    return [
        Shot(
            first + n,
            camera,
            START + timedelta(minutes=n),
            100 + n,
            sign if sign.isalpha() else "",
            sign == "?",
            sign == "~",
        )
        for n, sign in enumerate(text)
    ]


def told(rows: list[Strip]) -> list[tuple[int | None, int, Doubt | None]]:
    return [(row.sitter, len(row.frames), row.doubt) for row in rows]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("A..B...C.", [(1, 2, None), (2, 3, None), (3, 1, None)]),
        ("A..B.A..", [(1, 2, None), (2, 1, None), (1, 2, None)]),
        ("AA..", [(1, 0, None), (1, 2, None)]),
        ("..A..", [(None, 2, Doubt.NO_SLATE), (1, 2, None)]),
        ("A.?..B.", [(1, 1, None), (None, 2, Doubt.UNREAD), (2, 1, None)]),
        ("A.X..", [(1, 1, None), (None, 2, Doubt.UNKNOWN)]),
        ("..A...B", [(None, 2, Doubt.AFTERWARDS), (1, 3, Doubt.AFTERWARDS), (2, 0, Doubt.AFTERWARDS)]),
        ("A.~.", [(1, 3, Doubt.NOT_READ)]),
        ("....", [(None, 4, Doubt.NO_SLATE)]),
    ],
)
def test_one_camera(text: str, expected: list[tuple[int | None, int, Doubt | None]]) -> None:
    assert told(strips(card(text), SITTERS)) == expected


def test_who_comes_back_is_said_to_and_a_slate_taken_twice_is_not() -> None:
    assert [row.again for row in strips(card("A..B.A."), SITTERS)] == [False, False, True]
    assert [row.again for row in strips(card("AA.."), SITTERS)] == [False, False]


def test_a_camera_without_slates_is_cut_by_the_others_clock_and_never_sure() -> None:
    second = card("......", "two", 50)
    rows = strips([*card("A..B.."), *second], SITTERS)
    assert [row.sitter for row in rows if row.camera == "two"] == [1, 2]
    assert {row.doubt for row in rows if row.camera == "two"} == {Doubt.OTHER_CAMERA}
    assert not any(row.is_sure for row in rows if row.camera == "two")
    assert all(row.is_sure for row in rows if row.camera == "one")


def test_files_without_a_moment_are_nobodys_even_after_a_slate() -> None:
    timeless = [Shot(90, "one", None), Shot(91, "one", None, code="A")]
    rows = strips([*card("A."), *timeless], SITTERS)
    assert [(row.doubt, row.slate, row.frames) for row in rows[1:]] == [
        (Doubt.NO_TIME, 91, []),
        (Doubt.NO_TIME, None, [90]),
    ]


def test_every_shot_is_in_one_strip() -> None:
    shots = [*card("..A.B?.~.X."), *card("....", "two", 40), Shot(99, "", None)]
    rows = strips(shots, SITTERS)
    lying = [pk for row in rows for pk in (*row.frames, *([row.slate] if row.slate is not None else []))]
    assert sorted(lying) == sorted(shot.pk for shot in shots)


def test_a_clock_set_during_the_day_is_seen_and_numbers_that_begin_anew_are_not_taken_for_one() -> None:
    shots = card("A...")
    assert not goes_back(shots)
    back = Shot(8, "one", START - timedelta(hours=1), 140)
    assert goes_back([*shots, back])
    anew = [Shot(1, "one", START, 9999), Shot(2, "one", START + timedelta(minutes=1), 1)]
    assert not goes_back(anew)
