from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from galleries.sorting.gels import BY_CODE, GELS, kelvin, mired, nearest, shift_between, with_gel

KELVIN = st.floats(1000, 40_000)


@pytest.mark.parametrize(
    ("code", "lamp", "result"),
    [
        # Wratten conversion filters, published pairs of temperatures [std]; 80A is the way back of 85B
        ("85c", 5500, 3800),
        ("85", 5500, 3400),
        ("85b", 5500, 3200),
        ("80a", 3200, 5500),
    ],
)
def test_wratten_pairs(code: str, lamp: float, result: float) -> None:
    """The shift follows from the two temperatures, to a mired of rounding, and leads from one to the other."""
    assert shift_between(lamp, result) == pytest.approx(BY_CODE[code].shift, abs=1)
    assert with_gel(lamp, BY_CODE[code].shift) == pytest.approx(result, rel=0.005)


@pytest.mark.parametrize(
    ("code", "shift"),
    [
        # published shifts by strength (the shared facts, 'Gels'); makers differ by a few mired
        ("cto-8", 26), ("cto-4", 64), ("cto-2", 109), ("cto-3-4", 124), ("cto", 159),
        ("ctb-8", -18), ("ctb-4", -35), ("ctb-2", -78), ("ctb-3-4", -112), ("ctb", -137),
    ],
)  # fmt: skip
def test_table_of_strengths(code: str, shift: int) -> None:
    assert BY_CODE[code].shift == shift


def test_full_strengths_do_what_they_are_made_for() -> None:
    """CTO full takes daylight to tungsten, CTB full tungsten to daylight [common practice, no source]."""
    assert with_gel(6500, BY_CODE["cto"].shift) == pytest.approx(3200, abs=50)
    assert with_gel(3200, BY_CODE["ctb"].shift) == pytest.approx(5700, abs=100)
    strengths = [gel.shift for gel in GELS if gel.code.startswith("cto")]
    assert strengths == sorted(strengths)


@pytest.mark.parametrize(("temperature", "value"), [(1000, 1000), (2000, 500), (5000, 200), (10_000, 100)])
def test_mired_by_definition(temperature: float, value: float) -> None:
    """10^6 / K [std]."""
    assert mired(temperature) == pytest.approx(value)


@given(KELVIN)
def test_mired_has_its_inverse(temperature: float) -> None:
    assert kelvin(mired(temperature)) == pytest.approx(temperature)


@given(KELVIN, KELVIN, KELVIN)
def test_shifts_add_up(a: float, b: float, c: float) -> None:
    assert shift_between(a, b) + shift_between(b, c) == pytest.approx(shift_between(a, c), abs=1e-6)
    assert with_gel(a, shift_between(a, b), shift_between(b, c)) == pytest.approx(c, rel=1e-6)


def test_the_nearest_gel() -> None:
    near = nearest(109)
    assert near is not None
    assert near.title == "CTO 1/2"
    assert with_gel(5500, 109) == pytest.approx(3439, abs=1)
    assert nearest(300) is None


@pytest.mark.parametrize("bad", [0, -5, 999, 40_001, float("nan")])
def test_impossible_temperatures_are_named(bad: float) -> None:
    with pytest.raises(ValueError, match="K is no colour temperature"):
        mired(bad)


def test_a_gel_that_leaves_the_range_is_refused() -> None:
    with pytest.raises(ValueError, match="mired"):
        with_gel(10_000, -137)
