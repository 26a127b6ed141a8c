"""What a benchmark came to, beside the lines it prints: one schema, so that runs can be laid side by side.

A figure is {name, value, unit, most?, least?}: `most` and `least` are what is to be reached.
"""

from __future__ import annotations

import json
import os
import platform
import time
from multiprocessing import get_context
from pathlib import Path
from typing import Any

FILE = "BENCHMARK_FIGURES"  # in the environment: where `figure` adds its lines
QUIET_SHARE, QUIET_OTHERS = 0.95, 0.1  # of a second that a loop was let work; of a core, others' work
PATIENCE = 20  # seconds in which what went before may come to its end


def figure(name: str, value: float, unit: str = "", *, most: float | None = None, least: float | None = None) -> None:
    """Write down one figure; nothing where nobody collects them."""
    where = os.environ.get(FILE)
    if not where:
        return
    bounds = {key: bound for key, bound in (("most", most), ("least", least)) if bound is not None}
    with open(where, "a", encoding="utf-8") as lines:
        lines.write(json.dumps({"name": name, "value": round(float(value), 4), "unit": unit, **bounds}) + "\n")


def reached(one: dict[str, Any]) -> bool | None:
    """Is the figure within its bounds? None without any."""
    if "most" not in one and "least" not in one:
        return None
    return bool(one.get("least", one["value"]) <= one["value"] <= one.get("most", one["value"]))


def machine() -> dict[str, Any]:
    """What the figures were taken on."""
    info = Path("/proc/cpuinfo").read_text(errors="replace").splitlines()
    model = next((line.partition(":")[2].strip() for line in info if line.startswith("model name")), platform.machine())
    total = int(Path("/proc/meminfo").read_text().split()[1]) / 1e6
    cores = len(os.sched_getaffinity(0))
    return {"processor": model, "cores": cores, "memory_gb": round(total, 1), "python": platform.python_version()}


def _share(_nth: int = 0) -> float:
    """Of a second on one core, how much of it a loop was let work."""
    began, spent = time.monotonic(), time.process_time()
    while time.monotonic() - began < 1:
        sum(range(10_000))
    return (time.process_time() - spent) / (time.monotonic() - began)


def _spent() -> tuple[float, float]:
    """Of the whole machine since its start: ticks worked and ticks in all (proc(5), the line cpu of /proc/stat)."""
    ticks = [int(word) for word in Path("/proc/stat").read_text().splitlines()[0].split()[1:9]]
    return sum(ticks) - ticks[3] - ticks[4], sum(ticks)  # without idle and iowait


def others(seconds: float = 2) -> float:
    """How many cores others keep at work, looked at for so long while nothing is done here. The load average will not
    do: it remembers for minutes the benchmark that went before."""
    worked, whole = _spent()
    time.sleep(seconds)
    worked_now, whole_now = _spent()
    return (worked_now - worked) / max(whole_now - whole, 1) * (os.cpu_count() or 1)


def quiet() -> dict[str, Any]:
    """{share, others, believed}: does the machine do little else? Others are waited for a little; then every core is
    asked at once, for a second, how much of it a loop is let work."""
    cores = len(os.sched_getaffinity(0))
    until = time.monotonic() + PATIENCE
    while (busy := others()) >= QUIET_OTHERS and time.monotonic() < until:
        pass
    with get_context("spawn").Pool(cores) as pool:
        share = min(pool.map(_share, range(cores), chunksize=1))
    believed = share >= QUIET_SHARE and busy < QUIET_OTHERS
    return {"share": round(share, 3), "others": round(busy, 2), "believed": believed}
