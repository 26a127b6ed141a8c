"""A site's processes: what a killed start left of them, whether they answer, and one site at a time in a folder.

Only Python's own library is used here, and of the project what uses no other.
"""

from __future__ import annotations

import contextlib
import ctypes
import fcntl
import os
import signal
import socket
import time
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from portal.process import started

MARK = "PORTAL_SUPERVISED"  # in every child's environment, so that a later start knows what a killed one left
EVERYWHERE = "0.0.0.0"  # noqa: S104 - only when the person asks for it  # nosec B104


class Trouble(Exception):
    """One sentence for the person at the terminal."""


def end_with_parent() -> None:
    """In the child: when the supervisor is killed outright, the kernel ends the child too (prctl(2))."""
    ctypes.CDLL(None).prctl(1, signal.SIGTERM)


def queue_answers(path: Path) -> bool:
    try:
        with socket.socket(socket.AF_UNIX) as line:
            line.settimeout(2)
            line.connect(str(path))
            line.sendall(b"PING\r\n")
            return line.recv(16).startswith(b"+PONG")
    except OSError:
        return False


def last_line(path: Path) -> str:
    lines = path.read_text(errors="replace").strip().splitlines() if path.exists() else []
    return lines[-1] if lines else "it wrote nothing"


def how_it_ended(code: int) -> str:
    return f"status {code}" if code >= 0 else f"by signal {signal.Signals(-code).name}"


def end_leftovers(home: Path, parent: int | None = None) -> None:
    """End processes of this site that a killed start, or the killed child `parent`, left running.

    They are known by the mark in their environment. With `parent`, only those of its session."""
    mark = f"{MARK}={home}".encode()
    leftovers: list[int] = []
    for entry in Path("/proc").glob("[0-9]*"):
        pid = int(entry.name)
        try:
            ours = mark in (entry / "environ").read_bytes().split(b"\0")
            if ours and pid != os.getpid() and (parent is None or os.getsid(pid) == parent):
                leftovers.append(pid)
        except OSError:
            continue
    for pid in leftovers:
        with contextlib.suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)
    until = time.monotonic() + 5
    while time.monotonic() < until and any(started(pid) for pid in leftovers):
        time.sleep(0.05)


def owner_name(pid: int) -> str:
    """As `Job.owner` tells it, host/pid/start; one that has ended has a start that no process has."""
    return f"{socket.gethostname()}/{pid}/{started(pid) or 'gone'}"


def free_port() -> int:
    with socket.socket() as line:
        line.bind(("127.0.0.1", 0))
        return int(line.getsockname()[1])


def refuse_busy_port(host: str, port: int) -> None:
    with socket.socket() as line:
        line.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            line.bind((host, port))
        except OSError as error:
            if host not in {"127.0.0.1", EVERYWHERE} and error.errno == 99:
                raise Trouble(f"{host} is not an address of this machine.") from None
            raise Trouble(
                f"Port {port} is in use by another program; stop that, or choose another, for example"
                f" deploy/start --port {port + 1}"
            ) from None


@contextlib.contextmanager
def alone(home: Path, url: str) -> Iterator[IO[str]]:
    """One site per folder. The kernel drops the lock with its holder, however that ends.

    Raises:
        Trouble: another start holds the folder.
    """
    file = open(home / "running", "a+")  # noqa: SIM115 - held open as long as the site runs
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        file.seek(0)
        where = file.read().strip() or "its first steps"
        file.close()
        raise Trouble(f"This site is running already: {where}") from None
    file.truncate(0)
    file.write(f"{url} (process {os.getpid()})\n")
    file.flush()
    try:
        yield file
    finally:
        file.truncate(0)
        file.close()
