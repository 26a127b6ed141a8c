"""A whole site in a folder of its own, run by the same commands a person or a service unit runs."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests import kept_tables
from tests.servers import Server, accepts, running

ROOT = Path(__file__).resolve().parents[2]


class Site:
    """`more` are settings beside the folder."""

    def __init__(self, home: Path, **more: str) -> None:
        self.home = home
        kept = {name: value for name, value in os.environ.items() if not name.startswith("PORTAL_")}
        self.env = {**kept, "DJANGO_SETTINGS_MODULE": "portal.settings", "PORTAL_HOME": str(home), **more}

    def run(self, *command: str) -> subprocess.CompletedProcess[str]:
        done = subprocess.run(command, cwd=ROOT, env=self.env, check=False, capture_output=True, text=True)
        assert done.returncode == 0, f"{command[1:3]}: {done.stderr[-3000:]}"
        return done

    def manage(self, *words: str) -> str:
        return self.run(sys.executable, "manage.py", *words).stdout

    def migrate(self) -> None:
        """Its tables; on SQLite a copy of those that a run migrates once."""
        tables = self.home / "portal.sqlite3"
        if "PORTAL_DATABASE" in self.env or not kept_tables.give(tables):
            self.manage("migrate", "-v", "0")
            if "PORTAL_DATABASE" not in self.env:
                kept_tables.keep_copy(tables)

    def collect_static(self) -> None:
        kept_tables.give_static(self.home / "static", lambda: self.manage("collectstatic", "--no-input", "-v", "0"))

    def python(self, code: str) -> str:
        """The output of some lines with Django set up."""
        return self.run(sys.executable, "-c", f"import django; django.setup()\n{code}").stdout.strip()

    @contextmanager
    def worker(self, *words: str) -> Iterator[Server]:
        """Ready for work when the block begins."""
        log = self.home / "worker.log"
        log.unlink(missing_ok=True)
        command = [sys.executable, "-W", "ignore", "-m", "celery", "-A", "portal", "worker", "--loglevel", "INFO"]

        def well() -> bool:
            return " ready." in log.read_text(errors="replace")

        with running([*command, *words], "", well, log, env=self.env, cwd=ROOT) as server:
            yield server

    @contextmanager
    def web(self, socket: Path) -> Iterator[Server]:
        """As the service unit starts it: on a socket, for the proxy."""
        command = [sys.executable, "-W", "ignore", "-m", "granian", "--interface", "wsgi", "--uds", str(socket)]
        command += [
            "--workers",
            "1",
            "--blocking-threads",
            "8",
            "--no-ws",
            "--log-level",
            "warning",
            "portal.wsgi:application",
        ]
        with running(
            command, str(socket), lambda: accepts(socket), self.home / "web.log", env=self.env, cwd=ROOT
        ) as server:
            yield server
