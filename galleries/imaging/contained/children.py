"""Warm children of this process: started, asked, and ended when they run over, hang, die or grow.

Forking one costs milliseconds (`forkserver`; the service manager's are started whole, for most of a second of
processor time), asking one a fraction of one; they are kept between files, and replaced after `MOST_FILES` files or
when they keep memory, so that not even a leak adds up.
"""

from __future__ import annotations

import atexit
import logging
import os
import select
import signal
import socket
import stat
import threading
import time
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

from galleries.imaging import errors
from galleries.imaging.codes import Code
from galleries.imaging.contained import address, forkserver, plain
from galleries.imaging.contained.cage import Held
from galleries.imaging.contained.child import HEAD, HELLO, STANDS

log = logging.getLogger(__name__)
MEMORY = 3_200_000_000  # bytes beyond the idle child: 12 for each of 220 million pixels, and room for the recipes
START_SECONDS = 60.0
MOST_FILES = 2000
MOST_KEPT = 400_000_000  # resident bytes of an idle child
MOST_IDLE = 2
# Of one process; whoever comes then waits for a child that is about to be free. One forked for a moment and ended after
# it takes 18 ms of CPU more than one that was there, and on cores that are all at work answers no sooner.
MOST_AT_ONCE = max(MOST_IDLE, len(os.sched_getaffinity(0)))
WAIT_SECONDS = 1.0  # not longer: those at work may be at it for a minute, with what was sent to that end


class Child:
    """One warm decoder; not for two threads at once."""

    def __init__(self, memory: int, manager: str = "") -> None:
        self.memory, self.asked = memory, 0
        self.process: forkserver.Forked | None = None  # none of the service manager's
        try:
            landlock, flags = self._connect(manager) if manager else self._fork()
        except BaseException:
            self.end()
            raise
        self.held = Held(int(landlock), bool(flags & 1), bool(flags & 2))
        _tell(self.held)

    def _connect(self, manager: str) -> tuple[int, int]:
        self.channel = socket.socket(socket.AF_UNIX)
        self.channel.settimeout(START_SECONDS)
        self.channel.connect(manager)
        self.channel.settimeout(None)
        return self._greet()[:2]

    def _fork(self) -> tuple[int, int]:
        server = forkserver.running()
        try:
            landlock, flags, pid = self._forked_from(server)
        except (ConnectionError, ChildProcessError):  # it ended, from outside or after long idleness
            server = forkserver.replaced(server)
            landlock, flags, pid = self._forked_from(server)
        self.process = forkserver.Forked(server, pid)
        return landlock, flags

    def _forked_from(self, server: forkserver.ForkServer) -> tuple[int, int, int]:
        self.channel, theirs = socket.socketpair()
        with theirs:
            server.fork(theirs)
        return self._greet()

    def _greet(self) -> tuple[int, int, int]:
        self.channel.sendall(HELLO.pack(self.memory, 0))
        landlock, flags, pid = STANDS.unpack(self._receive(STANDS.size, time.monotonic() + START_SECONDS))
        return int(landlock), int(flags), int(pid)

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
        return not self._readable(0)  # readable while idle: it has gone

    def end(self) -> int:
        """End it; its exit status."""
        with suppress(OSError):
            self.channel.close()
        return self.process.end() if self.process is not None else 0

    def let_go(self) -> None:
        """After a fork: it belongs to the parent; only our copy of the socket is closed."""
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
    """Warm children, at most `most_idle` kept; a forked worker starts with none of its parent's.

    Each that was taken is given back, or ended by `end`.
    """

    def __init__(self) -> None:
        self.changes = threading.Condition()
        self.idle: list[Child] = []
        self.busy = 0  # taken, or being started
        self.most_idle = MOST_IDLE

    def take(self, memory: int) -> Child:
        with self.changes:
            self.changes.wait_for(lambda: self.idle or self.busy < MOST_AT_ONCE, WAIT_SECONDS)
            self.busy += 1
            child = self._idle(memory)  # before anybody else may look: who finds none left would start one too many
        try:
            return child or Child(memory, address.socket)
        except BaseException:
            self._less_busy()
            raise

    def _idle(self, memory: int) -> Child | None:
        while self.idle:
            child = self.idle.pop()
            if child.memory == memory and child.lives:
                return child
            child.end()
        return None

    def give_back(self, child: Child) -> None:
        with self.changes:
            kept = child.worth_keeping and len(self.idle) < self.most_idle
            if kept:
                self.idle.append(child)
            self._less_busy()
        if not kept:
            child.end()

    def end(self, child: Child) -> int:
        """The exit status of one that was taken."""
        self._less_busy()
        return child.end()

    def _less_busy(self) -> None:
        with self.changes:
            self.busy -= 1
            self.changes.notify()

    def forget(self) -> None:
        self.changes, self.busy = threading.Condition(), 0
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
        pool.end(child)
        raise errors.Unreadable(Code.TOOK_TOO_LONG, most_s=question.seconds) from None
    except ChildProcessError:
        status = pool.end(child)
        raise errors.Unreadable(Code.DECODER_STOPPED, status=_status(status)) from None
    except BaseException:
        pool.end(child)
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


def get_ready() -> None:
    """Begin to load the decoders, before the first file is there, and keep them loaded. Returns at once."""
    if not address.socket:
        forkserver.running(stays=True)


def keep_one() -> None:
    """Have the service manager, where children come from there, start one before the first file."""
    if address.socket:
        threading.Thread(target=held, daemon=True).start()


def close() -> None:
    """End the warm children; the next call forks new ones."""
    with pool.changes:
        children, pool.idle = pool.idle, []
    for child in children:
        child.end()


@atexit.register
def _close_all() -> None:
    """The processor time of children that were waited for counts as this process's own."""
    close()
    forkserver.end()
