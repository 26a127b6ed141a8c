"""What a contained child has answered once is not worked out again by the next test of this process.

Tests of steps and pages bring the same few painted frames in again and again: the same question about the same bytes.
The first one is asked of a real child, as ever; the next test gets that answer. A test that asks twice has a child
work it out a second time: whether the same comes out is often its question. Refusals, and children that fail, are
never kept. Tests of imaging itself ask anew each time, and that a recipe makes the same bytes twice is theirs to say
(tests/imaging/test_versions.py).
"""

from __future__ import annotations

import hashlib
import os
import threading
from collections import OrderedDict
from collections.abc import Sequence

from galleries.imaging.contained import children, plain

MOST_KEPT = 300_000_000  # bytes of answers
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
    answer, good = _ask(question, sources, memory)
    if good:
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
