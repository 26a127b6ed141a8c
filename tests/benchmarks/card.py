"""A card of 24-megapixel frames, from the folder to the last stamped proof.

    python -m tests.benchmarks card [--frames 24]

A site of its own on PostgreSQL; `manage.py ingest` on the folder, and a worker of two processes beside it. CPU of all
of them together a frame (the command's, the worker's beyond its start, their decoders' with their starts), against what
the pictures alone need: the same files verified and stamped one by one in this process, without tables, walls, queue
and store. A quarter of the card comes first, the rest by a second command to the same worker: what that needs more is
what each further frame costs, without the starts of commands and decoders. Seconds from the command's start to
the first proof that can be shown, and to the last one.
"""

from __future__ import annotations

import argparse
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

from tests.benchmarks import crowd, frames, many_rows, timing
from tests.benchmarks.figures import figure
from tests.services.site import ROOT

if TYPE_CHECKING:
    from galleries.models import Sitting

CPU_BOUND, FIRST_BOUND = 1.35, 3.0


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="card", description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--frames", type=int, default=24)
    options = parser.parse_args(argv)
    with tempfile.TemporaryDirectory(prefix="portal-card-") as folder:
        card = written(Path(folder), options.frames)
        with many_rows.portal() as home:
            alone = pictures_alone(card)
            print(f"verify and proof alone: {alone * 1e3:.0f} ms of CPU a frame", flush=True)
            return measure(home, card, alone)


def written(folder: Path, count: int) -> list[Path]:
    """So many files, no two of the same bytes: further ones carry their number in a comment."""
    kinds = frames.camera_files(min(count, len(frames.KINDS)))
    paths = []
    for number in range(count):
        data = kinds[number % len(kinds)][1].read_bytes()
        comment = b"\xff\xfe\x00\x06%04d" % number
        path = folder / f"KAL_{number + 1:04d}.JPG"
        path.write_bytes(data[:2] + comment + data[2:])
        paths.append(path)
    return paths


def pictures_alone(paths: list[Path]) -> float:
    """Seconds of CPU a frame, the median of several."""
    from galleries.imaging import recipes
    from galleries.imaging.opening import decode
    from galleries.steps import derived
    from tests import bombs

    def work(path: Path) -> None:
        decode.verify(path)
        recipes.make_proof(path, bombs.TEXT, plain=derived.DESK_SIDE)

    few = paths[: min(6, len(paths))]
    work(few[0])
    return statistics.median(timing.cpu_ms(lambda path=path: work(path)) for path in few) / 1e3


def measure(home: Path, card: list[Path], alone: float) -> int:
    from galleries.models import Sitting
    from tests.cast import make_cast

    owner = make_cast("elsewhere").owner
    sitting = Sitting.objects.create(slug="a-card", title="A card", photographer=owner, subject_given="Ansa")
    few = card[: max(1, len(card) // 4)]
    with crowd.worker(home) as worker:
        started = at_rest(worker.process.pid)
        first, last, of_few = brought_in(sitting, few, of=len(few))
        between = cpu_of(worker.process.pid)
        _first, last_rest, of_rest = brought_in(sitting, card[len(few) :], of=len(card))
        ended = cpu_of(worker.process.pid)
    further = (of_rest - of_few) / (len(card) - 2 * len(few)) + (ended - between) / (len(card) - len(few))
    last, command = last + last_rest, of_few + of_rest
    spent = command + ended - started
    each = spent / len(card)
    print(f"{len(card)} frames; load {os.getloadavg()}")
    print(f"all of it: {each * 1e3:.0f} ms of CPU a frame, {each / alone:.2f} times (to reach {CPU_BOUND}); of that")
    print(f"  bringing in {command / len(card) * 1e3:.0f} ms, the worker {(spent - command) / len(card) * 1e3:.0f} ms")
    starts = spent - further * len(card)
    print(f"  each further frame {further * 1e3:.0f} ms, {further / alone:.2f} times; starts {starts:.1f} s")
    print(f"first proof after {first:.1f} s (to reach {FIRST_BOUND:.0f}), the last after {last:.1f} s")
    figure("card to proofs, CPU a frame against verify and proof", each / alone, "times", most=CPU_BOUND)
    figure("each further frame's CPU against verify and proof", further / alone, "times", most=CPU_BOUND)
    figure("first proof after the first file", first, "s", most=FIRST_BOUND)
    figure("frames from card to proof", len(card) / last, "a second")
    return 0


def at_rest(pid: int) -> float:
    """Seconds of CPU a worker came to before there was work: it has stood for a while when a card comes."""
    before = -1.0
    while (now := cpu_of(pid)) != before:
        before = now
        time.sleep(1.0)
    return now


def brought_in(sitting: Sitting, card: list[Path], *, of: int) -> tuple[float, float, float]:
    """Seconds to the first proof and to the last of `of` in all, and the CPU of the command and its children."""
    from galleries.models import Proof

    before, began, first = _of_ended_children(), time.monotonic(), 0.0
    folder = card[0].parent / f"{of}"
    folder.mkdir()
    for path in card:
        path.rename(folder / path.name)
    command = [sys.executable, "-W", "ignore", "manage.py", "ingest", str(folder), "--sitting", sitting.slug]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.DEVNULL) as process:
        while (count := Proof.objects.filter(frame__sitting=sitting).count()) < of:
            if count and not first:
                first = time.monotonic() - began
            if process.poll() not in {None, 0}:
                raise RuntimeError(f"ingest ended with {process.returncode}")
            time.sleep(0.1)
        last = time.monotonic() - began
        process.wait()
    return first or last, last, _of_ended_children() - before


def _of_ended_children() -> float:
    spent = resource.getrusage(resource.RUSAGE_CHILDREN)
    return spent.ru_utime + spent.ru_stime


def cpu_of(pid: int) -> float:
    """Seconds of CPU of a process and all it started, those that ended included."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    total = sum(map(int, fields[11:15])) / os.sysconf("SC_CLK_TCK")
    for task in Path(f"/proc/{pid}/task").iterdir():
        for child in (task / "children").read_text().split():
            total += cpu_of(int(child))
    return total
