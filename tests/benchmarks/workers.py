"""Two workers against one on the same proofs, and a delivery on two cores against one: does the work scale, or does
something hold it back?

A worker here is a process that asks a decoder of its own, as the site's do. The delivery is one piece of work, its
finals cut by as many hands as the process may use cores, up to the packed archive.

Wall time, so run it on a quiet machine; each round takes one and two in turns.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import statistics
import tempfile
import time
from multiprocessing.queues import SimpleQueue
from multiprocessing.synchronize import Barrier
from pathlib import Path

from galleries.imaging.contained import door
from galleries.imaging.drawing.stamp import StampText
from tests import servers
from tests.benchmarks import card, frames
from tests.benchmarks.figures import figure
from tests.services.site import Site

TEXT = StampText("Studio Nordlicht")
PROOFS_BOUND, DELIVERY_BOUND = 1.85, 1.8
SIZES = (
    *("print-8x10", "print-8x10-name", "print-4x6", "print-5x7"),
    *("casting-4x5", "casting-square", "web-4x5", "web-square"),
)
CLOSED = """
from pathlib import Path
import galleries.tasks
from galleries.models import Sitting
from galleries.steps import jobs
from galleries.steps.agreeing import agree
from galleries.steps.delivering import licences, sizes
from galleries.steps.finishing import approvals
from galleries.steps.ingesting import ingest
from tests.cast import make_cast
sizes.load()
cast = make_cast(stage=Sitting.Stage.PLANNING)
by, sitting = cast.as_owner, cast.sitting
assert {{one.state for one in ingest.add_folder(sitting, Path({folder!r}), by)}} == {{"new"}}
jobs.run_waiting(sitting)
agree.publish(sitting, by)
sitting.refresh_from_db()
for final in agree.close(sitting, list(sitting.frames.values_list("pk", flat=True)), by):
    approvals.deliver_as_it_is(final, by)
sitting.refresh_from_db()
licences.compose(sitting, licences.draft(sitting), by)
"""
# Files that an earlier round made are not taken over: their recipe is another's.
DELIVER = """
import json, os, time
os.sched_setaffinity(0, set(sorted(os.sched_getaffinity(0))[:{cores}]))
import galleries.tasks
from galleries.access import Visitor
from galleries.imaging.contained import children, door
from galleries.models import DeliveredFile, DeliverySize, Licence, Sitting
from galleries.steps import jobs
from galleries.steps.delivering import orders
from tests.benchmarks.card import cpu_of
DeliveredFile.objects.update(recipe_sha256="")
sitting = Sitting.objects.get()
sizes = list(DeliverySize.objects.filter(slug__in={sizes!r}))
delivery = orders.prepare(sitting, sizes, Licence.objects.get(), Visitor(user=sitting.photographer))
door.get_ready()
children.held()
began, spent = time.perf_counter(), cpu_of(os.getpid())
jobs.run_waiting(sitting, kinds=["delivery"])
took, spent = time.perf_counter() - began, cpu_of(os.getpid()) - spent
delivery.refresh_from_db()
assert delivery.archive_key, delivery.problem
print(json.dumps([took, spent, delivery.files.count()]))
"""


def _work(paths: list[Path], start: Barrier, told: SimpleQueue) -> None:
    door.make_proof(paths[0], TEXT)  # models and masks loaded
    start.wait()
    began = card.cpu_of(os.getpid())
    for path in paths:
        door.make_proof(path, TEXT)
    told.put(card.cpu_of(os.getpid()) - began)
    start.wait()


def seconds(paths: list[Path], workers: int) -> tuple[float, float]:
    """(from a common start to the last one's end, CPU of all workers and their decoders together) for all paths."""
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


def delivered(site: Site, cores: int) -> tuple[float, float, int]:
    """Seconds from the job's beginning to its end on so many cores, CPU of all it started, and how many files."""
    took, cpu, files = json.loads(site.python(DELIVER.format(cores=cores, sizes=SIZES)).splitlines()[-1])
    return float(took), float(cpu), int(files)


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(
        prog="python -m tests.benchmarks workers", description=(__doc__ or "").split("\n\n")[0]
    )
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--repeat", type=int, default=4, help="how often each of the 12 frames is done")
    parser.add_argument("--finals", type=int, default=40, help="of the delivery, in 8 sizes each; 0 for none")
    options = parser.parse_args(argv)
    cores, load = len(os.sched_getaffinity(0)), os.getloadavg()[0]
    if load > 0.5:
        print(f"Load is {load:.1f} on {cores} cores before the start: wall times will not mean much.")
    proofs([path for _, path in frames.camera_files(12)] * options.repeat, options.rounds)
    if options.finals:
        with tempfile.TemporaryDirectory(prefix="portal-workers-") as folder:
            deliveries(Path(folder), options.finals, options.rounds)
    return 0


def proofs(paths: list[Path], rounds: int) -> None:
    ratios, dearer = [], []
    for number in range(rounds):
        (one, one_cpu), (two, two_cpu) = seconds(paths, 1), seconds(paths, 2)
        ratios.append(one / two)
        dearer.append(two_cpu / one_cpu)
        print(f"round {number + 1}: one worker {len(paths) / one:.1f} frames/s, two {len(paths) / two:.1f};"
              f" {ratios[-1]:.2f} times; CPU a frame {dearer[-1]:.2f} of one worker's", flush=True)  # fmt: skip
    print(f"two workers / one: {statistics.median(ratios):.2f}  (to reach: >= {PROOFS_BOUND})")
    figure("two workers against one", statistics.median(ratios), "times", least=PROOFS_BOUND)
    print(f"by CPU a frame, on two free cores: {2 / statistics.median(dearer):.2f}")


def deliveries(folder: Path, finals: int, rounds: int) -> None:
    (folder / "card").mkdir()
    card.written(folder / "card", finals)
    site = Site(folder)
    ratios = []
    with servers.queue_server(site.home):
        site.migrate()
        site.python(CLOSED.format(folder=str(folder / "card")))
        for number in range(rounds):
            (one, one_cpu, files), (two, two_cpu, _files) = delivered(site, 1), delivered(site, 2)
            ratios.append(one / two)
            busy = f"{one_cpu / one:.2f} and {two_cpu / two:.2f}"
            print(f"round {number + 1}: {files} files on one core {one:.1f} s, on two {two:.1f};"
                  f" {ratios[-1]:.2f} times; cores at work {busy}", flush=True)  # fmt: skip
    print(f"a delivery on two cores / one: {statistics.median(ratios):.2f}  (to reach: >= {DELIVERY_BOUND})")
    figure("a delivery on two cores against one", statistics.median(ratios), "times", least=DELIVERY_BOUND)
