"""The grown way's database: whatever the steps and the access rules promise on SQLite must hold there too."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.servers import Server, postgresql_server

pytestmark = [pytest.mark.services, pytest.mark.timeout(1000)]
ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def postgresql() -> Iterator[Server]:
    with postgresql_server() as server:
        yield server


def test_migrations_leave_nothing_to_do(postgresql: Server, tmp_path: Path) -> None:
    env = {**os.environ, "PORTAL_DATABASE": postgresql.address, "PORTAL_HOME": str(tmp_path)}
    for words in (["migrate", "-v", "0"], ["migrate", "--check"], ["check", "--database", "default"]):
        subprocess.run([sys.executable, "manage.py", *words], cwd=ROOT, env=env, check=True)


def test_steps_access_and_races_pass_on_it(postgresql: Server) -> None:
    """The same tests, in a run of their own whose tables lie in PostgreSQL."""
    wanted = ["tests/steps", "tests/upgrading", "tests/test_audit_security.py", "tests/services/test_races.py"]
    wanted += ["tests/web/test_hostile_forms.py"]
    env = {**os.environ, "TESTS_DATABASE": postgresql.address}
    env.pop("PYTEST_XDIST_WORKER", None)
    command = [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", "-n", "2", "-m", "django_db or services"]
    command += [name for name in wanted if (ROOT / name).exists()]
    done = subprocess.run(command, cwd=ROOT, env=env, check=False, capture_output=True, text=True, timeout=900)
    closing = done.stdout.strip().splitlines()[-1]
    assert done.returncode == 0, done.stdout[-5000:]
    passed = re.search(r"(\d+) passed", closing)
    assert passed is not None, closing
    assert int(passed.group(1)) >= 6, closing
