"""One rule for what a side says, wherever it is shown."""

from __future__ import annotations

from itertools import permutations

import pytest

from galleries.sorting import sides

RULE = [
    # marks of one side's people, the side's word, why
    ((), "", "nobody spoke"),
    (("",), "", "taken back says nothing"),
    (("", ""), "", "taken back twice"),
    (("pick",), "pick", "one voice"),
    (("alternate",), "alternate", "one voice"),
    (("strike",), "strike", "one voice"),
    (("pick", "pick"), "pick", "of one mind"),
    (("pick", "alternate"), "pick", "somebody wants it"),
    (("pick", "strike"), "pick", "somebody wants it; the strike is seen beside it"),
    (("pick", ""), "pick", "the other said nothing"),
    (("alternate", "strike"), "strike", "a spare that one refuses is no spare"),
    (("alternate", ""), "alternate", "the other said nothing"),
    (("strike", ""), "strike", "the other said nothing"),
    (("alternate", "alternate"), "alternate", "of one mind"),
    (("pick", "alternate", "strike"), "pick", "somebody wants it"),
    (("alternate", "strike", ""), "strike", "the third said nothing"),
]


@pytest.mark.parametrize(("marks", "word", "why"), RULE, ids=[" ".join(one[0]) + f": {one[2]}" for one in RULE])
def test_the_rule_whoever_spoke_first(marks: tuple[str, ...], word: str, why: str) -> None:
    assert {sides.says(order) for order in permutations(marks)} == {word}, why


@pytest.mark.parametrize(
    ("voices", "place"),
    [
        ((), None),
        ((("pick", None),), None),
        ((("pick", 3),), 3),
        ((("alternate", 3),), 3),
        ((("pick", 3), ("pick", 2)), 2),
        ((("pick", None), ("pick", 2)), 2),  # one of them ranks nothing
        ((("strike", 1),), None),  # ranked first, then struck
        ((("", 1),), None),  # ranked first, then taken back
        ((("strike", 1), ("pick", 4)), 4),
    ],
)
def test_a_place_counts_while_the_person_wants_the_frame(
    voices: tuple[tuple[str, int | None], ...], place: int | None
) -> None:
    assert sides.place(voices) == place
    assert sides.place(reversed(voices)) == place
