"""Colour temperature and gels: arithmetic in mired (10^6 / K, micro-reciprocal degrees).

A gel shifts by a fixed number of mired whatever the lamp. Makers differ: the table gives one published set of shifts
by strength, and what is stored with a look is the shift, not the name.
"""

from __future__ import annotations

from dataclasses import dataclass

LEAST_KELVIN, MOST_KELVIN = 1000.0, 40_000.0
_ROUNDING = 1e-6  # mired; sums of shifts end a hair beside the limit


@dataclass(frozen=True)
class Gel:
    """A gel by trade name and strength with its published shift in mired (plus is warmer) and where that is from."""

    code: str
    title: str
    shift: int
    source: str


_LIST = "published shifts by strength, as listed in the project's notes"
_WRATTEN = "Wratten light-balancing and conversion filters, published pairs of temperatures"

GELS: tuple[Gel, ...] = (
    Gel("cto-8", "CTO 1/8", 26, _LIST),
    Gel("cto-4", "CTO 1/4", 64, _LIST),
    Gel("cto-2", "CTO 1/2", 109, _LIST),
    Gel("cto-3-4", "CTO 3/4", 124, _LIST),
    Gel("cto", "CTO full", 159, _LIST),
    Gel("ctb-8", "CTB 1/8", -18, _LIST),
    Gel("ctb-4", "CTB 1/4", -35, _LIST),
    Gel("ctb-2", "CTB 1/2", -78, _LIST),
    Gel("ctb-3-4", "CTB 3/4", -112, _LIST),
    Gel("ctb", "CTB full", -137, _LIST),
    Gel("85c", "85C", 81, _WRATTEN),
    Gel("85", "85", 112, _WRATTEN),
    Gel("85b", "85B", 131, _WRATTEN),
    Gel("80a", "80A", -131, _WRATTEN),
)
BY_CODE = {gel.code: gel for gel in GELS}


def mired(kelvin: float) -> float:
    """10^6 / K. Raises ValueError outside 1000 to 40000 K."""
    if not LEAST_KELVIN <= kelvin <= MOST_KELVIN:
        raise ValueError(f"{kelvin:g} K is no colour temperature of a lamp; 1000 to 40000 K is.")
    return 1e6 / kelvin


def kelvin(mired_value: float) -> float:
    """The inverse of `mired`. Raises ValueError outside 25 to 1000 mired."""
    if not 1e6 / MOST_KELVIN - _ROUNDING <= mired_value <= 1e6 / LEAST_KELVIN + _ROUNDING:
        raise ValueError(f"{mired_value:g} mired is no colour temperature of a lamp; 25 to 1000 mired is.")
    return 1e6 / mired_value


def shift_between(from_kelvin: float, to_kelvin: float) -> float:
    """Mired that take a lamp of one temperature to another; plus is warmer."""
    return mired(to_kelvin) - mired(from_kelvin)


def with_gel(lamp_kelvin: float, *shifts: float) -> float:
    """Temperature of a lamp behind gels; their shifts add up. Raises ValueError when that leaves the lamp's range."""
    return kelvin(mired(lamp_kelvin) + sum(shifts))


def nearest(shift: float, most_apart: float = 12.0) -> Gel | None:
    """The gel of the table nearest to a shift, None when none is within `most_apart` mired."""
    best = min(GELS, key=lambda gel: (abs(gel.shift - shift), gel.code))
    return best if abs(best.shift - shift) <= most_apart else None
