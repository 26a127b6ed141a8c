"""Real servers that tests start and stop themselves, each on a free port or a socket of its own."""

from __future__ import annotations

import os
import pwd
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from portal import embedded


@dataclass
class Server:
    process: subprocess.Popen[bytes]
    address: str

    def kill(self) -> None:
        """As a power cut would: no last words."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()


def free_port() -> int:
    with socket.socket() as line:
        line.bind(("127.0.0.1", 0))
        return int(line.getsockname()[1])


def listens(port: int, host: str = "127.0.0.1") -> bool:
    try:
        with socket.create_connection((host, port), timeout=1):
            return True
    except OSError:
        return False


def wait_for(well: Callable[[], bool], what: str, seconds: float = 60, server: Server | None = None) -> None:
    until = time.monotonic() + seconds
    while not well():
        if server is not None and server.process.poll() is not None:
            raise AssertionError(f"{what}: the server ended with status {server.process.returncode}")
        if time.monotonic() > until:
            raise AssertionError(f"{what}: not within {seconds:g} s")
        time.sleep(0.05)


@contextmanager
def running(
    command: list[str],
    address: str,
    well: Callable[[], bool],
    log: Path,
    env: dict[str, str] | None = None,
    user: str | None = None,
    cwd: Path | None = None,
) -> Iterator[Server]:
    """A server from start to end of the block; its words go to `log`."""
    with open(log, "ab") as out:
        process = subprocess.Popen(
            command,
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=subprocess.STDOUT,
            env={**os.environ, **(env or {})},
            user=user,
            cwd=cwd,
            start_new_session=True,
        )
    server = Server(process, address)
    try:
        wait_for(well, f"{Path(command[0]).name} ({log.read_text(errors='replace')[-500:]})", server=server)
        yield server
    finally:
        if process.poll() is None:
            process.terminate()
            try:
                process.wait(20)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


@contextmanager
def queue_server(home: Path) -> Iterator[Server]:
    """The embedded site's own queue server, for the site in `home`."""
    path = embedded.socket_path(home)
    with running(embedded.queue_command(home), f"redis+socket://{path}", path.exists, home / "queue.log") as server:
        yield server


@contextmanager
def postgresql_server() -> Iterator[Server]:
    """A PostgreSQL of its own with one role and one database; its address is a PORTAL_DATABASE."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/postgres"))
    if not found:
        raise AssertionError("PostgreSQL's server is missing: deploy/packages test")
    tools, port, user = found[-1].parent, free_port(), servant()
    folder = Path(tempfile.mkdtemp(prefix="portal-pg-"))  # pytest's folders are closed to the server's user
    if user:
        shutil.chown(folder, user)
    init = [str(tools / "initdb"), "-D", str(folder / "data"), "-U", "tester", "-A", "trust", "-E", "UTF8", "--no-sync"]
    subprocess.run(init, user=user, cwd="/", check=True, capture_output=True)
    command = [str(found[-1]), "-D", str(folder / "data"), "-p", str(port), "-k", str(folder)]
    command += ["-c", "listen_addresses=127.0.0.1"]

    def well() -> bool:
        ask = [str(tools / "pg_isready"), "-q", "-h", "127.0.0.1", "-p", str(port), "-U", "tester"]
        return subprocess.run(ask, check=False).returncode == 0

    log, address = folder / "log", f"postgres://tester@127.0.0.1:{port}/postgres"
    try:
        with running(command, address, well, log, user=user, cwd=Path("/")) as server:
            yield server
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def servant() -> str | None:
    """Servers that refuse to run as root run as this user; None: we are not root."""
    if os.getuid() != 0:
        return None
    names = {entry.pw_name for entry in pwd.getpwall()}
    return "postgres" if "postgres" in names else "nobody"
