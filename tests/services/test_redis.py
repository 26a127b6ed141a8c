"""The grown way's queue and cache: Debian's own Redis server over TCP, in place of the embedded one."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests import servers
from tests.servers import Server, free_port, running, wait_for
from tests.services.site import Site

pytestmark = pytest.mark.services
ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def redis_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    with servers.redis_server(tmp_path_factory.mktemp("redis")) as server:
        yield server


def site(server: Server, home: Path) -> dict[str, str]:
    """Its environment; the tables are there."""
    whole = Site(home, PORTAL_REDIS=server.address, PORTAL_WORKERS="1")
    if not (home / "portal.sqlite3").exists():
        whole.migrate()
    return whole.env


def python(code: str, env: dict[str, str]) -> str:
    command = [sys.executable, "-c", f"import django; django.setup()\n{code}"]
    return subprocess.run(command, cwd=ROOT, env=env, check=True, capture_output=True, text=True).stdout.strip()


def test_the_cache_counts_across_processes(redis_server: Server, tmp_path: Path) -> None:
    env = site(redis_server, tmp_path)
    add = "from django.core.cache import cache\ncache.add('tries', 0, 60); print(cache.incr('tries'))"
    assert [python(add, env) for _ in range(2)] == ["1", "2"]


def test_health_names_the_queue_when_it_is_gone(redis_server: Server, tmp_path: Path) -> None:
    ask = (
        "from django.test import Client\n"
        "answer = Client(headers={'host': 'localhost'}).get('/health/ready')\n"
        "print(answer.status_code, answer.json()['queue'], answer.json()['database'])"
    )
    assert python(ask, site(redis_server, tmp_path)) == "200 True True"
    gone = {**site(redis_server, tmp_path), "PORTAL_REDIS": f"redis://127.0.0.1:{free_port()}/0"}
    assert python(ask, gone) == "503 False True"


def test_a_bell_rung_by_one_process_is_heard_by_the_worker(redis_server: Server, tmp_path: Path) -> None:
    """A job listed in the tables and rung for through Redis is done by a worker that knows nothing else."""
    env = site(redis_server, tmp_path)
    command = [sys.executable, "-m", "celery", "-A", "portal", "worker", "--loglevel", "INFO"]
    with running(command, "", (log := tmp_path / "worker.log").exists, log, env=env, cwd=ROOT):
        # A letter that is not there: the step finds nothing to do, and the job is done.
        listed = python(
            "from galleries.steps import jobs\nprint(jobs.enqueue('letter', 987, None).pk)",
            env,
        )
        state = f"from galleries.models import Job\nprint(Job.objects.get(pk={listed}).state)"
        wait_for(lambda: python(state, env) == "done", f"the job was not done: {log.read_text()[-2000:]}", 60)


def test_a_lost_queue_loses_no_work(redis_server: Server, tmp_path: Path) -> None:
    """Rung while no queue answers: the row waits, and the sweep rings again once the queue is back."""
    env = site(redis_server, tmp_path)
    away = {**env, "PORTAL_REDIS": f"redis://127.0.0.1:{free_port()}/0"}
    pk = python("from galleries.steps import jobs\nprint(jobs.enqueue('letter', 988, None).pk)", away)
    assert python(f"from galleries.models import Job\nprint(Job.objects.get(pk={pk}).state)", env) == "waiting"
    later = (
        "import galleries.tasks\nfrom galleries.models import Job\nfrom galleries.steps import jobs\n"
        "Job.objects.update(rung_at=None)\nprint(jobs.sweep())"
    )
    assert python(later, env) == "1"
