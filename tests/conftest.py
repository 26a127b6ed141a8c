"""A site of its own for every test process: folder, tables, stores and queue; nothing of the real one is touched."""

from __future__ import annotations

import atexit
import gc
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

# Before anything reads the settings. The name is short: a socket's path may not be long.
HOME = Path(tempfile.mkdtemp(prefix="portal-tests-"))
atexit.register(shutil.rmtree, HOME, ignore_errors=True)
for name in [name for name in os.environ if name.startswith("PORTAL_")]:
    del os.environ[name]
os.environ["PORTAL_HOME"] = str(HOME)
(HOME / "static").mkdir()
if "TESTS_DATABASE" in os.environ:  # tests/services runs some of the tests again on PostgreSQL
    os.environ["PORTAL_DATABASE"] = os.environ["TESTS_DATABASE"]
os.environ["DJANGO_SETTINGS_MODULE"] = "portal.settings"
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")  # the browser's driver runs a loop in the test's thread

import django  # noqa: E402
import pytest  # noqa: E402
from django.conf import settings  # noqa: E402
from django.contrib.auth.hashers import PBKDF2PasswordHasher  # noqa: E402

if settings.configured:
    raise pytest.UsageError(
        "Unset DJANGO_SETTINGS_MODULE: the tests choose a folder of their own before settings are read."
    )
if "TESTS_DATABASE" not in os.environ:
    # A real file: threads and the browser's server then open it as separate processes would.
    settings.DATABASES["default"]["TEST"] = {"NAME": str(HOME / "tests.sqlite3")}
elif "TESTS_TEMPLATE" in os.environ:
    settings.DATABASES["default"]["TEST"] = {"TEMPLATE": os.environ["TESTS_TEMPLATE"]}
django.setup()
del os.environ["DJANGO_SETTINGS_MODULE"]  # a parallel worker starts with our environment, and must do all this itself

from django.core.cache import cache  # noqa: E402
from django.core.files.storage import storages  # noqa: E402
from django.db import connection  # noqa: E402
from django.test import TransactionTestCase  # noqa: E402
from django.utils import translation  # noqa: E402
from hypothesis import HealthCheck  # noqa: E402
from hypothesis import settings as property_settings  # noqa: E402

import galleries.tasks  # noqa: E402, F401 - any test may do work
from galleries.models import journal_guard  # noqa: E402
from galleries.steps import jobs  # noqa: E402
from tests import answered, kept_tables  # noqa: E402
from tests.servers import Server, queue_server  # noqa: E402

# On every desk properties are tried on new examples each time; in CI on the same ones for the same code, so that a
# landing does not depend on luck. What a desk finds becomes an example of its own beside the property. However busy the
# machine is, no property fails for being slow.
patient = {"deadline": None, "suppress_health_check": [HealthCheck.too_slow]}
property_settings.register_profile("desk", **patient)
property_settings.register_profile("ci", derandomize=True, **patient)
property_settings.load_profile("ci" if os.environ.get("CI") else "desk")


# The real hash of passwords is slow on purpose; here it is the same one, quick. Sites that tests start keep the slow
# one.
PBKDF2PasswordHasher.iterations = 1000

# What the tests throw away goes when its last name does; looking for circles after every 700 new objects costs a tenth
# of the run. They are still looked for, less often, so that memory stays flat.
gc.set_threshold(100_000, 50, 100)


@pytest.hookimpl(wrapper=True)
def pytest_collection() -> Iterator[None]:
    """Of the processes of a run one compiles the tests with their assertions, the other reads what it wrote."""
    with ExitStack() as stack:
        if "PYTEST_XDIST_WORKER" in os.environ:
            stack.enter_context(kept_tables.one_at_a_time("collecting"))
        return (yield)


def pytest_collection_finish() -> None:
    """What was imported and collected stays till the end: no search for circles walks it again."""
    gc.collect()
    gc.freeze()


answered.put_up()


def pytest_runtest_setup(item: pytest.Item) -> None:
    answered.for_test(str(item.path))


# The longest go first, longest of all before the others, so that none is left over at the end of a run of two: files of
# services and browsers (each goes to one process as a whole), then single tests.
LONG = (
    *("tests/services/test_start.py", "tests/browser/test_grown.py", "tests/services/test_worker_killed.py"),
    *("tests/browser/test_whole_line.py", "tests/services/test_moving.py", "tests/services/test_backup.py"),
    *("tests/browser/test_everyone.py", "tests/services/test_slow_senders.py", "tests/services/test_hung_work.py"),
    *("tests/browser/test_day.py", "tests/browser/test_studio_desk.py", "tests/browser/test_marking.py"),
    *("tests/web/test_matrix.py::test_who_comes_in[d]", "tests/web/test_looking.py"),
    *("tests/web/test_hostile_forms.py", "tests/steps/test_each_verb.py", "tests/upgrading/test_upgrading.py"),
    *("tests/web/studio/test_malformed.py", "tests/web/test_matrix.py", "tests/web/test_url_map.py"),
)


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    def place(item: pytest.Item) -> int:
        return next((number for number, name in enumerate(LONG) if item.nodeid.startswith(name)), len(LONG))

    items.sort(key=place)


@pytest.fixture(scope="session")
def _alone(django_db_modify_db_settings: None) -> Iterator[ExitStack]:
    with ExitStack() as stack:
        stack.enter_context(kept_tables.one_at_a_time())
        yield stack


@pytest.fixture(scope="session")
def django_db_keepdb(_alone: ExitStack) -> bool:
    return kept_tables.take()


@pytest.fixture(scope="session")
def django_db_setup(_alone: ExitStack, django_db_setup: None, django_db_keepdb: bool, django_db_blocker: Any) -> None:
    if not django_db_keepdb:
        with django_db_blocker.unblock():
            kept_tables.keep()
    _alone.close()


@pytest.fixture(scope="session")
def queue() -> Iterator[Server]:
    """The queue server of this test process."""
    with queue_server(HOME) as server:
        yield server


@pytest.fixture(scope="session", autouse=True)
def _journal_is_emptied_too() -> Iterator[None]:
    """After a test with real transactions all tables are emptied, for which alone the journal's guard is lifted."""
    empty = TransactionTestCase._fixture_teardown

    def teardown(case: TransactionTestCase) -> None:
        stood = not journal_guard.missing(connection)  # what a migration lost stays lost, for the test that looks
        journal_guard.take_down(connection)
        empty(case)
        if stood:
            journal_guard.put_up(connection)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(TransactionTestCase, "_fixture_teardown", teardown)
        yield


@pytest.fixture(autouse=True)
def _own_language() -> Iterator[None]:
    """Each test starts in the studio's language: a page in another one leaves it switched on in its thread."""
    translation.activate(settings.LANGUAGE_CODE)
    yield
    translation.activate(settings.LANGUAGE_CODE)


@pytest.fixture(autouse=True)
def _own_site(request: pytest.FixtureRequest) -> Iterator[None]:
    """A test that has tables has a clean cache and empty stores of its own too."""
    if not (
        {"db", "transactional_db", "live_server"} & set(request.fixturenames)
    ) and not request.node.get_closest_marker("django_db"):
        yield
        return
    request.getfixturevalue("queue")
    cache.clear()
    jobs._silent["until"] = 0.0  # an earlier test may have taken the queue away
    # A picture that a closing browser asked for last may still be written there; HOME goes as a whole.
    with tempfile.TemporaryDirectory(dir=HOME, prefix="stores-", ignore_cleanup_errors=True) as folder:
        request.getfixturevalue("settings").STORAGES = {
            **settings.STORAGES,
            **{
                name: {
                    **settings.STORAGES[name],
                    "OPTIONS": {**settings.STORAGES[name]["OPTIONS"], "location": str(place)},
                }
                for name, place in (
                    ("default", Path(folder, "private")),
                    ("private", Path(folder, "private")),
                    ("proofs", Path(folder, "proofs")),
                )
            },
            "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
        }
        request.getfixturevalue("settings").INCOMING_DIR = Path(folder, "incoming")
        storages._storages.clear()  # type: ignore[attr-defined]
        yield
    storages._storages.clear()  # type: ignore[attr-defined]
