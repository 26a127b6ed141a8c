"""The proposal of a final list: the best set of frames within the allowance, by an exact optimisation.

What is maximised (weights: common practice, no source; a person edits the result):
 * agreement: a pick of either side counts, a pick of both counts more than two single ones, an alternate less;
 * a person's own order breaks ties among that person's picks;
 * spread: the first frame of a look, and the first of a purpose, count extra; so does the first serious, slightly
   smiling or smiling one, and the first open or intense one, by a reading that may err (`sorting.expression`);
 * unlikeness: two frames of one look cost the more the more alike their expressions are; two that are nearly the
   same exposure are never both proposed.
A frame that either side strikes (see `sides`), or that nobody marked, is never proposed.

It is solved as a mixed-integer linear programme (one binary per frame, one bounded variable per look, purpose,
place of the range and alike pair) with HiGHS through scipy.optimize.milp; the gap that it proves is handed back.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from galleries.sorting.sides import ALTERNATE, PICK, STRIKE

_WORTH = {PICK: 4.0, ALTERNATE: 1.5, "": 0.0}
_BOTH = 3.0
_FIRST_PLACE = 1.0
# What the first of each counts, by the candidate's field.
_FIRSTS = {"look": 2.5, "purpose": 3.0, "smile": 1.5, "intensity": 1.0}
_NONE = (None, "")
# The first is more than any frame is worth, so that of nearly the same exposures only one is ever proposed.
_SAME_RUN, _SAME_FACE = 30.0, 2.0
# A difference of expression, in the units of `Candidate.expression`, from which two frames no longer tire.
_UNLIKE = 1.0
# The solver is asked about no more at once: the pairs grow by the square.
_FEW = 250


@dataclass(frozen=True)
class Candidate:
    """A frame as the optimiser sees it: what each side says of it and where it ranks it (`galleries.sorting.sides`).

    `expression` holds numbers scaled so that 1 is a plain difference (lids, turn and tilt of the head, mouth);
    empty when the face was not read. `smile` and `intensity` are the bands of `galleries.sorting.expression.Place`.
    """

    key: int
    subject: str = ""
    representation: str = ""
    place_subject: int | None = None
    place_representation: int | None = None
    look: int | None = None
    purpose: str = ""
    run: int | None = None
    expression: tuple[float, ...] = ()
    smile: str = ""
    intensity: str = ""


@dataclass(frozen=True)
class Reason:
    """Why a frame is on the list: a code, and the key of another frame or a place where the code speaks of one."""

    code: str
    other: int | None = None


@dataclass(frozen=True)
class Proposal:
    """`chosen` best first with their reasons; `left_out`: frames both sides picked that did not fit, with why.

    `gap` is the share of the optimum by which the list may at most be improved, as the solver proved it; 0 is exact.
    """

    chosen: tuple[int, ...]
    reasons: dict[int, tuple[Reason, ...]]
    left_out: dict[int, Reason]
    score: float
    gap: float


def worth(one: Candidate) -> float:
    """What a frame is worth by itself; 0 for one that must not be proposed."""
    if STRIKE in (one.subject, one.representation):
        return 0.0
    base = _WORTH[one.subject] + _WORTH[one.representation]
    if one.subject == one.representation == PICK:
        base += _BOTH
    places = [place for place in (one.place_subject, one.place_representation) if place is not None]
    return base + sum(_FIRST_PLACE / place for place in places) if base else 0.0


def alike(one: Candidate, other: Candidate) -> float:
    """What it costs to have both on the list."""
    if one.run is not None and one.run == other.run:
        return _SAME_RUN
    if one.look != other.look or not one.expression or not other.expression:
        return 0.0
    return _SAME_FACE * max(0.0, 1 - math.dist(one.expression, other.expression) / _UNLIKE)


def score(chosen: Sequence[Candidate]) -> float:
    """The value of a whole list; what `propose` maximises."""
    return (
        sum(worth(one) for one in chosen)
        + sum(_FIRSTS[name] for name, _value in _covered(chosen))
        - sum(alike(a, b) for a, b in combinations(chosen, 2))
    )


def _covered(chosen: Iterable[Candidate]) -> set[tuple[str, object]]:
    """(field, value) of every look, purpose and place of the range that there is among them."""
    return {(name, value) for one in chosen for name in _FIRSTS if (value := getattr(one, name)) not in _NONE}


def propose(candidates: Sequence[Candidate], allowance: int, *, seconds: float = 5.0) -> Proposal:
    """The best list of at most `allowance` frames.

    Raises:
        ValueError: an allowance below 0, or a key that stands twice.
    """
    if allowance < 0:
        raise ValueError(f"An allowance of {allowance} frames makes no sense.")
    if len({one.key for one in candidates}) != len(candidates):
        raise ValueError("A candidate stands twice in the list.")
    usable = [one for one in candidates if worth(one) > 0]
    if not usable or allowance == 0:
        return Proposal((), {}, {}, 0.0, 0.0)
    chosen, gap = _best(usable, allowance, seconds)
    ordered = tuple(sorted(chosen, key=lambda one: (-worth(one), one.key)))
    return Proposal(
        tuple(one.key for one in ordered),
        {one.key: tuple(_why(one, ordered)) for one in ordered},
        _left_out(usable, ordered, allowance),
        score(ordered),
        gap,
    )


def _best(usable: Sequence[Candidate], allowance: int, seconds: float) -> tuple[list[Candidate], float]:
    """As `_solve`; of many frames only those are handed to the solver that can still belong to a better list than one
    taken by turns: by what a list with the frame would be worth if no two frames were alike."""
    if len(usable) <= _FEW:
        return _solve(usable, allowance, seconds)
    taken = _by_turns(usable, allowance)
    reached = score(taken)
    worths = sorted(map(worth, usable), reverse=True)[:allowance]
    there = Counter(name for name, _value in _covered(usable))
    covered = sum(_FIRSTS[name] * min(many, allowance) for name, many in there.items())
    bound = sum(worths) + covered
    on = {one.key for one in taken}
    least = reached - bound + worths[-1]  # with a frame worth no more than this a list is no better than the taken one
    better = [one for one in usable if one.key not in on and worth(one) > least + 1e-9]
    better.sort(key=worth, reverse=True)
    if not better:
        return taken, 0.0
    left = better[: max(0, _FEW - len(taken))]
    chosen, gap = _solve([*taken, *left], allowance, seconds)
    if len(left) == len(better):
        return chosen, gap
    return chosen, max(gap, (bound - score(chosen)) / bound)


def _by_turns(usable: Sequence[Candidate], allowance: int) -> list[Candidate]:
    """A good list: each time the frame that adds most to those taken before."""
    taken: list[Candidate] = []
    adds = {one.key: worth(one) for one in usable}
    stands_for = {one.key: frozenset(_covered([one])) for one in usable}
    kinds = set(stands_for.values())  # few, of thousands of frames
    covered: set[tuple[str, object]] = set()
    left = {one.key: one for one in usable}
    while left and len(taken) < allowance:
        new = {kind: sum(_FIRSTS[name] for name, _value in kind - covered) for kind in kinds}
        values = {key: adds[key] + new[stands_for[key]] for key in left}
        key = max(values, key=values.__getitem__)
        if values[key] <= 0:
            break
        one = left.pop(key)
        taken.append(one)
        covered |= stands_for[key]
        for other in left.values():
            if other.look == one.look or other.run == one.run:
                adds[other.key] -= alike(one, other)
    return taken


def _solve(usable: Sequence[Candidate], allowance: int, seconds: float) -> tuple[list[Candidate], float]:
    """Variables: x (frame is on), y (look or purpose is covered), z (both of an alike pair are on)."""
    # 20 MB of the web's memory and half a second of a command's start, for whoever is asked for a proposal only.
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import coo_array

    n = len(usable)
    groups = [group for name in _FIRSTS for group in _groups(usable, name)]
    pairs = [(i, j, cost) for i, j in combinations(range(n), 2) if (cost := alike(usable[i], usable[j])) > 0]
    size = n + len(groups) + len(pairs)
    gain = np.zeros(size)
    gain[:n] = [worth(one) for one in usable]
    gain[n : n + len(groups)] = [bonus for bonus, _members in groups]
    gain[n + len(groups) :] = [-cost for _i, _j, cost in pairs]
    rows: list[tuple[int, int, float]] = [(0, i, 1.0) for i in range(n)]
    upper = [float(allowance)]
    for g, (_bonus, members) in enumerate(groups):  # y <= the sum of its x
        rows += [(len(upper), n + g, 1.0), *((len(upper), i, -1.0) for i in members)]
        upper.append(0.0)
    for p, (i, j, _cost) in enumerate(pairs):  # x_i + x_j - z <= 1
        rows += [(len(upper), i, 1.0), (len(upper), j, 1.0), (len(upper), n + len(groups) + p, -1.0)]
        upper.append(1.0)
    row, column, value = (np.array(part) for part in zip(*rows, strict=True))
    matrix = coo_array((value, (row, column)), shape=(len(upper), size)).tocsr()
    solution = milp(
        -gain,
        integrality=np.concatenate([np.ones(n), np.zeros(size - n)]),
        bounds=Bounds(0, 1),
        constraints=LinearConstraint(matrix, -np.inf, np.array(upper)),
        options={"mip_rel_gap": 0.0, "time_limit": seconds},
    )
    if solution.x is None:  # out of time without any list at all: the best by themselves, and no bound is proved
        return sorted(usable, key=lambda one: (-worth(one), one.key))[:allowance], 1.0
    return [one for one, on in zip(usable, solution.x, strict=False) if on > 0.5], float(solution.mip_gap or 0.0)


def _groups(usable: Sequence[Candidate], name: str) -> list[tuple[float, list[int]]]:
    """(bonus, members) of every look, purpose or place of the range."""
    members: dict[object, list[int]] = {}
    for i, one in enumerate(usable):
        value = getattr(one, name)
        if value not in _NONE:
            members.setdefault(value, []).append(i)
    return [(_FIRSTS[name], indices) for indices in members.values()]


def _why(one: Candidate, chosen: Sequence[Candidate]) -> list[Reason]:
    """Codes: both, subject, representation, alternate, first_subject, first_representation, only_look,
    only_purpose, only_serious, only_slight, only_smiling, only_open, only_intense, unlike (the nearest other of the
    look)."""
    reasons = [Reason(_standing(one))]
    if one.place_subject == 1:
        reasons.append(Reason("first_subject"))
    if one.place_representation == 1:
        reasons.append(Reason("first_representation"))
    others = [other for other in chosen if other.key != one.key]
    if one.look is not None and all(other.look != one.look for other in others):
        reasons.append(Reason("only_look"))
    if one.purpose and all(other.purpose != one.purpose for other in others):
        reasons.append(Reason("only_purpose"))
    for name in ("smile", "intensity"):
        band = getattr(one, name)
        if band and others and all(getattr(other, name) != band for other in others):
            reasons.append(Reason(f"only_{band}"))
    near = [other for other in others if other.look == one.look and one.look is not None]
    if near and one.expression and all(alike(one, other) == 0 for other in near):
        reasons.append(Reason("unlike", min(near, key=lambda other: other.key).key))
    return reasons


def _standing(one: Candidate) -> str:
    by_subject, by_representation = one.subject == PICK, one.representation == PICK
    if by_subject and by_representation:
        return "both"
    return "subject" if by_subject else "representation" if by_representation else "alternate"


def _left_out(usable: Sequence[Candidate], chosen: Sequence[Candidate], allowance: int) -> dict[int, Reason]:
    """Frames both sides picked that are not on the list: alike to one that is, or simply too many."""
    on = {one.key for one in chosen}
    reasons: dict[int, Reason] = {}
    for one in usable:
        if one.key in on or _standing(one) != "both":
            continue
        twin = max(chosen, key=lambda other: alike(one, other), default=None)
        if twin is not None and alike(one, twin) > 0:
            reasons[one.key] = Reason("same_run" if one.run is not None and one.run == twin.run else "alike", twin.key)
        else:
            reasons[one.key] = Reason("allowance")
    return reasons
