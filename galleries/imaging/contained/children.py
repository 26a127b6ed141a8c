"""Warm children of this process: started, asked, and ended when they run over, hang, die or grow.

Starting one costs most of a second of processor time, asking one a fraction of a millisecond; so they are kept
between files, and replaced after `MOST_FILES` files or when they keep memory, so that not even a leak adds up.
"""

from __future__ import annotations

import logging
import os
import select
import signal
import socket
import stat
import subprocess
import sys
import threading
import time
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

from galleries.imaging import errors
from galleries.imaging.codes import Code
from galleries.imaging.contained import address, plain
from galleries.imaging.contained.cage import Held
from galleries.imaging.contained.child import HEAD, HELLO

log = logging.getLogger(__name__)
MEMORY = 3_200_000_000  # bytes beyond the idle child: 12 for each of 220 million pixels, and room for the recipes
START_SECONDS = 60.0
MOST_FILES = 2000
MOST_KEPT = 400_000_000  # resident bytes of an idle child
MOST_IDLE = 2
_ROOT = Path(__file__).resolve().parents[3]
_START = "import sys; sys.path.insert(0, sys.argv[2]); from galleries.imaging.contained import child; "
_START += "child.main(int(sys.argv[1]))"


class Child:
    """One warm decoder; not for two threads at once."""

    def __init__(self, memory: int, manager: str = "") -> None:
        self.memory, self.asked = memory, 0
        self.process: subprocess.Popen[bytes] | None = None
        if manager:
            self.channel = socket.socket(socket.AF_UNIX)
            self.channel.settimeout(START_SECONDS)
            self.channel.connect(manager)
            self.channel.settimeout(None)
        else:
            self._start()
        try:
            self.channel.sendall(HELLO.pack(memory, 0))
            landlock, flags = HELLO.unpack(self._receive(HELLO.size, time.monotonic() + START_SECONDS))
        except BaseException:
            self.end()
            raise
        self.held = Held(int(landlock), bool(flags & 1), bool(flags & 2))
        _tell(self.held)

    def _start(self) -> None:
        self.channel, theirs = socket.socketpair()
        with theirs:
            self.process = subprocess.Popen(
                [sys.executable, "-E", "-P", "-c", _START, str(theirs.fileno()), str(_ROOT)],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                env={},
                cwd="/",
                pass_fds=(theirs.fileno(),),
            )

    def ask(self, question: plain.Question, sources: Sequence[int]) -> tuple[bytes, bool]:
        """The answer's bytes and whether it is one; `ChildProcessError` and `TimeoutError` when it must go."""
        self.asked += 1
        deadline = time.monotonic() + question.seconds
        asked, answer = plain.in_memory(question.packed()), plain.in_memory()
        try:
            try:
                socket.send_fds(self.channel, [bytes(8)], [asked, answer, *sources])
                size, good = HEAD.unpack(self._receive(HEAD.size, deadline))
            except OSError as error:
                if isinstance(error, TimeoutError | ChildProcessError):
                    raise
                raise ChildProcessError from error
            data = os.pread(answer, size, 0) if size <= os.fstat(answer).st_size else b""
            while 0 < len(data) < size and (more := os.pread(answer, size - len(data), len(data))):
                data += more
            return data, bool(good)
        finally:
            os.close(asked)
            os.close(answer)

    def _receive(self, size: int, deadline: float) -> bytes:
        data = b""
        while len(data) < size:
            if not self._readable(max(0.0, deadline - time.monotonic())):
                raise TimeoutError
            chunk = self.channel.recv(size - len(data))
            if not chunk:
                raise ChildProcessError
            data += chunk
        return data

    def _readable(self, seconds: float) -> bool:
        """By poll, which knows no highest descriptor: select fails from the 1,024th on, and a busy site has more."""
        poll = select.poll()
        poll.register(self.channel, select.POLLIN)
        return bool(poll.poll(seconds * 1000))

    @property
    def worth_keeping(self) -> bool:
        return self.asked < MOST_FILES and self.resident() < MOST_KEPT

    def resident(self) -> int:
        """Bytes it holds now; 0 where that cannot be seen."""
        if self.process is None:
            return 0
        try:
            pages = Path(f"/proc/{self.process.pid}/statm").read_text().split()[1]
        except OSError:
            return 0
        return int(pages) * os.sysconf("SC_PAGE_SIZE")

    @property
    def lives(self) -> bool:
        if self.process is not None:
            return self.process.poll() is None
        return not self._readable(0)  # readable while idle: it has gone

    def end(self) -> int:
        """End it; its exit status."""
        with suppress(OSError):
            self.channel.close()
        if self.process is None:
            return 0
        with suppress(OSError):
            self.process.kill()
        return self.process.wait()

    def let_go(self) -> None:
        """After a fork: it belongs to the parent; only our copy of the socket is closed."""
        if self.process is not None:
            self.process.returncode = 0
        with suppress(OSError):
            self.channel.close()


_told: set[tuple[str, ...]] = set()


def _tell(held: Held) -> None:
    if held.missing and held.missing not in _told:
        _told.add(held.missing)
        log.warning(
            "This kernel lacks %s: pictures are decoded with fewer walls round them.", " and ".join(held.missing)
        )


class Pool:
    """Warm children, at most `most_idle` kept; a forked worker starts with none of its parent's."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.idle: list[Child] = []
        self.most_idle = MOST_IDLE

    def take(self, memory: int) -> Child:
        with self.lock:
            while self.idle:
                child = self.idle.pop()
                if child.memory == memory and child.lives:
                    return child
                child.end()
        return Child(memory, address.socket)

    def give_back(self, child: Child) -> None:
        with self.lock:
            if child.worth_keeping and len(self.idle) < self.most_idle:
                self.idle.append(child)
                return
        child.end()

    def forget(self) -> None:
        self.lock = threading.Lock()
        children, self.idle = self.idle, []
        for child in children:
            child.let_go()


pool = Pool()
os.register_at_fork(after_in_child=pool.forget)


def ask(question: plain.Question, sources: Sequence[int], memory: int = MEMORY) -> tuple[bytes, bool]:
    """The answer's bytes and whether it is one or trouble; a child that fails us becomes a sentence.

    Raises:
        Unreadable: the child ran over its time, or died; it was ended and the next file gets another.
    """
    for descriptor in sources:
        if not stat.S_ISREG(os.fstat(descriptor).st_mode):
            raise errors.Unreadable(Code.NO_FILE)
    try:
        child = pool.take(memory)
    except (OSError, ValueError) as error:
        raise RuntimeError("The process that decodes pictures could not be started.") from error
    try:
        answer = child.ask(question, sources)
    except TimeoutError:
        child.end()
        raise errors.Unreadable(Code.TOOK_TOO_LONG, most_s=question.seconds) from None
    except ChildProcessError:
        status = child.end()
        raise errors.Unreadable(Code.DECODER_STOPPED, status=_status(status)) from None
    except BaseException:
        child.end()
        raise
    pool.give_back(child)
    return answer


def _status(status: int) -> str:
    return signal.Signals(-status).name if status < 0 else str(status)


def held(memory: int = MEMORY) -> Held:
    """Which walls stand round a child on this machine."""
    child = pool.take(memory)
    pool.give_back(child)
    return child.held


def close() -> None:
    """End the warm children; the next call starts new ones."""
    with pool.lock:
        children, pool.idle = pool.idle, []
    for child in children:
        child.end()
