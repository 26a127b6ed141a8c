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
from tests.sorting.sittings import Sitting, sitting


def adjusted_rand(truth: list[int], found: list[int]) -> float:
    """1 for the same grouping, about 0 for chance."""
    pairs = Counter(zip(truth, found, strict=True))
    both = sum(comb(n, 2) for n in pairs.values())
    rows = sum(comb(n, 2) for n in Counter(truth).values())
    columns = sum(comb(n, 2) for n in Counter(found).values())
    expected = rows * columns / comb(len(truth), 2)
    most = (rows + columns) / 2
    return 1.0 if most == expected else (both - expected) / (most - expected)


def labels(made: Sitting, proposal: LookProposal) -> tuple[list[int], list[int]]:
    """True and proposed look of every frame, in true order."""
    found = {frame: number for number, look in enumerate(proposal.looks) for frame in look.frames}
    return [made.look_of[f.id] for f in made.frames], [found[f.id] for f in made.frames]


def boundary_f1(truth: list[int], found: list[int]) -> float:
    """F1 of the places where the look changes along the true order."""
    one = {i for i in range(1, len(truth)) if truth[i] != truth[i - 1]}
    two = {i for i in range(1, len(found)) if found[i] != found[i - 1]}
    return 2 * len(one & two) / (len(one) + len(two)) if one or two else 1.0


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks looks", description=__doc__)
    parser.add_argument("--sittings", type=int, default=20)
    parser.add_argument("--frames", type=int, default=400)
    parser.add_argument("--looks", type=int, default=6)
    parser.add_argument("--first", type=int, default=0, help="number of the first sitting")
    options = parser.parse_args(argv)
    rows = []
    for number in range(options.first, options.first + options.sittings):
        made = sitting(number, frames=options.frames, looks=options.looks)
        start = time.process_time()
        proposal = propose_looks(made.frames)
        spent = 1000 * (time.process_time() - start)
        truth, found = labels(made, proposal)
        f1, rand = boundary_f1(truth, found), adjusted_rand(truth, found)
        rows.append((f1, rand, spent))
        print(f"sitting {number:3}: F1 {f1:.3f}  ARI {rand:.3f}  {len(proposal.looks)} looks  {spent:4.0f} ms  "
              f"{', '.join(made.kinds)}  {' '.join(proposal.notes)}")  # fmt: skip
    f1, rand, spent = (fmean(column) for column in zip(*rows, strict=True))
    print(f"mean: boundary F1 {f1:.3f}, adjusted Rand index {rand:.3f}, {spent:.0f} ms CPU (to reach: F1 >= 0.95)")
    return 0 if f1 >= 0.95 else 1
