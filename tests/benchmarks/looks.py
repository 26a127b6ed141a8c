"""How well proposed looks match the truth of made-up sittings: boundary F1 and adjusted Rand index.

A boundary counts only at the exact frame. The adjusted Rand index is computed here after Hubert and Arabie 1985,
'Comparing Partitions' [from memory], and checked in tests/sorting by counting pairs one by one.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from math import comb
from statistics import fmean

from galleries.sorting.looks import LookProposal, propose_looks
from tests.benchmarks.figures import figure
from tests.sorting.other_kinds import OTHER_KINDS, of_other_kind
from tests.sorting.sittings import KINDS, Sitting, of_kind, sitting

LEAST = 0.85  # F1 that a sequence is to reach


def adjusted_rand(truth: list[int], proposed: list[int]) -> float:
    """1 for the same grouping, about 0 for chance."""
    pairs = Counter(zip(truth, proposed, strict=True))
    both = sum(comb(n, 2) for n in pairs.values())
    rows = sum(comb(n, 2) for n in Counter(truth).values())
    columns = sum(comb(n, 2) for n in Counter(proposed).values())
    expected = rows * columns / comb(len(truth), 2)
    most = (rows + columns) / 2
    return 1.0 if most == expected else (both - expected) / (most - expected)


def labels(day: Sitting, proposal: LookProposal) -> tuple[list[int], list[int]]:
    """True and proposed look of every frame, in true order."""
    proposed = {frame: number for number, look in enumerate(proposal.looks) for frame in look.frames}
    return [day.look_of[f.id] for f in day.frames], [proposed[f.id] for f in day.frames]


def boundary_f1(truth: list[int], proposed: list[int]) -> float:
    """F1 of the places where the look changes along the true order."""
    one = {i for i in range(1, len(truth)) if truth[i] != truth[i - 1]}
    two = {i for i in range(1, len(proposed)) if proposed[i] != proposed[i - 1]}
    return 2 * len(one & two) / (len(one) + len(two)) if one or two else 1.0


def judged(day: Sitting) -> tuple[float, float, float]:
    """Boundary F1, adjusted Rand index (a look that comes back counts as that look), CPU ms per 100 frames."""
    start = time.process_time()
    proposal = propose_looks(day.frames)
    spent = 1000 * (time.process_time() - start) * 100 / len(day.frames)
    truth, proposed = labels(day, proposal)
    same = [number if look.like is None else look.like for number, look in enumerate(proposal.looks)]
    return boundary_f1(truth, proposed), adjusted_rand(truth, [same[number] for number in proposed]), spent


def shown(kind: str, sittings: list[Sitting]) -> list[float]:
    """Print a kind's line; the boundary F1 of each of its sittings."""
    f1, rand, spent = zip(*(judged(day) for day in sittings), strict=True)
    low = sum(value < LEAST for value in f1)
    columns = f"{fmean(f1):7.3f} {min(f1):6.2f} {low:6d} of {len(f1):<3} {fmean(rand):8.3f} {fmean(spent):9.1f}"
    print(f"{kind:<18} {columns}", flush=True)
    return list(f1)


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks looks", description=__doc__)
    parser.add_argument("--sittings", type=int, default=10, help="of each kind")
    parser.add_argument("--frames", type=int, default=400)
    parser.add_argument("--looks", type=int, default=6)
    parser.add_argument("--first", type=int, default=0, help="number of the first sitting")
    options = parser.parse_args(argv)
    numbers = range(options.first, options.first + options.sittings)
    kinds = {kind: [of_kind(kind, number) for number in numbers] for kind in KINDS}
    shape = {"frames": options.frames, "looks": options.looks}
    kinds["usual day"] = [sitting(number, **shape) for number in numbers]
    kinds["no clock"] = [sitting(number, clocks=False, **shape) for number in numbers]
    kinds["two cameras"] = [sitting(number, second_camera=True, **shape) for number in numbers]
    print(f"{'kind':<18} mean F1  least  under {LEAST}  mean ARI  ms/100 frames", flush=True)
    means, values = {}, []
    for kind, sittings in kinds.items():
        of_each = shown(kind, sittings)
        means[kind] = fmean(of_each)
        values += of_each
    mean, least = fmean(means.values()), min(means.values())
    low = sum(value < LEAST for value in values)
    figure("boundaries of proposed looks, mean F1", mean, "", least=0.97)
    figure("the same of the least kind", least, "", least=LEAST)
    print(f"mean boundary F1 {mean:.3f} (to reach 0.97), least kind {least:.3f} (to reach {LEAST})")
    print(f"least of {len(values)} sequences {min(values):.2f}; under {LEAST}: {low}")
    print("further kinds, in no figure above:", flush=True)
    for kind in OTHER_KINDS:
        shown(kind, [of_other_kind(kind, number) for number in numbers])
    return 0 if mean >= 0.97 and least >= LEAST else 1
