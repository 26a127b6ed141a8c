"""The child process for untrusted files: limits, death, replacement, threads, forks."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from galleries.imaging import errors
from galleries.imaging.opening import decode, verifier
from tests.imaging.core_pictures import files, painted, saved

SOUND = files()["jpeg"]


@pytest.fixture(autouse=True)
def _ended() -> Iterator[None]:
    yield
    verifier.close()


def test_facts_are_those_of_verify(tmp_path: Path) -> None:
    path = tmp_path / "frame.jpg"
    path.write_bytes(SOUND)
    assert verifier.verify_safely(path) == decode.verify(path)


def test_limits_travel_and_errors_keep_their_class() -> None:
    with pytest.raises(errors.TooLarge, match="160 × 120"):
        verifier.verify_safely(SOUND, decode.Limits(max_pixels=1000))
    with pytest.raises(errors.Unsupported, match="no JPEG"):
        verifier.verify_safely(b"text, no picture at all")


def test_too_much_memory_is_a_sentence_and_the_child_lives() -> None:
    big = saved(np.zeros((9000, 9000), np.uint8), "PNG")
    with pytest.raises(errors.TooLarge, match="more memory"):
        verifier.verify_safely(big, memory=60_000_000)
    assert verifier.verify_safely(SOUND, memory=60_000_000).width == 160


def test_too_slow_is_given_up_and_replaced() -> None:
    verifier.verify_safely(SOUND)
    first = verifier._pool.idle[0].process
    os.kill(first.pid, signal.SIGSTOP)
    started = time.monotonic()
    with pytest.raises(errors.Unreadable, match=r"longer than 0\.5 seconds"):
        verifier.verify_safely(SOUND, seconds=0.5)
    assert time.monotonic() - started < 10
    assert first.returncode == -signal.SIGKILL
    assert verifier.verify_safely(SOUND).width == 160


def test_a_decoder_that_dies_costs_one_file_only(tmp_path: Path) -> None:
    verifier.verify_safely(SOUND)
    child = verifier._pool.idle[0].process
    os.kill(child.pid, signal.SIGSTOP)
    threading.Timer(0.3, os.kill, (child.pid, signal.SIGSEGV)).start()
    threading.Timer(0.4, os.kill, (child.pid, signal.SIGCONT)).start()
    with pytest.raises(errors.Unreadable, match="stopped the decoder"):
        verifier.verify_safely(SOUND)
    assert verifier.verify_safely(SOUND).width == 160


def test_threads_share_without_mixing_answers() -> None:
    sizes = [(40 + 8 * n, 64) for n in range(6)]
    pictures = {size: saved(painted(*size)) for size in sizes}
    wrong: list[str] = []

    def check(size: tuple[int, int]) -> None:
        for _ in range(10):
            facts = verifier.verify_safely(pictures[size])
            if (facts.width, facts.height) != size:
                wrong.append(f"{size} was answered {facts.width} × {facts.height}")

    threads = [threading.Thread(target=check, args=(size,)) for size in sizes]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not wrong
    assert len(verifier._pool.idle) <= 2


def _in_fork(pipe: multiprocessing.connection.Connection) -> None:
    pipe.send((len(verifier._pool.idle), verifier.verify_safely(SOUND).width))
    verifier.close()


@pytest.mark.filterwarnings("ignore:.*fork.*:DeprecationWarning")
def test_a_forked_worker_starts_its_own() -> None:
    verifier.verify_safely(SOUND)
    here, there = multiprocessing.Pipe()
    process = multiprocessing.get_context("fork").Process(target=_in_fork, args=(there,))
    process.start()
    assert here.recv() == (0, 160)
    process.join()
    assert verifier.verify_safely(SOUND).width == 160
