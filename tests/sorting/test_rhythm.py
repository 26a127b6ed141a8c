"""Where most looks have the same count of frames, frames that tell nothing of themselves go by it; others never do."""

from __future__ import annotations

import itertools
import random
from dataclasses import replace

import numpy as np
import pytest

from galleries.sorting.frames import FrameNumbers
from galleries.sorting.looks import propose_looks
from galleries.sorting.rhythm import USUAL, in_rhythm
from tests.benchmarks.looks import boundary_f1, labels
from tests.sorting.sittings import of_kind
from tests.sorting.test_looks import NAVY, RED, block, firsts, untimed_with

LEAST = 3


def turns(lengths: list[int], unknown: tuple[int, ...] = ()) -> list[FrameNumbers]:
    """Navy and red in turns without a clock; the clothes of some frames are not seen."""
    frames: list[FrameNumbers] = []
    for k, length in enumerate(lengths):
        frames += block(1 + len(frames), length, 5.0 * len(frames), wardrobe=RED if k % 2 else NAVY)
    return [
        replace(f, captured_at=None, light=(-0.8, 0.3), wardrobe=None if i in unknown else f.wardrobe)
        for i, f in enumerate(frames)
    ]


def starts(lengths: list[int]) -> list[str]:
    return [f"A{1 + sum(lengths[:k]):04d}" for k in range(1, len(lengths))]


@pytest.mark.parametrize("unknown", [(6,), (5,), (12,), (5, 17), (6, 12), (5, 6), (11, 12, 18)])
def test_frames_that_tell_nothing_go_by_the_usual_count(unknown: tuple[int, ...]) -> None:
    assert firsts(propose_looks(turns([6] * 6, unknown))) == starts([6] * 6)


@pytest.mark.parametrize("lengths", [[6, 6, 7, 5, 6, 6, 6, 6], [5, 6, 6, 6, 6, 6, 6, 7]])
def test_a_frame_that_tells_is_not_overruled(lengths: list[int]) -> None:
    assert firsts(propose_looks(turns(lengths))) == starts(lengths)


@pytest.mark.parametrize("lengths", [[6, 9, 7, 12, 8, 5], [6, 6, 6], [6, 6, 9, 6, 12, 6]])
def test_without_a_usual_count_nothing_goes_by_it(lengths: list[int]) -> None:
    edges = [0, *itertools.accumulate(lengths)]
    places = [range(a - 2, a + 3) for a in edges[1:-1]]
    assert in_rhythm(edges[:-1], edges[-1], places, [np.zeros(5) for _ in places], LEAST) == edges[:-1]


@pytest.mark.parametrize("seed", range(12))
def test_as_by_trying_every_way(seed: int) -> None:
    """The cheapest of all 243 ways to lay five starts, each counted by itself."""
    rng = np.random.default_rng(seed)
    edges = [0, 5, 10, 16, 20, 25, 30]
    places = [range(a - 1, a + 2) for a in edges[1:-1]]
    costs = [np.round(rng.uniform(0, 3, 3), 3) for _ in places]

    def against(way: tuple[int, ...]) -> float:
        lengths = [b - a for a, b in itertools.pairwise([0, *way, 30])]
        own = sum(float(c[i - p[0]]) for i, p, c in zip(way, places, costs, strict=True))
        return own - USUAL * lengths.count(5) if min(lengths) >= LEAST else np.inf

    best = min(itertools.product(*places), key=against)
    lengths = [b - a for a, b in itertools.pairwise([0, *best, 30])]
    expected = [0, *best] if lengths.count(5) >= 5 else edges[:-1]
    assert in_rhythm(edges[:-1], 30, places, costs, LEAST) == expected


def test_a_boundary_laid_by_count_is_still_told_as_unsure() -> None:
    reasons = propose_looks(turns([6] * 6, (12,))).boundaries[1].reasons
    assert reasons[0].code in {"look.maybe_earlier", "look.maybe_later", "look.maybe_either"}
    assert propose_looks(turns([6] * 6)).boundaries[1].reasons[0].code == "look.wardrobe_changes"


def test_two_looks_are_no_rhythm() -> None:
    assert firsts(propose_looks(untimed_with(()))) == ["A0021"]


@pytest.mark.parametrize(("kind", "number"), [("turns outfit", 59), ("turns backdrop", 1), ("turns outfit", 12)])
def test_turns_of_the_same_count_meet_their_truth(kind: str, number: int) -> None:
    day = of_kind(kind, number)
    assert boundary_f1(*labels(day, propose_looks(day.frames))) == 1.0


def test_any_lengths_are_kept_where_all_frames_tell() -> None:
    rng = random.Random(5)
    for _ in range(10):
        lengths = [rng.choice((6, 6, 6, 7, 9)) for _ in range(7)]
        assert firsts(propose_looks(turns(lengths))) == starts(lengths)
