"""A process that has loaded all decoders and reads nothing foreign: each child is forked from it, in milliseconds.

It is started without environment and ends with the last process that may ask it. Asked by one message and the
descriptor that goes with it: `FORK` and the socket of the new child, or one of the other two and a socket for the
answer. It alone ends and buries its children: a number of theirs that stands in a message is not another's by now.
"""

from __future__ import annotations

import os
import signal
import socket
import struct
import subprocess
import sys
import threading
import time
from contextlib import suppress
from pathlib import Path

FORK, POLL, END = range(3)
ASKED = struct.Struct("<qq")  # what for, and the child's process id
STATUS = struct.Struct("<qq")  # 1 when it has ended, and its exit status as `subprocess` tells it
ANSWER_SECONDS = 30.0
END_SECONDS = 2.0
IDLE_SECONDS = 600.0  # then it gives its memory back, unless it `stays`
_ROOT = Path(__file__).resolve().parents[3]
_START = "import sys; sys.path.insert(0, sys.argv[2]); from galleries.imaging.contained import forkserver; "
_START += "forkserver.main(int(sys.argv[1]), stays=sys.argv[3] == '1')"


class ForkServer:
    """The asker's side. Processes forked from the asker go on asking the same server."""

    def __init__(self, *, stays: bool = False) -> None:
        self.control, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        with theirs:
            self.process = subprocess.Popen(
                [sys.executable, "-E", "-P", "-c", _START, str(theirs.fileno()), str(_ROOT), str(int(stays))],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                env={},
                cwd="/",
                pass_fds=(theirs.fileno(),),
            )

    def fork(self, channel: socket.socket) -> None:
        """A child at the other end of `channel`. Raises `OSError` when the server is gone."""
        socket.send_fds(self.control, [ASKED.pack(FORK, 0)], [channel.fileno()])

    def status(self, pid: int, *, end: bool = False) -> int | None:
        """The exit status of a child, None while it lives; `end` kills it first. Of one whose server is gone: 0."""
        ours, theirs = socket.socketpair()
        try:
            with ours, theirs:
                socket.send_fds(self.control, [ASKED.pack(END if end else POLL, pid)], [theirs.fileno()])
                theirs.close()
                ours.settimeout(ANSWER_SECONDS)
                has_ended, status = STATUS.unpack(ours.recv(STATUS.size, socket.MSG_WAITALL))
        except (OSError, struct.error):
            return 0
        return int(status) if has_ended else None

    def end(self) -> None:
        """It ends when nobody is left who might ask it: a process forked from this one perhaps."""
        self.control.close()
        with suppress(subprocess.TimeoutExpired):
            self.process.wait(END_SECONDS)

    def let_go(self) -> None:
        """After a fork: it is asked on, but is the parent's child."""
        self.process.returncode = 0


class Forked:
    """A child of the server's: as much of `subprocess.Popen` as is asked for."""

    def __init__(self, server: ForkServer, pid: int) -> None:
        self._server, self.pid = server, pid
        self.returncode: int | None = None

    def poll(self) -> int | None:
        if self.returncode is None:
            self.returncode = self._server.status(self.pid)
        return self.returncode

    def end(self) -> int:
        if self.returncode is None:
            self.returncode = self._server.status(self.pid, end=True)
        return self.returncode or 0

    def wait(self, seconds: float) -> int:
        """Raises `TimeoutError`."""
        deadline = time.monotonic() + seconds
        while (status := self.poll()) is None:
            if time.monotonic() > deadline:
                raise TimeoutError
            time.sleep(0.01)
        return status


_lock = threading.Lock()
_running: list[ForkServer] = []


def running(*, stays: bool = False) -> ForkServer:
    """This process's server, or the one it was forked with; started when there is none. Returns at once: what is asked
    of it waits until it is warm."""
    with _lock:
        if not _running:
            _running.append(ForkServer(stays=stays))
        return _running[0]


def replaced(gone: ForkServer) -> ForkServer:
    """Another, for one that does not answer."""
    with _lock:
        if gone in _running:
            _running.remove(gone)
            gone.end()
    return running()


def end() -> None:
    """End this process's server, so that what it used is counted as ours; the next child starts another."""
    with _lock:
        while _running:
            _running.pop().end()


def _forked() -> None:
    global _lock
    _lock = threading.Lock()
    for server in _running:
        server.let_go()


os.register_at_fork(after_in_child=_forked)


# --- the server's own side ------------------------------------------------------------------------------


def main(descriptor: int, *, stays: bool) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # whoever asks decides when it ends
    from galleries.imaging.contained import child

    entries = child.warm()
    control = socket.socket(fileno=descriptor)
    control.settimeout(None if stays else IDLE_SECONDS)
    while True:
        try:
            message, handed, _, _ = socket.recv_fds(control, ASKED.size, 4, socket.MSG_CMSG_CLOEXEC)
        except TimeoutError:
            if _childless():
                return
            continue
        if len(message) != ASKED.size or len(handed) != 1:
            return
        act, pid = ASKED.unpack(message)
        with socket.socket(fileno=handed[0]) as line:
            if act == FORK:
                if os.fork():
                    continue
                control.close()
                _serve(line, entries)
            with suppress(OSError):
                line.sendall(STATUS.pack(*_ended(pid, kill=act == END)))


def _serve(line: socket.socket, entries: dict[str, object]) -> None:
    """In the child: never to come back."""
    from galleries.imaging.contained import child

    status = 1
    try:
        child.serve(line, own_user=False, entries=entries)
        status = 0
    finally:
        os._exit(status)


def _childless() -> bool:
    try:
        os.waitid(os.P_ALL, 0, os.WEXITED | os.WNOHANG | os.WNOWAIT)
    except ChildProcessError:
        return True
    return False


def _ended(pid: int, *, kill: bool) -> tuple[int, int]:
    try:
        if kill:
            os.kill(pid, signal.SIGKILL)
        ended, status = os.waitpid(pid, 0 if kill else os.WNOHANG)
    except OSError:  # buried before
        return 1, 0
    return (1, os.waitstatus_to_exitcode(status)) if ended else (0, 0)
