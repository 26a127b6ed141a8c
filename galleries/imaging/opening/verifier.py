"""Decoding bytes nobody trusts yet, in a child process with a memory limit, a time limit and no way back in.

A decoder that crashes, runs wild or eats memory takes its child along, not the worker: the file gets its
sentence and the next file a new child. Children stay warm between files, since starting one costs several
hundred milliseconds and asking one under a millisecond; each is replaced after `_MOST_FILES` files, so that
not even a leak can add up.
"""

from __future__ import annotations

import json
import os
import resource
import select
import signal
import subprocess
import sys
import tempfile
import threading
import time
from contextlib import suppress
from dataclasses import astuple
from pathlib import Path
from typing import IO

from galleries.imaging import errors
from galleries.imaging.opening.decode import DEFAULT_LIMITS, FrameFacts, Limits, verify

MEMORY = 3_000_000_000  # bytes beyond the idle child: a 16-bit picture at the pixel limit, twice
SECONDS = 60.0
_MOST_FILES = 2000
_MOST_IDLE = 2
_ROOT = Path(__file__).resolve().parents[3]


class _Child:
    """One warm decoder; not for two threads at once."""

    def __init__(self, memory: int) -> None:
        environment = {**os.environ, "PYTHONPATH": str(_ROOT)}
        self.memory, self.asked = memory, 0
        self.process = subprocess.Popen(
            [sys.executable, "-m", "galleries.imaging.opening.verifier", str(memory)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env=environment,
            cwd=_ROOT,
        )

    def ask(self, path: Path, limits: Limits, seconds: float) -> FrameFacts:
        """The facts, or the child's own error; `ChildProcessError` and `TimeoutError` when it must go."""
        self.asked += 1
        question = json.dumps({"path": os.fspath(path.resolve()), "limits": astuple(limits)}) + "\n"
        stdin, stdout = self.process.stdin, self.process.stdout
        if stdin is None or stdout is None:
            raise ChildProcessError
        try:
            stdin.write(question.encode())
            stdin.flush()
        except BrokenPipeError as error:
            raise ChildProcessError from error
        return _outcome(_line(stdout, time.monotonic() + seconds))

    def end(self) -> int:
        """Kill it; its exit status."""
        with suppress(OSError):
            self.process.kill()
        for pipe in (self.process.stdin, self.process.stdout):
            if pipe is not None:
                with suppress(OSError):
                    pipe.close()
        return self.process.wait()


def _line(stream: IO[bytes], deadline: float) -> bytes:
    """One line from a pipe before the deadline."""
    data = b""
    while not data.endswith(b"\n"):
        ready, _, _ = select.select([stream], [], [], max(0.0, deadline - time.monotonic()))
        if not ready:
            raise TimeoutError
        chunk = os.read(stream.fileno(), 65536)
        if not chunk:
            raise ChildProcessError
        data += chunk
    return data


def _outcome(line: bytes) -> FrameFacts:
    answer = json.loads(line)
    if "error" not in answer:
        return FrameFacts.from_dict(answer)
    kind = getattr(errors, answer["error"], errors.Unreadable)
    raise kind(answer["sentence"])


class _Pool:
    """Warm children, at most `_MOST_IDLE` kept; a forked worker starts with none of its parent's."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.idle: list[_Child] = []

    def take(self, memory: int) -> _Child:
        with self.lock:
            while self.idle:
                child = self.idle.pop()
                if child.memory == memory and child.process.poll() is None:
                    return child
                child.end()
        return _Child(memory)

    def give_back(self, child: _Child) -> None:
        with self.lock:
            if child.asked < _MOST_FILES and len(self.idle) < _MOST_IDLE:
                self.idle.append(child)
                return
        child.end()

    def forget(self) -> None:
        """After a fork: the children belong to the parent; only our copies of their pipes are closed."""
        self.lock = threading.Lock()
        children, self.idle = self.idle, []
        for child in children:
            child.process.returncode = 0
            for pipe in (child.process.stdin, child.process.stdout):
                if pipe is not None:
                    with suppress(OSError):
                        pipe.close()


_pool = _Pool()
os.register_at_fork(after_in_child=_pool.forget)


def verify_safely(
    source: bytes | Path,
    limits: Limits = DEFAULT_LIMITS,
    *,
    seconds: float = SECONDS,
    memory: int = MEMORY,
) -> FrameFacts:
    """As `decode.verify`, in a child process: any file gets its facts or one of `errors`, within `seconds`.

    `memory` is what one child may take beyond its idle size, in bytes. Safe to call from several threads.
    """
    if isinstance(source, bytes):
        with tempfile.NamedTemporaryFile() as file:
            file.write(source)
            file.flush()
            return verify_safely(Path(file.name), limits, seconds=seconds, memory=memory)
    child = _pool.take(memory)
    try:
        facts = child.ask(source, limits, seconds)
    except errors.ImagingError:
        _pool.give_back(child)
        raise
    except TimeoutError:
        child.end()
        raise errors.Unreadable(f"Decoding this file took longer than {seconds:g} seconds and was given up.") from None
    except ChildProcessError:
        status = child.end()
        raise errors.Unreadable(f"Decoding this file stopped the decoder ({_told(status)}).") from None
    except BaseException:
        child.end()
        raise
    _pool.give_back(child)
    return facts


def _told(status: int) -> str:
    return signal.Signals(-status).name if status < 0 else f"exit status {status}"


def close() -> None:
    """End the warm children; the next call starts new ones."""
    with _pool.lock:
        children, _pool.idle = _pool.idle, []
    for child in children:
        child.end()


# --- inside the child -----------------------------------------------------------------------------------


def _limit(memory: int) -> None:
    pages = int(Path("/proc/self/statm").read_text().split()[0])
    most = pages * resource.getpagesize() + memory
    resource.setrlimit(resource.RLIMIT_AS, (most, most))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _answer(question: dict[str, object]) -> dict[str, object]:
    try:
        return verify(Path(str(question["path"])), Limits(*question["limits"])).as_dict()  # type: ignore[misc]
    except errors.ImagingError as error:
        return {"error": type(error).__name__, "sentence": str(error)}
    except MemoryError:
        sentence = "Decoding this file needs more memory than the decoder may take."
        return {"error": "TooLarge", "sentence": sentence}


def _serve(memory: int) -> None:
    """Answer a question a line until the parent closes the pipe. Libraries' own chatter goes to stderr."""
    replies = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    _limit(memory)
    for line in sys.stdin.buffer:
        replies.write(json.dumps(_answer(json.loads(line))).encode() + b"\n")
        replies.flush()


if __name__ == "__main__":
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent decides when it ends
    _serve(int(sys.argv[1]))
