"""The plan of an invented sitting: what the demo and the tests of others may count on."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from itertools import pairwise

import pytest

from galleries.painter import plan_sitting

SEEDS = (1, 4, 9, 23)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_sitting_has_looks_frames_blinks_and_soft_frames(seed: int) -> None:
    plan = plan_sitting(seed)
    assert len(plan.looks) >= 4
    assert len(plan.frames) >= 44
    assert {look.purpose for look in plan.looks} == {"casting", "portfolio"}
    assert {look.treatment for look in plan.looks} == {"colour", "black and white"}
    assert any(look.gel != "none" for look in plan.looks)
    per_look = Counter(frame.look for frame in plan.frames)
    assert set(per_look) == {look.slug for look in plan.looks}
    assert min(per_look.values()) >= 8
    blinks = [frame for frame in plan.frames if frame.lids < 0.3]
    assert len({frame.look for frame in blinks}) == len(plan.looks)
    assert len(blinks) < len(plan.frames) / 5
    assert len([frame for frame in plan.frames if frame.soft]) >= len(plan.looks)
    assert {frame.framing for frame in plan.frames} == {"head", "half"}
    assert {frame.orientation for frame in plan.frames} in ({1, 6}, {1, 8})
    assert any(frame.wide for frame in plan.frames)
    assert all(frame.orientation == 1 for frame in plan.frames if frame.wide)


@pytest.mark.parametrize("seed", SEEDS)
def test_two_looks_share_a_set_up_and_differ_in_what_is_worn(seed: int) -> None:
    looks = plan_sitting(seed).looks
    pairs = [(a, b) for a in looks for b in looks if a.slug < b.slug and a.ground == b.ground and a.lights == b.lights]
    assert pairs
    assert all(a.wardrobe != b.wardrobe for a, b in pairs)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_clock_rises_and_does_not_give_the_looks_away(seed: int) -> None:
    frames = plan_sitting(seed).frames
    gaps = [(b.captured_at - a.captured_at).total_seconds() for a, b in pairwise(frames)]
    assert min(gaps) > 0.3
    changes = [gap for gap, a, b in zip(gaps, frames, frames[1:], strict=False) if a.look != b.look]
    within = [gap for gap, a, b in zip(gaps, frames, frames[1:], strict=False) if a.look == b.look]
    assert min(changes) > 240
    assert sum(gap > 300 for gap in within) == 1  # one pause inside a look ...
    assert max(within) > min(changes)  # ... longer than the quickest change of clothes


@pytest.mark.parametrize("seed", SEEDS)
def test_names_are_a_cameras_with_one_gap_in_the_numbers(seed: int) -> None:
    frames = plan_sitting(seed).frames
    assert all(re.fullmatch(r"[A-Z]{3}_\d{4}\.JPG", frame.name) for frame in frames)
    assert len({frame.name for frame in frames}) == len(frames)
    steps = Counter(b.number - a.number for a, b in pairwise(frames))
    assert steps == {1: len(frames) - 2, 5: 1}
    assert all(frame.name.endswith(f"_{frame.number:04d}.JPG") for frame in frames)


@pytest.mark.parametrize("seed", SEEDS)
def test_near_identical_runs_lie_within_one_look_and_differ_little(seed: int) -> None:
    plan = plan_sitting(seed)
    runs = defaultdict(list)
    for frame in plan.frames:
        runs[frame.run].append(frame)
    long_runs = [run for run in runs.values() if len(run) >= 3]
    assert len(long_runs) == len(plan.looks)
    for run in long_runs:
        assert len({(frame.look, frame.framing) for frame in run}) == 1
        assert max(abs(a.yaw - run[0].yaw) for a in run) < 4


def test_a_seed_is_one_person_and_seeds_differ() -> None:
    assert plan_sitting(5) == plan_sitting(5)
    people = [plan_sitting(seed).actor for seed in range(12)]
    assert len({person.style for person in people}) >= 3
    assert len({person.skin for person in people}) == 12


def test_an_unknown_look_is_named() -> None:
    with pytest.raises(KeyError, match="no look 'seaside'"):
        plan_sitting(1).look("seaside")
