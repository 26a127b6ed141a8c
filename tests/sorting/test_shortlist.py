"""The proposal of a final list, against trying every list (small cases, so that nothing is left to the solver)."""

from __future__ import annotations

from itertools import combinations
from unittest import mock

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from galleries.sorting import shortlist
from galleries.sorting.shortlist import Candidate, alike, propose, score, worth

KINDS = st.sampled_from(["", "pick", "alternate", "strike"])
PLACE = st.none() | st.integers(1, 6)


@st.composite
def candidates(draw: st.DrawFn) -> list[Candidate]:
    count = draw(st.integers(0, 9))
    return [
        Candidate(
            key,
            draw(KINDS),
            draw(KINDS),
            draw(PLACE),
            draw(PLACE),
            draw(st.none() | st.integers(1, 3)),
            draw(st.sampled_from(["casting", "portfolio", ""])),
            draw(st.none() | st.integers(1, 3)),
            draw(st.just(()) | st.tuples(st.floats(-1, 1), st.floats(-1, 1))),
            draw(st.sampled_from(["", "serious", "slight", "smiling"])),
            draw(st.sampled_from(["", "open", "intense"])),
        )
        for key in range(count)
    ]


def best_by_trying(found: list[Candidate], allowance: int) -> float:
    usable = [one for one in found if worth(one) > 0]
    return max(score(some) for n in range(min(allowance, len(usable)) + 1) for some in combinations(usable, n))


@settings(max_examples=120, deadline=None)
@given(candidates(), st.integers(0, 6))
def test_no_list_is_better(found: list[Candidate], allowance: int) -> None:
    made = propose(found, allowance)
    chosen = [one for one in found if one.key in made.chosen]
    assert len(made.chosen) <= allowance
    assert all(worth(one) > 0 for one in chosen)
    assert made.score == pytest.approx(score(chosen))
    assert made.score == pytest.approx(best_by_trying(found, allowance), abs=1e-6)
    assert made.gap <= 1e-6
    assert set(made.reasons) == set(made.chosen)


@settings(max_examples=80, deadline=None)
@given(candidates(), st.integers(1, 6), st.integers(1, 8))
def test_of_many_frames_no_list_is_better_by_more_than_the_gap(
    frames: list[Candidate], allowance: int, few: int
) -> None:
    with mock.patch.object(shortlist, "_FEW", few):  # as if nine were many
        proposal = propose(frames, allowance)
    best = best_by_trying(frames, allowance)
    assert len(proposal.chosen) <= allowance
    assert proposal.score == pytest.approx(score([one for one in frames if one.key in proposal.chosen]))
    assert proposal.score >= best * (1 - proposal.gap) - 1e-6
    assert proposal.gap > 1e-6 or proposal.score == pytest.approx(best, abs=1e-6)


def test_a_large_sitting_is_solved_to_the_end() -> None:
    """80 marked frames in 5 looks and 20 runs: near the most that two people mark; the solver proves its list."""
    rng = np.random.default_rng(5)
    kinds = ["pick", "pick", "alternate", ""]
    found = [
        Candidate(
            key,
            kinds[rng.integers(4)],
            kinds[rng.integers(4)],
            int(rng.integers(1, 30)),
            None,
            int(key // 16),
            "casting" if key < 48 else "portfolio",
            int(key // 4),
            tuple(float(x) for x in rng.normal(size=3)),
        )
        for key in range(80)
    ]
    made = propose(found, 10, seconds=60)
    assert made.gap <= 1e-6
    assert len(made.chosen) == 10
    assert len({found[key].look for key in made.chosen}) == 5
    assert len({found[key].run for key in made.chosen}) == 10


def test_both_sides_come_before_one() -> None:
    found = [Candidate(1, "pick", "pick"), Candidate(2, "pick", ""), Candidate(3, "", "pick")]
    made = propose(found, 1)
    assert made.chosen == (1,)
    assert [reason.code for reason in made.reasons[1]] == ["both"]


def test_of_two_nearly_the_same_one_stays_and_the_reason_names_the_other() -> None:
    twins = [Candidate(1, "pick", "pick", look=1, run=7), Candidate(2, "pick", "pick", look=1, run=7)]
    other = Candidate(3, "pick", "", look=1)
    made = propose([*twins, other], 2)
    assert set(made.chosen) == {1, 3} or set(made.chosen) == {2, 3}
    (left,) = made.left_out.items()
    assert left[1].code == "same_run"
    assert left[1].other in made.chosen


def test_a_look_nobody_else_covers_is_worth_more_than_a_second_of_the_same() -> None:
    found = [
        Candidate(1, "pick", "pick", look=1, purpose="casting"),
        Candidate(2, "pick", "", look=1, purpose="casting"),
        Candidate(3, "", "pick", look=2, purpose="portfolio"),
    ]
    made = propose(found, 2)
    assert set(made.chosen) == {1, 3}
    assert {reason.code for reason in made.reasons[3]} == {"representation", "only_look", "only_purpose"}


def test_what_either_side_struck_is_never_proposed() -> None:
    assert propose([Candidate(1, "pick", "strike"), Candidate(2, "strike", "pick")], 5).chosen == ()


def test_the_own_order_breaks_a_tie() -> None:
    found = [Candidate(1, "pick", "", place_subject=2), Candidate(2, "pick", "", place_subject=1)]
    assert propose(found, 1).chosen == (2,)


def test_alike_is_symmetric_and_falls_with_distance() -> None:
    a, b = Candidate(1, look=1, expression=(0.0, 0.0)), Candidate(2, look=1, expression=(0.3, 0.0))
    far = Candidate(3, look=1, expression=(5.0, 0.0))
    assert alike(a, b) == alike(b, a) > alike(a, far) == 0


WORTH = [
    # marks of subject and representation, their places, worth: 4 a pick, 3 more for both, 1.5 an alternate, 1/place
    (("", ""), (None, None), 0),
    (("pick", ""), (None, None), 4),
    (("", "pick"), (None, None), 4),
    (("alternate", ""), (None, None), 1.5),
    (("pick", "alternate"), (None, None), 5.5),
    (("alternate", "alternate"), (None, None), 3),
    (("pick", "pick"), (None, None), 11),
    (("pick", "pick"), (1, 2), 12.5),
    (("pick", ""), (None, 4), 4.25),
    (("", ""), (1, 1), 0),
    (("pick", "strike"), (1, None), 0),
    (("strike", "pick"), (None, None), 0),
]


@pytest.mark.parametrize(("marks", "places", "value"), WORTH)
def test_what_a_frame_is_worth(marks: tuple[str, str], places: tuple[int | None, int | None], value: float) -> None:
    assert worth(Candidate(1, *marks, *places)) == value


def test_what_likeness_costs_and_spread_adds() -> None:
    one = Candidate(1, "pick", look=1, purpose="casting", run=3, expression=(0.0, 0.0))
    same, half = (Candidate(2, "pick", look=1, expression=(x, 0.0)) for x in (0.0, 0.5))
    assert (alike(one, same), alike(one, half)) == (2, 1)
    assert alike(one, Candidate(3, look=2, expression=(0.0, 0.0))) == 0
    assert alike(one, Candidate(3, look=1)) == 0
    assert alike(one, Candidate(3, look=2, run=3)) == 30  # more than any frame is worth
    assert score([one]) == 4 + 2.5 + 3
    assert score([one, same]) == 4 + 4 + 2.5 + 3 - 2
    assert score([one, Candidate(3, "pick", look=2, purpose="portfolio")]) == 8 + 2 * 2.5 + 2 * 3
    assert score([Candidate(1, "pick"), Candidate(2, "pick")]) == 8  # frames of no look, no run and no purpose


def test_a_range_that_is_covered_counts_and_is_explained() -> None:
    smiling = [Candidate(key, "pick", "pick", smile="smiling") for key in (1, 2)]
    serious = Candidate(3, "pick", "pick", smile="serious", intensity="intense")
    assert score([*smiling, serious]) == 3 * 11 + 2 * 1.5 + 1.0
    proposal = propose([*smiling, serious], 2)
    assert serious.key in proposal.chosen
    codes = [reason.code for reason in proposal.reasons[serious.key]]
    assert codes == ["both", "only_serious", "only_intense"]
    # What was not read covers nothing and is not called the only one of its kind.
    unread = propose([Candidate(1, "pick"), Candidate(2, "pick", smile="serious")], 2)
    assert [reason.code for reason in unread.reasons[1]] == ["subject"]


def test_bad_input_is_named() -> None:
    with pytest.raises(ValueError, match="-1"):
        propose([], -1)
    with pytest.raises(ValueError, match="twice"):
        propose([Candidate(1), Candidate(1)], 2)
