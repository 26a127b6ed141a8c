"""The grown way's database: whatever the steps and the access rules promise on SQLite must hold there too."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest

from tests.servers import Server, postgresql_server

pytestmark = [pytest.mark.services, pytest.mark.timeout(1900)]
ROOT = Path(__file__).resolve().parents[2]
# Most of their time goes into pictures and archives, which no database sees, or into refusals that come before any
# question; `test_each_verb` and the rules' tests put every statement of the steps to PostgreSQL all the same.
LEFT_OUT = (
    *("tests/steps/finishing/test_finish.py", "tests/steps/finishing/test_source_type.py", "tests/steps/demo"),
    *("tests/steps/delivering/test_deliver.py", "tests/steps/delivering/test_lab_profile.py"),
    *("tests/steps/delivering/test_cut.py", "tests/steps/keeping/test_trace.py"),
    *("tests/steps/keeping/test_own_copy.py", "tests/steps/keeping/test_archive_shape.py"),
    *("tests/steps/delivering/test_signing.py", "tests/steps/delivering/test_pixels.py"),
    *("tests/steps/delivering/test_camera_picture.py", "tests/steps/sorting/test_loupe_developed.py"),
    *("tests/steps/people/test_letters_by_role.py", "tests/steps/test_every_verb_asks.py"),
)
REFUSED_FIRST = (
    "tests/steps/test_each_verb.py::test_nobody_else_may_and_a_refusal_changes_nothing",
    "tests/steps/test_each_verb.py::test_nobody_invited_may_without_the_consent_for_a_minor_or_after_their_invite_ended",
)


@pytest.fixture(scope="module")
def postgresql() -> Iterator[Server]:
    with postgresql_server() as server:
        yield server


@pytest.fixture(scope="module")
def migrated(postgresql: Server, tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """The environment of a site whose tables are migrated; the tests' own are copied from them."""
    with psycopg.connect(postgresql.address, autocommit=True) as connection:
        connection.execute("CREATE DATABASE migrated")
    address = postgresql.address.rpartition("/")[0] + "/migrated"
    env = {**os.environ, "PORTAL_DATABASE": address, "PORTAL_HOME": str(tmp_path_factory.mktemp("home"))}
    subprocess.run([sys.executable, "manage.py", "migrate", "-v", "0"], cwd=ROOT, env=env, check=True)
    return env


def test_migrations_leave_nothing_to_do(migrated: dict[str, str]) -> None:
    for words in (["migrate", "--check"], ["check", "--database", "default"]):
        subprocess.run([sys.executable, "manage.py", *words], cwd=ROOT, env=migrated, check=True)


def test_steps_access_and_races_pass_on_it(postgresql: Server, migrated: dict[str, str]) -> None:
    """The same tests, in a run of their own whose tables lie in PostgreSQL."""
    wanted = ["tests/steps", "tests/upgrading", "tests/test_audit_security.py", "tests/services/test_races.py"]
    # Statements that are written once stand outside the framework's own casting of values.
    wanted += ["tests/web/test_straight.py", "tests/web/test_straight_studio.py", "tests/web/test_hostile_forms.py"]
    wanted += ["tests/test_compiled.py"]
    wanted += [f"--ignore={name}" for name in LEFT_OUT] + [f"--deselect={name}" for name in REFUSED_FIRST]
    env = {**os.environ, "TESTS_DATABASE": postgresql.address, "TESTS_TEMPLATE": "migrated"}
    env.pop("PYTEST_XDIST_WORKER", None)
    command = [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", "-n", "2", "-m", "django_db or services"]
    command += ["--timeout=900"]
    command += wanted
    done = subprocess.run(command, cwd=ROOT, env=env, check=False, capture_output=True, text=True, timeout=1800)
    closing = done.stdout.strip().splitlines()[-1]
    assert done.returncode == 0, done.stdout[-5000:]
    passed = re.search(r"(\d+) passed", closing)
    assert passed is not None, closing
    assert int(passed.group(1)) >= 6, closing
