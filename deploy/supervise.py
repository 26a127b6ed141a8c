"""Runs the embedded site: queue, worker, clock, web server and its front as children of one process, until stopped.

Started by deploy/start inside the environment. Only Python's own library and small modules of `portal` are used here.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import shutil
import signal
import ssl
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from pathlib import Path
from types import FrameType
from typing import NoReturn

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

import front  # noqa: E402 - beside this file
import processes  # noqa: E402
import ready  # noqa: E402
from processes import EVERYWHERE, MARK, Trouble  # noqa: E402

from portal import embedded  # noqa: E402 - found only once the project's folder is on the path
from portal.owner import tighten  # noqa: E402

PATIENCE = 60  # seconds for a server to answer, or to stop
CRASHES = 5  # so many ends of one child within CRASH_WINDOW seconds are a fault, not an accident
CRASH_WINDOW = 60
PYTHON = [sys.executable, "-W", "ignore", "-m"]


class Stopped(Exception):
    """Ctrl-C or a polite signal."""


_asked = {"to stop": False}  # an exception raised while a child is being forked is lost: this is not


class Site:
    """One folder, one port, five children."""

    def __init__(self, home: Path, host: str, port: int, say: Callable[[str], None]) -> None:
        self.home, self.host, self.port, self.say = home, host, port, say
        self.children: dict[str, tuple[list[str], subprocess.Popen[bytes]]] = {}
        self.ends: dict[str, list[float]] = {}
        scheme = "https" if self.certificate else "http"
        shown = "localhost" if host in {"127.0.0.1", EVERYWHERE} else host
        self.url = f"{scheme}://{shown}:{port}"
        self.env = dict(os.environ)
        self.env.update(PORTAL_HOME=str(home), PYTHONUNBUFFERED="1", DJANGO_SETTINGS_MODULE="portal.settings")
        self.env[MARK] = str(home)
        self.env.setdefault("PORTAL_URL", self.url)
        self.front = front.program()
        if self.front:
            self.env.setdefault("PORTAL_BEHIND_PROXY", "yes")
            if self.env.get("PORTAL_FILES", "folder") == "folder":
                self.env.setdefault("PORTAL_INTERNAL_REDIRECT", "yes")
        if host not in {"127.0.0.1", "localhost"}:
            self.env.setdefault("PORTAL_HOSTS", f"localhost,127.0.0.1,[::1],{host}")

    @property
    def certificate(self) -> tuple[Path, Path] | None:
        """Certificate and key made by deploy/set-certificate for this address, if any."""
        pair = (self.home / "tls" / f"{self.host}.crt", self.home / "tls" / f"{self.host}.key")
        return pair if all(path.exists() for path in pair) else None

    # --- commands ---------------------------------------------------------------------------------------------

    def output(self, script: Path, *words: str, hear: Callable[[str], None]) -> str:
        """The standard output of a program of the site. Its progress, on standard error, is heard line by line.

        Raises:
            Trouble: it failed; the sentence is the last line it wrote.
        """
        command = [sys.executable, "-W", "ignore", str(script), *words]
        with (
            tempfile.TemporaryFile("w+") as out,
            subprocess.Popen(
                command,
                env=self.env,
                cwd=ROOT,
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=subprocess.PIPE,
                text=True,
                start_new_session=True,
                preexec_fn=processes.end_with_parent,
            ) as process,
        ):
            lines: list[str] = []
            try:
                for line in process.stderr or ():
                    lines.append(line.strip())
                    if line.strip():
                        hear(line.strip())
                code = process.wait()
            except BaseException:
                process.terminate()
                raise
            if code:
                last = next((line for line in reversed(lines) if line), "no reason given")
                raise Trouble(f"'{' '.join([script.name, *words[:1]])}' failed: {last}")
            out.seek(0)
            return out.read()

    # --- children ---------------------------------------------------------------------------------------------

    def child(self, name: str, command: list[str]) -> None:
        """Start (again) what runs beside us. Its own session: Ctrl-C reaches only us, and we stop it in order."""
        folder = self.home / "log"
        folder.mkdir(exist_ok=True)
        log = folder / f"{name}.log"
        if log.exists() and log.stat().st_size > 5_000_000:
            log.replace(log.with_suffix(".log.1"))
        with open(log, "ab") as out:
            process = subprocess.Popen(
                command,
                env=self.env,
                cwd=ROOT,
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=subprocess.STDOUT,
                start_new_session=True,
                preexec_fn=processes.end_with_parent,
            )
        self.children[name] = (command, process)
        if name == "worker":  # the demo is as patient with it as a busy machine needs
            embedded.worker_file(self.home).write_text(processes.owner_name(process.pid))

    def start_queue(self) -> None:
        if "PORTAL_REDIS" in os.environ:
            return
        self.child("queue", embedded.queue_command(self.home))
        path = embedded.socket_path(self.home)
        self._await("queue", lambda: processes.queue_answers(path))

    def start_worker(self) -> None:
        options = "worker --loglevel WARNING --hostname embedded@%h --without-gossip --without-mingle"
        self.child("worker", [*PYTHON, "celery", "-A", "portal", *options.split()])
        # The clock by itself: as a child of the worker it died unnoticed.
        (self.home / "beat-schedule").unlink(missing_ok=True)
        self.child("clock", [*PYTHON, "celery", "-A", "portal", "beat", "--loglevel", "WARNING", "--pidfile="])

    def start_web(self) -> None:
        options = "--workers 1 --blocking-threads 16 --no-ws --log-level warning --respawn-failed-workers"
        command = [*PYTHON, "granian", "--interface", "wsgi", "portal.wsgi:application", *options.split()]
        if self.front:
            socket_path = front.web_socket(self.home, embedded.socket_path(self.home))
            socket_path.unlink(missing_ok=True)
            self.child("web", [*command, "--uds", str(socket_path), "--uds-permissions", "0o600"])
            self._await("web", lambda: socket_path.exists())
            files = Path(self.env.get("PORTAL_FILES_DIR") or self.home / "files")
            line = front.command(self.home, socket_path, self.host, self.port, self.certificate, files)
            self.child("front", line)
            self._await("front", self._alive)
            return
        if self.host not in {"127.0.0.1", "localhost"}:
            raise Trouble("nginx is needed to serve beyond this machine. On Debian: apt-get install nginx-light")
        self.say(
            "nginx is not on this machine: slow senders can hold the site up. On Debian: apt-get install nginx-light"
        )
        where = ["--host", self.host, "--port", str(self.port)]
        self.child("web", [*command, *where])
        self._await("web", self._alive)

    def _alive(self) -> bool:
        address = "127.0.0.1" if self.host == EVERYWHERE else self.host
        trusted = None
        if self.certificate:  # made by ourselves: it is its own authority
            trusted = ssl.create_default_context(cafile=str(self.certificate[0]))
            trusted.check_hostname = address == self.host
        scheme = "https" if self.certificate else "http"
        where = f"{scheme}://{address}:{self.port}/health/live"
        request = urllib.request.Request(where, headers={"Host": "localhost"})  # noqa: S310
        try:
            with urllib.request.urlopen(request, timeout=5, context=trusted) as answer:  # noqa: S310  # nosec B310
                return bool(answer.status == 200)
        except (urllib.error.URLError, OSError):
            return False

    def _await(self, name: str, well: Callable[[], bool]) -> None:
        until = time.monotonic() + PATIENCE
        while not well():
            if self.children[name][1].poll() is not None:
                last = processes.last_line(self.home / "log" / f"{name}.log")
                raise Trouble(f"The {name} server ended at once: {last}")
            if time.monotonic() > until:
                raise Trouble(f"The {name} server does not answer; see {self.home / 'log' / f'{name}.log'}")
            time.sleep(0.05)

    def serve(self) -> NoReturn:
        """Until stopped. A child that ends by itself is started again: no work is lost by it."""
        while True:
            time.sleep(0.5)
            if _asked["to stop"]:
                raise Stopped
            for name, (command, process) in list(self.children.items()):
                if process.poll() is None:
                    continue
                now = time.monotonic()
                self.ends[name] = [at for at in self.ends.get(name, []) if now - at < CRASH_WINDOW] + [now]
                if len(self.ends[name]) >= CRASHES:
                    raise Trouble(
                        f"The {name} ended {CRASHES} times within a minute; see {self.home / 'log' / f'{name}.log'}"
                    )
                self.say(f"The {name} ended ({processes.how_it_ended(process.returncode)}); starting it again")
                with contextlib.suppress(ProcessLookupError, PermissionError):
                    os.killpg(process.pid, signal.SIGKILL)  # what it left of itself would hold the port or the socket
                processes.end_leftovers(self.home, parent=process.pid)
                if name == "queue":
                    command = embedded.queue_command(self.home)
                if name == "clock":
                    (self.home / "beat-schedule").unlink(missing_ok=True)
                if name == "web" and self.front:
                    front.web_socket(self.home, embedded.socket_path(self.home)).unlink(missing_ok=True)
                self.child(name, command)

    def stop(self) -> None:
        """In order: nobody new comes in, work in hand is finished or given back, then the queue."""
        for name in ("front", "web", "clock", "worker", "queue"):
            if name not in self.children:
                continue
            process = self.children.pop(name)[1]
            if process.poll() is None:
                process.terminate()
            try:
                process.wait(PATIENCE if name == "worker" else 10)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
            with contextlib.suppress(ProcessLookupError, PermissionError):
                os.killpg(process.pid, signal.SIGKILL)  # its own children, if it left any
        embedded.socket_path(self.home).unlink(missing_ok=True)
        embedded.worker_file(self.home).unlink(missing_ok=True)


# --- the two ways to start ------------------------------------------------------------------------------------


def prepare(site: Site, *, with_demo: bool = True) -> dict[str, str]:
    """Everything up to a served page: tables, sizes, static files, children, demo. Gives the people's links."""
    site.start_queue()  # it needs no tables, and the demo's work rings for the worker

    def hear(line: str) -> None:
        if line not in ready.STEPS:
            site.say("  " + line)
            return
        site.say(line)
        if line == ready.WORKER:
            site.start_worker()

    words = [] if with_demo else [ready.WITHOUT_DEMO]
    links: dict[str, str] = json.loads(site.output(ROOT / "deploy" / "ready.py", *words, hear=hear))["links"]
    site.say("Starting the web server")
    site.start_web()
    return links


def run(site: Site, *, with_demo: bool) -> None:
    with processes.alone(site.home, site.url):
        processes.end_leftovers(site.home)
        processes.refuse_busy_port(site.host, site.port)
        try:
            links = prepare(site, with_demo=with_demo)
            site.say("")
            site.say(f"Ready: {site.env['PORTAL_URL']}   (stop with Ctrl-C)")
            for person, link in links.items():
                site.say(f"  {person:<20} {link}")
            site.serve()
        finally:
            site.say("Stopping")
            site.stop()


def check(site: Site) -> dict[str, object]:
    """The main job from frames to archive in a folder of its own; the archive is kept, the rest removed."""
    started = time.monotonic()
    try:
        for person, link in prepare(site).items():
            _visit(person, link)
        site.say("Running the job through: frames, proofs, marks, list, retouches, crops, licence, delivery")
        rehearsal = site.output(ROOT / "manage.py", "rehearse", "--json", hear=lambda line: site.say("  " + line))
        result: dict[str, object] = json.loads(rehearsal)
    finally:
        site.stop()
    archive = site.home / "delivery" / Path(str(result["archive"])).name
    archive.parent.mkdir(exist_ok=True)
    shutil.move(str(result["archive"]), archive)
    for entry in site.home.iterdir():
        if entry != archive.parent:
            shutil.rmtree(entry) if entry.is_dir() else entry.unlink()
    return {**result, "archive": str(archive), "seconds": round(time.monotonic() - started, 1)}


def _visit(person: str, link: str) -> None:
    opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
    try:
        with opener.open(link, timeout=30) as answer:
            if "text/html" not in answer.headers.get("Content-Type", ""):
                raise Trouble(f"The link of the {person} leads to no page.")
    except urllib.error.URLError as error:
        raise Trouble(f"The link of the {person} does not open: {error}") from None


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        prog="deploy/start",
        description="Set up and run the embedded site with its demo sitting until Ctrl-C.",
        epilog="Example: deploy/start --port 8020. On set: deploy/set-certificate ADDRESS, then --host ADDRESS.",
    )
    parser.add_argument("--port", type=int, default=None, help="port to serve on (PORT, else 8010)")
    parser.add_argument("--host", default="127.0.0.1", help="address to serve on (127.0.0.1: this machine only)")
    parser.add_argument("--check", action="store_true", help="run the whole job once in a folder of its own, then end")
    parser.add_argument("--json", action="store_true", help="with --check: only the result on standard output")
    parser.add_argument(ready.WITHOUT_DEMO, action="store_true", help="make no demo, where there is none yet")
    options = parser.parse_args()
    if options.check and options.without_demo:
        parser.error(f"--check runs the demo through: not {ready.WITHOUT_DEMO}")
    if options.json and not options.check:
        parser.error("--json goes with --check")
    if options.port is None:
        given = os.environ.get("PORT", "8010")
        if not given.isdigit():
            parser.error(f"PORT is {given!r}; use a number")
        options.port = int(given)
    if not 0 < options.port < 65536:
        parser.error(f"port {options.port} does not exist; use 1 to 65535")
    return options


def _on_signal(number: int, frame: FrameType | None) -> NoReturn:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # once is enough: stopping takes a moment
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    _asked["to stop"] = True
    raise Stopped


def main() -> int:
    os.umask(0o077)  # tables, letters, logs and sockets are their owner's alone
    options = _options()
    stream = sys.stderr if options.json else sys.stdout
    signal.signal(signal.SIGINT, _on_signal)
    signal.signal(signal.SIGTERM, _on_signal)

    def say(line: str) -> None:
        print(line, file=stream, flush=True)

    try:
        if options.check:
            home = Path(tempfile.mkdtemp(prefix="portal-check-"))
            result = check(Site(home, "127.0.0.1", processes.free_port(), say))
            say(f"The delivery is at {result['archive']}")
            print(json.dumps(result), flush=True)
        else:
            home = Path(os.environ.get("PORTAL_HOME") or ROOT / ".site").expanduser().resolve()
            home.mkdir(mode=0o700, parents=True, exist_ok=True)
            for line in tighten(home):
                say(line)
            run(Site(home, options.host, options.port, say), with_demo=not options.without_demo)
    except Stopped:
        say("Stopped.")
    except (Trouble, RuntimeError) as trouble:
        print(f"deploy/start: {trouble}", file=sys.stderr, flush=True)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
