"""Two worker processes against one on the same proofs: does the work scale, or does something hold it back?

Wall time, so run it on a quiet machine; each round takes one worker and two in turns.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import statistics
import time
from multiprocessing.queues import SimpleQueue
from multiprocessing.synchronize import Barrier
from pathlib import Path

from galleries.imaging import recipes
from galleries.imaging.drawing.stamp import StampText
from tests.benchmarks import frames
from tests.benchmarks.figures import figure

TEXT = StampText("Studio Nordlicht")


def _work(paths: list[Path], start: Barrier, told: SimpleQueue) -> None:
    recipes.make_proof(paths[0], TEXT)  # models and masks loaded
    start.wait()
    began = time.process_time()
    for path in paths:
        recipes.make_proof(path, TEXT)
    told.put(time.process_time() - began)
    start.wait()


def seconds(paths: list[Path], workers: int) -> tuple[float, float]:
    """(from a common start to the last one's end, CPU of all workers together) for all paths."""
    context = multiprocessing.get_context("spawn")
    start, told = context.Barrier(workers + 1), context.SimpleQueue()
    shares = [paths[n::workers] for n in range(workers)]
    running = [context.Process(target=_work, args=(share, start, told)) for share in shares]
    for process in running:
        process.start()
    start.wait()
    began = time.perf_counter()
    cpu = sum(told.get() for _ in running)
    start.wait()
    took = time.perf_counter() - began
    for process in running:
        process.join()
    return took, cpu


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks workers", description=__doc__)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--repeat", type=int, default=4, help="how often each of the 12 frames is done")
    options = parser.parse_args(argv)
    paths = [path for _, path in frames.camera_files(12)] * options.repeat
    cores, load = len(os.sched_getaffinity(0)), os.getloadavg()[0]
    if load > 0.5:
        print(f"Load is {load:.1f} on {cores} cores before the start: wall times will not mean much.")
    ratios, dearer = [], []
    for number in range(options.rounds):
        (one, one_cpu), (two, two_cpu) = seconds(paths, 1), seconds(paths, 2)
        ratios.append(one / two)
        dearer.append(two_cpu / one_cpu)
        print(f"round {number + 1}: one worker {len(paths) / one:.1f} frames/s, two {len(paths) / two:.1f};"
              f" {ratios[-1]:.2f} times; CPU a frame {dearer[-1]:.2f} of one worker's", flush=True)  # fmt: skip
    print(f"two workers / one: {statistics.median(ratios):.2f}  (to reach: >= 1.85)")
    figure("two workers against one", statistics.median(ratios), "times", least=1.85)
    print(f"by CPU a frame, on two free cores: {2 / statistics.median(dearer):.2f}")
    return 0
