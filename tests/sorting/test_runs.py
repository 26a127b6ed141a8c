from __future__ import annotations

from datetime import datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from galleries.sorting.codes import Code
from galleries.sorting.eyes import eyes_closed, usual
from galleries.sorting.frames import FrameNumbers
from galleries.sorting.runs import find_runs
from galleries.told import told

START = datetime(2026, 5, 4, 11, 0)
BASE = 0x0F0F_3C3C_5555_AAAA


def frame(
    name: str, seconds: float | None = 0.0, bits: int = 0, *, openness: float | None = 0.33,
    sharpness: float | None = 0.3, camera: str = "A", seen: bool = True,
) -> FrameNumbers:  # fmt: skip
    """A frame whose hash differs from BASE in the lowest `bits` bits."""
    when = None if seconds is None else START + timedelta(seconds=seconds)
    code = BASE ^ ((1 << bits) - 1) if seen else None
    return FrameNumbers(name, when, camera, hash=code, openness=openness, sharpness=sharpness)


def test_near_neighbours_are_stacked() -> None:
    found = find_runs([frame("a", 0), frame("b", 2, 3), frame("c", 4, 5), frame("d", 6, 40), frame("e", 8, 41)])
    assert [run.frames for run in found] == [("a", "b", "c"), ("d", "e")]


def test_time_parts_what_looks_alike() -> None:
    found = find_runs([frame("a", 0), frame("b", 60)])
    assert [run.frames for run in found] == [("a",), ("b",)]


def test_without_a_clock_only_the_very_near_are_stacked() -> None:
    found = find_runs([frame("a", None), frame("b", None, 4), frame("c", None, 13)])
    assert [run.frames for run in found] == [("a", "b"), ("c",)]


def test_a_run_does_not_drift_away() -> None:
    found = find_runs([frame(str(i), 2 * i, 6 * i) for i in range(8)])
    assert [len(run.frames) for run in found] == [3, 3, 2]


def test_frames_that_were_not_read_stand_alone() -> None:
    found = find_runs([frame("a"), frame("b", 1, seen=False), frame("c", 2)])
    assert [run.frames for run in found] == [("a",), ("b",), ("c",)]


def test_open_eyes_come_before_the_sharpest_frame() -> None:
    shot = [
        frame("blink", 0, openness=0.08, sharpness=0.50),
        frame("soft", 1, 1, openness=0.34, sharpness=0.20),
        frame("good", 2, 2, openness=0.33, sharpness=0.40),
        frame("unknown", 3, 3, openness=None, sharpness=0.45),
        frame("other", 4, 4, openness=0.33, sharpness=0.30),
    ]
    (run,) = find_runs(shot)
    assert run.best == "good"
    assert run.reason == told(Code.OPEN_EYES)


def test_the_sharpest_of_open_eyes_is_first_with_its_reason() -> None:
    (run,) = find_runs([frame("a", 0, sharpness=0.2), frame("b", 1, 1, sharpness=0.4), frame("c", 2, 2, sharpness=0.3)])
    assert (run.best, run.reason) == ("b", told(Code.SHARPEST_EYE))


def test_equals_keep_the_order_shot() -> None:
    (run,) = find_runs([frame("a", 0), frame("b", 1), frame("c", 2)])
    assert run.best == "a"


def test_narrow_eyes_are_measured_against_the_same_person() -> None:
    """A smiling squint of 0.19 is this person's usual: nobody is marked down for their face."""
    narrow = [frame(str(i), 20 * i, openness=0.19 + 0.002 * i) for i in range(6)]
    theirs = usual(narrow)
    assert [eyes_closed(f, theirs) for f in narrow] == [False] * 6
    assert eyes_closed(frame("x", openness=0.10), theirs) is True
    wide = usual([frame(str(i), openness=0.40) for i in range(6)])
    assert eyes_closed(frame("x", openness=0.19), wide) is True
    assert eyes_closed(frame("x", openness=None), wide) is None
    assert usual(narrow[:4]).openness is None


@given(
    st.lists(
        st.tuples(st.floats(0, 40), st.integers(0, 64), st.sampled_from([None, 0.1, 0.3]), st.booleans()), max_size=30
    )
)
def test_every_frame_is_in_exactly_one_run(shots: list[tuple[float, int, float | None, bool]]) -> None:
    when, shot = 0.0, []
    for i, (gap, bits, openness, seen) in enumerate(shots):
        when += gap
        shot.append(frame(str(i), when, bits, openness=openness, seen=seen))
    found = find_runs(shot)
    assert [name for run in found for name in run.frames] == [f.id for f in shot]
    assert all(run.best in run.frames for run in found)
