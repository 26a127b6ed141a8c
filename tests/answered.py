"""What a contained child has answered once is not worked out again by the next test of this process.

Tests of steps and pages bring the same few painted frames in again and again: the same question about the same bytes.
The first one is asked of a real child, as ever; the next test gets that answer. A test that asks twice has a child
work it out a second time: whether the same comes out is often its question. Refusals, and children that fail, are
never kept. Tests of imaging itself ask anew each time, and that a recipe makes the same bytes twice is theirs to say
(tests/imaging/test_versions.py).

In the test command the processes of a run have each other's answers too, by a folder of the run (TESTS_TABLES).
"""

from __future__ import annotations

import hashlib
import os
import threading
from collections import OrderedDict
from collections.abc import Sequence
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

from galleries import imaging
from galleries.imaging.contained import children, plain

MOST_KEPT = 300_000_000  # bytes of answers
# What is asked about bytes alone. Proofs and finals are made under keys of each test's own: nobody asks that again.
SHARED = frozenset(
    (
        *("changes", "cut_sensor", "differences", "look_for_slate", "make_view", "open_small", "probe", "read_frame"),
        *("read_rights", "verify"),
    )
)
_ask = children.ask
_lock = threading.Lock()
_kept: OrderedDict[tuple[bytes, ...], bytes] = OrderedDict()
_state = {"on": False, "bytes": 0}
_of_this_test: set[tuple[bytes, ...]] = set()


def _digest(descriptor: int) -> bytes:
    """Of the whole file, whose position stays where it is. What is no regular file is refused by the real `ask`."""
    digest, at = hashlib.sha256(), 0
    while part := os.pread(descriptor, 1 << 24, at):
        digest.update(part)
        at += len(part)
    return digest.digest()


@cache
def shared_folder() -> Path | None:
    """Named by the code that answers, and the day: on a desk the folder outlives both."""
    place = os.environ.get("TESTS_TABLES")
    if place is None:
        return None
    root = Path(imaging.__path__[0])
    digest = hashlib.sha256((root.parents[1] / "deploy/requirements.lock").read_bytes())
    for source in sorted(root.rglob("*.py")):
        digest.update(source.read_bytes())
    folder = Path(place, f"answers-{datetime.now(UTC):%Y%m%d}-{digest.hexdigest()[:24]}")
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def _shared(key: tuple[bytes, ...]) -> Path | None:
    folder = shared_folder()
    parts = b"".join(len(part).to_bytes(8, "big") + part for part in key)
    return folder and folder / hashlib.sha256(parts).hexdigest()


def _of_others(key: tuple[bytes, ...]) -> bytes | None:
    file = _shared(key)
    return file.read_bytes() if file is not None and file.is_file() else None


def _share(key: tuple[bytes, ...], answer: bytes) -> None:
    file = _shared(key)
    if file is None or file.exists():
        return
    part = file.with_suffix(f".{os.getpid()}-{threading.get_ident()}.part")
    part.write_bytes(answer)
    part.replace(file)


def ask(question: plain.Question, sources: Sequence[int], memory: int = children.MEMORY) -> tuple[bytes, bool]:
    """As `children.ask`."""
    if not _state["on"]:
        return _ask(question, sources, memory)
    try:
        key = (question.packed(), str(memory).encode(), *map(_digest, sources))
    except OSError:
        return _ask(question, sources, memory)
    with _lock:
        again = key in _of_this_test
        _of_this_test.add(key)
        if not again and (answer := _kept.get(key)) is not None:
            _kept.move_to_end(key)
            return answer, True
    shared = question.entry in SHARED
    if shared and not again and (answer := _of_others(key)) is not None:
        return answer, True
    answer, good = _ask(question, sources, memory)
    if good:
        if shared:
            _share(key, answer)
        with _lock:
            _state["bytes"] += len(answer) - len(_kept.pop(key, b""))
            _kept[key] = answer
            while _state["bytes"] > MOST_KEPT:
                _state["bytes"] -= len(_kept.popitem(last=False)[1])
    return answer, good


def put_up() -> None:
    """Before any test; nothing is kept until `for_test` says so."""
    vars(children)["ask"] = ask


def for_test(path: str) -> None:
    """Whether the test in this file may have what another one was answered."""
    _state["on"] = "/tests/imaging/" not in path
    with _lock:
        _of_this_test.clear()
