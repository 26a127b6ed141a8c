"""Work that hangs for ever in a real worker: it is ended, the rest goes on, and the worker ends when it is told to."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from portal.niceness import STEP_BACK
from tests.servers import queue_server, wait_for
from tests.services.site import Site

pytestmark = pytest.mark.services
PATIENCE = 120  # the machine may be busy
LIST = "from tests.services import hanging\nfrom galleries.steps import jobs\n"
ALL = ["--include", "tests.services.hanging"]


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    home = tmp_path_factory.mktemp("hung")
    made = Site(home, PORTAL_WORKERS="2", PORTAL_WORKER_STOP_SECONDS="2")
    with queue_server(home):
        made.migrate()
        yield made


@pytest.fixture(autouse=True)
def _nothing_left_over(site: Site) -> None:
    """What one test leaves to hang would take the other's workers, whichever comes first."""
    site.python("from galleries.models import Job\nJob.objects.all().delete()")


def step_back(pid: int) -> list[int]:
    """How nice(2) the worker and the processes of its pool are: whoever waits for a page goes before them."""
    pool = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    assert pool
    return [os.getpriority(os.PRIO_PROCESS, int(one)) for one in (pid, *pool)]


def group(leader: int) -> list[int]:
    """The processes of this one's group that have not ended (proc(5): state, parent, group after the name)."""
    left = []
    for entry in Path("/proc").glob("[0-9]*"):
        with suppress(OSError):  # it ended meanwhile
            state, _parent, its_group = (entry / "stat").read_text().rpartition(")")[2].split()[:3]
            left += [int(entry.name)] * (int(its_group) == leader and state != "Z")
    return left


def states(site: Site, kind: str) -> list[str]:
    with sqlite3.connect(site.home / "portal.sqlite3", timeout=30) as tables:
        rows = tables.execute("SELECT state FROM galleries_job WHERE kind = ? ORDER BY thing", [kind]).fetchall()
    return [str(row[0]) for row in rows]


def test_work_that_hangs_is_ended_and_the_rest_goes_on(site: Site) -> None:
    site.python(f"{LIST}for thing in (1, 2, 3): jobs.enqueue('proof', thing, None)")
    with site.worker(*ALL, "-B", "-s", str(site.home / "beat")):
        wait_for(lambda: states(site, "proof")[2] == "done", "two hung proofs stopped the third", PATIENCE)
        wait_for(lambda: states(site, "proof") == ["failed", "failed", "done"], "what hangs is not told", PATIENCE)
    why = site.python("from galleries.models import Job\nprint(Job.objects.get(kind='proof', thing=1).why)")
    assert why == "The worker was stopped in the middle of this, again and again."


def test_a_worker_full_of_hung_work_is_swept_around_and_ends_when_told_to(site: Site) -> None:
    site.python(
        f"{LIST}for thing in (1, 2): jobs.enqueue('sort', thing, None)\n"
        "from galleries.models import Job\n"
        "Job.objects.create(kind='letter', thing=1, state='running', owner='elsewhere/1/1')  # its lease ran out"
    )
    with site.worker(*ALL, "-B", "-s", str(site.home / "beat")) as worker:
        wait_for(lambda: states(site, "sort") == ["running"] * 2, "the work was not begun", PATIENCE)
        wait_for(lambda: states(site, "letter") == ["waiting"], "the sweep waited for the worker", PATIENCE)
        assert states(site, "sort") == ["running"] * 2
        assert all(niceness >= STEP_BACK for niceness in step_back(worker.process.pid))
        worker.process.terminate()
        worker.process.wait(PATIENCE)
    assert states(site, "sort") == ["running"] * 2

    def put_back() -> bool:  # the kernel may need a moment to end the processes, as the clock's next sweep allows for
        site.python(f"{LIST}jobs.sweep()")
        return states(site, "sort") == ["waiting"] * 2

    wait_for(put_back, "what the ended worker left was not put back", PATIENCE)
    assert not Path("/proc", str(worker.process.pid)).exists()
    wait_for(lambda: not group(worker.process.pid), "a process of the worker's is left", PATIENCE)
