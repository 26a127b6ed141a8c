"""Two worker processes against one on the same proofs: does the work scale, or does something hold it back?

Wall time, so run it on a quiet machine; each round takes one worker and two in turns.
"""

from __future__ import annotations

import argparse
import multiprocessing
import statistics
import time
from multiprocessing.synchronize import Barrier
from pathlib import Path

from galleries.imaging import recipes
from galleries.imaging.stamp import StampText
from tests.benchmarks import frames

TEXT = StampText("Studio Nordlicht")


def _work(paths: list[Path], start: Barrier) -> None:
    recipes.make_proof(paths[0], TEXT)  # models and masks loaded
    start.wait()
    for path in paths:
        recipes.make_proof(path, TEXT)
    start.wait()


def seconds(paths: list[Path], workers: int) -> float:
    """How long `workers` processes take for all paths, from a common start to the last one's end."""
    context = multiprocessing.get_context("spawn")
    start = context.Barrier(workers + 1)
    shares = [paths[n::workers] for n in range(workers)]
    running = [context.Process(target=_work, args=(share, start)) for share in shares]
    for process in running:
        process.start()
    start.wait()
    began = time.perf_counter()
    start.wait()
    took = time.perf_counter() - began
    for process in running:
        process.join()
    return took


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks workers", description=__doc__)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--repeat", type=int, default=4, help="how often each of the 12 frames is done")
    options = parser.parse_args(argv)
    paths = [path for _, path in frames.camera_files(12)] * options.repeat
    ratios = []
    for number in range(options.rounds):
        one, two = seconds(paths, 1), seconds(paths, 2)
        ratios.append(one / two)
        print(f"round {number + 1}: one worker {len(paths) / one:.1f} frames/s, two {len(paths) / two:.1f};"
              f" {ratios[-1]:.2f} times", flush=True)  # fmt: skip
    print(f"two workers / one: {statistics.median(ratios):.2f}  (to reach: >= 1.85)")
    return 0
