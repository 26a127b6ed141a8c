"""A crop taken over by a size of the same trimmed shape: the arithmetic, held against fractions of its own."""

from __future__ import annotations

import json
from itertools import permutations
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from galleries.imaging.framing.geometry import Rect, fit_largest, turned_inside
from galleries.imaging.framing.same_trim import same_trim, taken_over
from galleries.imaging.framing.sizes import SizeSpec

DATA = Path(__file__).resolve().parents[3] / "galleries" / "data" / "sizes.json"
KNOWN = set(SizeSpec.__dataclass_fields__)
SIZES = {
    row["slug"]: SizeSpec(**{name: value for name, value in row.items() if name in KNOWN})
    for row in json.loads(DATA.read_text("utf-8"))
}
PAIRS = [(a, b) for a, b in permutations(SIZES.values(), 2) if same_trim(a, b)]


def test_which_papers_have_the_same_shape() -> None:
    groups = {
        frozenset(other for other in SIZES if other == slug or same_trim(SIZES[slug], SIZES[other])) for slug in SIZES
    }
    assert {"print-8x10", "print-8x10-bleed", "print-8x10-name", "casting-4x5", "web-4x5"} <= max(groups, key=len)
    assert not same_trim(SIZES["print-8x10"], SIZES["print-11x14"])  # 1.8 % apart
    assert not same_trim(SIZES["full"], SIZES["full-tiff"])
    assert not same_trim(SIZES["print-5x7"], SIZES["print-a4"])  # 1.03 % apart


def trimmed(rect: Rect, size: SizeSpec) -> tuple[float, float, float, float]:
    """Centre and extent of what is left of a crop when the bleed is cut away."""
    k = rect.width / size.out_width
    return (rect.x + rect.width / 2, rect.y + rect.height / 2, size.width * k, size.height * k)


@given(
    st.sampled_from(PAIRS),
    st.integers(1200, 8000),
    st.integers(1200, 8000),
    st.floats(0.3, 1),
    st.floats(0, 1),
    st.floats(0, 1),
)
def test_the_same_part_is_shown_wherever_the_frame_has_room(
    pair: tuple[SizeSpec, SizeSpec], width: int, height: int, share: float, left: float, top: float
) -> None:
    was, now = pair
    assert was.ratio is not None
    assert now.ratio is not None
    largest = fit_largest(was.ratio, (width, height))
    w = max(200, round(largest.width * share))
    h = was.ratio.height_for(w)
    rect = Rect(round((width - w) * left), round((height - h) * top), w, h).clamp_to(width, height)
    found = taken_over(rect, 0, was, now, (width, height))
    assert found is not None
    assert found.inside(width, height)
    assert now.ratio.matches(found)
    grow = 0.06 * rect.height  # more than any bleed of the list
    if min(rect.x, rect.y, width - rect.right, height - rect.bottom) > grow:
        nearness = (1, 1, 1, 0.011 * rect.height + 1)
        for one, other, near in zip(trimmed(rect, was), trimmed(found, now), nearness, strict=True):
            assert abs(one - other) <= near


@pytest.mark.parametrize("tilt", [-6.0, 3.5])
def test_a_tilted_crop_stays_inside(tilt: float) -> None:
    was, now = SIZES["print-8x10"], SIZES["print-8x10-bleed"]
    rect = Rect(150, 190, 800, 1000)
    assert turned_inside(rect, tilt, 1120, 1390, slack=1.0)
    found = taken_over(rect, tilt, was, now, (1120, 1390))
    assert found is not None
    assert turned_inside(found, tilt, 1120, 1390, slack=1.0)


def test_another_shape_is_not_taken_over() -> None:
    assert taken_over(Rect(0, 0, 800, 1000), 0, SIZES["print-8x10"], SIZES["casting-square"], (4000, 6000)) is None
    assert taken_over(Rect(0, 0, 800, 1000), 0, SIZES["print-8x10"], SIZES["full"], (4000, 6000)) is None
