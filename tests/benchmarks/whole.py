"""Every benchmark in its short setting, one after the other, as one table and one file.

    python -m tests.benchmarks [--only NAME ...] [--to FILE]
    python -m tests.benchmarks --readme [--to FILE]

What each prints is shown as it comes, behind its name and the seconds that have passed. Before each the machine is
asked whether it does little else: figures of a busy one are marked, and not to be believed. The file is JSON: {at,
machine, benchmarks: [{name, options, seconds, ended, quiet, figures}]}, see `figures`.
"""

from __future__ import annotations

import argparse
import json
import os
import signal
import subprocess
import sys
import tempfile
import threading
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from tests.benchmarks import figures

ROOT = Path(__file__).resolve().parents[2]
# name → (options, seconds that it may take, then it is told to end); together no more than twenty minutes.
SHORT: dict[str, tuple[tuple[str, ...], int]] = {
    "scale": (("--sizes", "300", "3000", "--sittings", "10", "--each", "300", "--rounds", "5"), 90),
    "crowd": (("--minutes", "1", "--people", "50", "--frames", "30", "--standing", "300"), 120),
    "card": (("--frames", "64"), 90),
    "desk": (("--frames", "100", "--widths", "1280"), 60),
    "uploads": (("--files", "36"), 80),
    "sheet": (("--frames", "300", "--runs", "1", "--portraits", "4"), 120),
    "proof": (("--frames", "6", "--rounds", "3", "--no-ssim"), 60),
    "cut": (("--frames", "1", "--rounds", "1"), 90),
    "raw": (("--rounds", "2"), 45),
    "workers": (("--rounds", "1", "--repeat", "1", "--finals", "40"), 170),
    "trace": (("--count", "1", "--keys", "40", "--further", "0"), 60),
    "looks": (("--sittings", "10"), 50),
    "eyes": (("--count", "6"), 60),
    "bombs": (("archive",), 45),
    "true_to_life": (("--most", "1"), 60),
}  # fmt: skip
# What README shows: (benchmark, figure).
HEADLINES = (
    ("scale", "mark, 300 frames"),
    ("scale", "sheet, 300 frames"),
    ("crowd", "mark, p95"),
    ("crowd", "page, p95"),
    ("crowd", "marks lost"),
    ("card", "card to proofs, CPU a frame against verify and proof"),
    ("card", "frames from card to proof"),
    ("sheet", "largest contentful paint"),
    ("sheet", "large view sharp"),
    ("desk", "next frame on the screen, median, 1280 px"),
    ("uploads", "upload, CPU a file against hash, decode and write"),
    ("proof", "proof against its floor"),
    ("proof", "proof of a wide gamut against its floor"),
    ("proof", "libvips against the proof"),
    ("cut", "eight finals, against libvips"),
    ("workers", "two workers against one"),
    ("workers", "a delivery on two cores against one"),
    ("looks", "boundaries of proposed looks, mean F1"),
)
BEGIN, END = "<!-- figures -->", "<!-- end of figures -->"
APART = {
    "apart": "it needs the right to make network namespaces",
    "malformed": "it needs a folder of other people's test files",
    "mutants": "it asks about the tests, not about the site, and takes hours",
}


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--only", nargs="+", choices=sorted(SHORT), default=list(SHORT))
    parser.add_argument("--to", type=Path, default=ROOT / ".cache" / "benchmarks.json")
    parser.add_argument("--readme", action="store_true", help="put the headline rows of the file into README.md")
    options = parser.parse_args(argv)
    if options.readme and not options.to.is_file():
        parser.error(f"{options.to} is not there; a run without --readme writes it")
    if options.readme:
        return into_readme(json.loads(options.to.read_text("utf-8")), ROOT / "README.md")
    here = figures.machine()
    print(f"{here['processor']}, {here['cores']} cores, {here['memory_gb']} GB; left out:")
    for name, why in APART.items():
        print(f"  {name}: {why}")
    run: dict[str, Any] = {"at": datetime.now(UTC).isoformat(timespec="seconds"), "machine": here, "benchmarks": []}
    began = time.monotonic()
    for nth, name in enumerate(options.only, 1):
        print(f"\n[{nth}/{len(options.only)}, {time.monotonic() - began:.0f} s] {name} {' '.join(SHORT[name][0])}")
        run["benchmarks"].append(one(name))
        options.to.parent.mkdir(parents=True, exist_ok=True)
        options.to.write_text(json.dumps(run, indent=1) + "\n", "utf-8")
    show(run)
    print(f"\n{time.monotonic() - began:.0f} s in all; written to {options.to}")
    return int(any(each["ended"] != 0 for each in run["benchmarks"]))


def one(name: str) -> dict[str, Any]:
    """Run a benchmark in a process of its own, its words shown as they come. `ended` is its exit status, or 'too late'
    when it was told to stop."""
    words, seconds = SHORT[name]
    quiet = figures.quiet()
    if not quiet["believed"]:
        print(f"  the machine is busy (a loop was let work {quiet['share']:.0%} of the time, others keep "
              f"{quiet['others']:.2f} cores at work): do not believe these figures", flush=True)  # fmt: skip
    began, late = time.monotonic(), threading.Event()
    with tempfile.TemporaryDirectory() as folder:
        lines = Path(folder, "figures")
        lines.touch()
        command = [sys.executable, "-W", "ignore", "-u", "-m", "tests.benchmarks", name, *words]
        env = {**os.environ, figures.FILE: str(lines)}
        with subprocess.Popen(
            command, cwd=ROOT, env=env, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, errors="replace"
        ) as process:

            def stop() -> None:
                late.set()
                process.send_signal(signal.SIGTERM)

            timer = threading.Timer(seconds, stop)
            timer.start()
            try:
                for line in process.stdout or ():
                    print(f"  {name} {time.monotonic() - began:4.0f} s  {line.rstrip()}", flush=True)
                ended = process.wait()
            finally:
                timer.cancel()
                if process.poll() is None:
                    process.send_signal(signal.SIGTERM)  # it ends its servers, then itself
        rows = [json.loads(line) for line in lines.read_text("utf-8").splitlines()]
    return {
        "name": name, "options": list(words), "seconds": round(time.monotonic() - began),
        "ended": "too late" if late.is_set() else ended, "quiet": quiet,
        "figures": [{**row, "reached": figures.reached(row)} for row in rows],
    }  # fmt: skip


def show(run: dict[str, Any]) -> None:
    print(f"\n{'benchmark':10} {'figure':46} {'value':>10} {'':8} to reach")
    for each in run["benchmarks"]:
        mark = "" if each["quiet"]["believed"] else "  (busy machine)"
        if each["ended"] != 0:
            print(f"{each['name']:10} ended: {each['ended']}")
        for row in each["figures"]:
            bound = (
                f"at most {row['most']:g}" if "most" in row else f"at least {row['least']:g}" if "least" in row else ""
            )
            missed = "  missed" if row["reached"] is False else ""
            print(f"{each['name']:10} {row['name']:46} {row['value']:10g} {row['unit']:8} {bound}{missed}{mark}")


def _short(value: float) -> str:
    """Three digits that count: more would say what no run of this length knows."""
    return f"{float(f'{value:.3g}'):g}"


def into_readme(run: dict[str, Any], readme: Path) -> int:
    """Put the headlines between the two marks of README, which has no room for a table, with the machine's name. A run
    on a busy machine is not to be shown: then nothing is written, and 1 is answered."""
    busy = [each["name"] for each in run["benchmarks"] if not each["quiet"]["believed"]]
    if busy:
        print(f"Not to be shown: the machine was busy at {', '.join(busy)}.")
        return 1
    rows = {(each["name"], row["name"]): row for each in run["benchmarks"] for row in each["figures"]}
    here = run["machine"]
    shown = []
    for key in HEADLINES:
        if (row := rows.get(key)) is not None:
            bound = "".join(f", at {word} {row[word]:g} wanted" for word in ("most", "least") if word in row)
            shown.append(f"{row['name']} {_short(row['value'])} {row['unit']}".rstrip() + f" (`{key[0]}`{bound})")
    text = (
        f"On {here['processor']}, {here['cores']} cores, {here['memory_gb']} GB, {run['at'][:10]}: {'; '.join(shown)}."
    )
    before, _begin, rest = readme.read_text("utf-8").partition(BEGIN)
    after = rest.partition(END)[2]
    readme.write_text(f"{before}{BEGIN}{text}{END}{after}", "utf-8")
    return 0
