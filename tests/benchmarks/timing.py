"""CPU time on one core, interleaved, so that ratios hold on a shared machine; and memory peaks."""

from __future__ import annotations

import os
import statistics
import time
from collections.abc import Callable
from pathlib import Path


def one_core() -> None:
    """Stay on one core of those allowed."""
    os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})


def cpu_ms(work: Callable[[], object]) -> float:
    start = time.process_time()
    work()
    return (time.process_time() - start) * 1000


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


def reset_peak() -> None:
    """Start counting the peak of resident memory anew (Linux)."""
    Path("/proc/self/clear_refs").write_text("5")


def memory_mb(field: str) -> float:
    """VmRSS or VmHWM in MB."""
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith(field + ":"):
            return int(line.split()[1]) / 1024
    raise LookupError(field)
