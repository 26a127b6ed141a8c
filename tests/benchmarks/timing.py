"""CPU time on one core, interleaved, so that ratios hold on a shared machine; and memory peaks."""

from __future__ import annotations

import os
import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import cv2


def one_core() -> None:
    """Stay on one core of those allowed; OpenCV with one thread, as the site's decoders have it."""
    cv2.setNumThreads(1)
    os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})


def cpu_ms(work: Callable[[], object]) -> float:
    start = time.process_time()
    work()
    return (time.process_time() - start) * 1000


def tree_s(pid: int) -> float:
    """Seconds of CPU of a process and its children that are there, to the nanosecond and their ended threads included;
    /proc tells ticks of 10 ms. The clock of another process: clock_getcpuclockid(3) of Linux."""
    tasks = Path(f"/proc/{pid}/task").iterdir()
    children = [int(child) for task in tasks for child in (task / "children").read_text().split()]
    return time.clock_gettime(~pid << 3 | 2) + sum(map(tree_s, children))


def interleaved(ways: dict[str, Callable[[], object]], rounds: int) -> dict[str, list[float]]:
    """CPU milliseconds of every way, taken in turns; one round beforehand warms up and isn't counted."""
    took: dict[str, list[float]] = {name: [] for name in ways}
    for number in range(rounds + 1):
        for name, work in ways.items():
            ms = cpu_ms(work)
            if number:
                took[name].append(ms)
    return took


def medians(took: dict[str, list[float]]) -> dict[str, float]:
    return {name: statistics.median(values) for name, values in took.items()}


@dataclass(frozen=True)
class Beside:
    """What something took and what its measure took in the same rounds: medians in milliseconds of CPU, and the median
    of each round's own ratio."""

    ms: float
    measure_ms: float
    times: float


def beside(
    work: Callable[[], float], measure: Callable[[], float], *, rounds: int, each: int, pause: float = 0
) -> Beside:
    """Both give the milliseconds that they took. Of each `each` times in a row, whose first is not counted, and with a
    pause (seconds) before each time if one is asked for; which of the two begins changes with each round."""

    def row(one: Callable[[], float]) -> float:
        took = []
        for _time in range(each + 1):
            time.sleep(pause)
            took.append(one())
        return statistics.median(took[1:])

    pairs = []
    for nth in range(rounds):
        if nth % 2:
            of_measure = row(measure)
            pairs.append((row(work), of_measure))
        else:
            pairs.append((row(work), row(measure)))
    return Beside(
        statistics.median(one for one, _measure in pairs),
        statistics.median(other for _one, other in pairs),
        statistics.median(one / other for one, other in pairs),
    )


def reset_peak() -> None:
    """Start counting the peak of resident memory anew (Linux)."""
    Path("/proc/self/clear_refs").write_text("5")


def memory_mb(field: str) -> float:
    """VmRSS or VmHWM in MB."""
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith(field + ":"):
            return int(line.split()[1]) / 1024
    raise LookupError(field)
