"""The child process for untrusted files: limits, death, replacement, threads, forks."""

from __future__ import annotations

import multiprocessing
import os
import resource
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from galleries.imaging import errors, preview, recipes
from galleries.imaging.codes import Code
from galleries.imaging.comparing import match
from galleries.imaging.contained import address, children, door, plain
from galleries.imaging.drawing.stamp import StampText
from galleries.imaging.framing.cut_order import CutOrder
from galleries.imaging.framing.geometry import Rect
from galleries.imaging.framing.sizes import SizeSpec
from galleries.imaging.opening import decode
from galleries.imaging.opening.picture import DEFAULT_LIMITS, Limits
from galleries.told import Told, told
from tests.imaging.core_pictures import files, painted, saved
from tests.telling import refused

SOUND = files()["jpeg"]
ROOT = Path(__file__).resolve().parents[3]


@pytest.fixture(autouse=True)
def _ended() -> Iterator[None]:
    yield
    door.close()


def test_facts_are_those_of_verify(tmp_path: Path) -> None:
    path = tmp_path / "frame.jpg"
    path.write_bytes(SOUND)
    assert door.verify(path) == decode.verify(path)


def test_limits_travel_and_errors_keep_their_class() -> None:
    with refused(errors.TooLarge, "160 × 120"):
        door.verify(SOUND, Limits(max_pixels=1000))
    with refused(errors.Unsupported, "no JPEG"):
        door.verify(b"text, no picture at all")


def test_too_much_memory_is_a_sentence_and_the_child_lives() -> None:
    big = saved(np.zeros((9000, 9000), np.uint8), "PNG")
    with refused(errors.TooLarge, "more memory"):
        door.verify(big, memory=60_000_000)
    assert door.verify(SOUND, memory=60_000_000).width == 160


def test_a_process_with_very_many_files_open_still_reads_pictures() -> None:
    """A descriptor from 1,024 on: `select` refuses it, and a server with many people has more than that."""
    assert resource.getrlimit(resource.RLIMIT_NOFILE)[0] > 1100
    door.close()  # first: a child kept from an earlier file would give its low descriptor back
    held = [os.open(os.devnull, os.O_RDONLY) for _ in range(1100)]
    try:
        assert door.verify(SOUND).width == 160
        assert children.pool.idle[0].channel.fileno() >= 1024
    finally:
        for descriptor in held:
            os.close(descriptor)


def test_too_slow_is_given_up_and_replaced() -> None:
    door.verify(SOUND)
    first = children.pool.idle[0].process
    os.kill(first.pid, signal.SIGSTOP)
    started = time.monotonic()
    with refused(errors.Unreadable, r"longer than 0\.5 seconds"):
        door.verify(SOUND, seconds=0.5)
    assert time.monotonic() - started < 10
    assert first.returncode == -signal.SIGKILL
    assert door.verify(SOUND).width == 160


def test_a_decoder_that_dies_costs_one_file_only(tmp_path: Path) -> None:
    door.verify(SOUND)
    child = children.pool.idle[0].process
    os.kill(child.pid, signal.SIGSTOP)
    threading.Timer(0.3, os.kill, (child.pid, signal.SIGSEGV)).start()
    threading.Timer(0.4, os.kill, (child.pid, signal.SIGCONT)).start()
    with refused(errors.Unreadable, "stopped the decoder"):
        door.verify(SOUND)
    assert door.verify(SOUND).width == 160


def test_threads_share_without_mixing_answers() -> None:
    sizes = [(40 + 8 * n, 64) for n in range(6)]
    pictures = {size: saved(painted(*size)) for size in sizes}
    wrong: list[str] = []

    def check(size: tuple[int, int]) -> None:
        for _ in range(10):
            facts = door.verify(pictures[size])
            if (facts.width, facts.height) != size:
                wrong.append(f"{size} was answered {facts.width} × {facts.height}")

    threads = [threading.Thread(target=check, args=(size,)) for size in sizes]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not wrong
    assert len(children.pool.idle) <= 2


def _counted(monkeypatch: pytest.MonkeyPatch) -> list[children.Child]:
    """Every child that is started from now on."""
    started: list[children.Child] = []

    class Child(children.Child):
        def __init__(self, memory: int, manager: str = "") -> None:
            started.append(self)
            super().__init__(memory, manager)

    monkeypatch.setattr(children, "Child", Child)
    return started


def test_more_threads_than_may_be_at_work_wait_for_a_child_and_start_none(monkeypatch: pytest.MonkeyPatch) -> None:
    started = _counted(monkeypatch)
    monkeypatch.setattr(children, "MOST_AT_ONCE", 2)
    monkeypatch.setattr(children, "WAIT_SECONDS", 60.0)
    with ThreadPoolExecutor(6) as threads:
        widths = list(threads.map(lambda _nth: door.verify(SOUND).width, range(30)))
    assert widths == [160] * 30
    assert len(started) <= 2
    assert children.pool.busy == 0


def test_who_comes_between_a_wait_and_its_child_gets_none_of_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """One at work gives its child back and asks again before the one that waited has taken it: a third was started."""
    monkeypatch.setattr(children, "MOST_AT_ONCE", 1)
    monkeypatch.setattr(children, "WAIT_SECONDS", 60.0)
    door.verify(SOUND)
    started = _counted(monkeypatch)
    look, taken = children.pool._idle, []
    other = threading.Thread(target=lambda: taken.append(children.pool.take(children.MEMORY)))

    def late(memory: int) -> children.Child | None:
        if not other.ident:
            other.start()
            other.join(0.5)
        return look(memory)

    monkeypatch.setattr(children.pool, "_idle", late)
    children.pool.give_back(children.pool.take(children.MEMORY))
    other.join()
    children.pool.give_back(taken[0])
    assert started == []


def test_children_that_hang_keep_nobody_waiting_for_long(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two files sent on purpose that take their whole minute: the third gets a child of its own."""
    monkeypatch.setattr(children, "MOST_AT_ONCE", 1)
    monkeypatch.setattr(children, "WAIT_SECONDS", 0.1)
    door.verify(SOUND)
    hanging = children.pool.idle[0].process
    os.kill(hanging.pid, signal.SIGSTOP)
    with ThreadPoolExecutor(1) as threads:
        stuck = threads.submit(door.verify, SOUND, seconds=60)
        while children.pool.busy == 0:
            time.sleep(0.01)
        assert door.verify(SOUND).width == 160
        assert children.pool.busy == 1
        os.kill(hanging.pid, signal.SIGKILL)
        with refused(errors.Unreadable, "stopped the decoder"):
            stuck.result()
    assert children.pool.busy == 0


def test_one_that_cannot_be_started_is_not_counted_as_at_work(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(address, "socket", "/nowhere/portal-decoder.sock")
    for _time in range(children.MOST_AT_ONCE + 1):
        with pytest.raises(RuntimeError, match="could not be started"):
            door.verify(SOUND)
    assert children.pool.busy == 0


def _in_fork(pipe: multiprocessing.connection.Connection) -> None:
    pipe.send((len(children.pool.idle), door.verify(SOUND).width))
    door.close()


@pytest.mark.filterwarnings("ignore:.*fork.*:DeprecationWarning")
def test_a_forked_worker_starts_its_own() -> None:
    door.verify(SOUND)
    here, there = multiprocessing.Pipe()
    process = multiprocessing.get_context("fork").Process(target=_in_fork, args=(there,))
    process.start()
    assert here.recv() == (0, 160)
    process.join()
    assert door.verify(SOUND).width == 160


def _handing_out(listener: socket.socket) -> None:
    """As a service manager with `Accept=yes`: a child for each connection, which is its standard input."""
    while True:
        try:
            connection, _ = listener.accept()
        except OSError:
            return
        with connection:
            start = f"import sys; sys.path.insert(0, {str(ROOT)!r}); "
            start += "from galleries.imaging.contained import child; child.main(0)"
            started.append(
                subprocess.Popen([sys.executable, "-E", "-P", "-c", start], stdin=connection, env={}, cwd="/")
            )


started: list[subprocess.Popen[bytes]] = []


def test_children_come_from_a_service_manager_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "decoder.sock"
    listener = socket.socket(socket.AF_UNIX)
    listener.bind(str(path))
    listener.listen()
    threading.Thread(target=_handing_out, args=(listener,), daemon=True).start()
    monkeypatch.setattr(address, "socket", str(path))
    try:
        assert door.verify(SOUND).width == 160
        assert door.verify(SOUND).width == 160
        assert len(started) == 1, "the connection was not kept"
        assert children.pool.idle[0].process is None
        started[0].kill()
        started[0].wait()
        assert door.verify(SOUND).width == 160
        assert len(started) == 2
        with pytest.raises(errors.TooLarge):
            door.verify(SOUND, Limits(max_pixels=1000))
        door.close()
        assert started[1].wait(10) == 0, "a child whose connection is closed ends by itself"
    finally:
        listener.close()
        door.close()


def test_a_child_that_nobody_ends_ends_itself() -> None:
    """A parent that died cannot kill it; with a user of its own the parent may not."""
    child, other = children.Child(children.MEMORY), children.Child(children.MEMORY)
    assert child.process is not None
    assert other.process is not None
    other.channel.close()
    assert other.process.wait(30) == 0
    slow = saved(np.zeros((9000, 9000), np.uint8), "PNG")
    question = plain.Question("verify", (plain.Source(0), DEFAULT_LIMITS), {}, -4.95)  # its clock adds 5 s
    descriptors = [plain.in_memory(question.packed()), plain.in_memory(), plain.in_memory(slow)]
    socket.send_fds(child.channel, [bytes(8)], descriptors)
    assert child.process.wait(30) == -signal.SIGALRM
    child.channel.close()
    for descriptor in descriptors:
        os.close(descriptor)


def test_an_answer_of_another_kind_is_no_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    for lie in (b"", b"\xc1", plain.pack({"width": "wide"}), plain.pack([1] * 50)):
        monkeypatch.setattr(children, "ask", lambda *_args, lie=lie: (lie, True))
        with refused(errors.Unreadable, "no sound answer"):
            door.verify(SOUND)
        monkeypatch.setattr(children, "ask", lambda *_args, lie=lie: (lie, False))
        with refused(errors.Unreadable, "no sound answer"):
            door.verify(SOUND)


def test_only_errors_of_our_own_come_out() -> None:
    for kind in ("SystemExit", "annotations", "__name__", "ImagingErrors"):
        assert type(plain.Trouble(kind, told(Code.EMPTY)).error()) is errors.Unreadable
    large = plain.Trouble("TooLarge", told(Code.TOO_MANY_BYTES, size_bytes=12, most_bytes=10)).error()
    assert isinstance(large, errors.TooLarge)
    assert large.told.data == {"size_bytes": 12, "most_bytes": 10}


def test_a_child_tells_codes_of_ours_and_no_long_texts(monkeypatch: pytest.MonkeyPatch) -> None:
    for lie in (
        told("<b>Your password, please</b>"),
        told("", text="Call this number."),
        told(Code.FILE_UNREADABLE, name="a" * 501, error="ENOENT"),
        Told(Code.EMPTY, more=(told("", text="Call this number."),)),
    ):
        packed = plain.pack(plain.Trouble("Unreadable", lie))
        monkeypatch.setattr(children, "ask", lambda *_args, packed=packed: (packed, False))
        with refused(errors.Unreadable, "no sound answer"):
            door.verify(SOUND)


def test_what_is_no_file_is_refused_without_waiting(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with refused(errors.Unreadable, "no file"):
        door.verify(tmp_path / "pipe")
    with refused(errors.Unreadable, "cannot be read"):
        door.verify(tmp_path / "nothing.jpg")


def test_recipes_answer_as_they_do_outside() -> None:
    text = StampText(studio="Veld & Co", label="0412")
    for name, data in files().items():
        assert door.make_proof(data, text) == recipes.make_proof(data, text), name
        assert door.read_frame(data) == recipes.read_frame(data), name
        assert door.make_view(data, 100) == recipes.make_view(data, 100), name
        small, there = door.open_small(data), match.open_small(data)
        assert (small.grey == there.grey).all(), name
    order = CutOrder(SizeSpec("whole", "Whole", "full", 0, 0, quality=90), Rect(0, 0, 100, 80))
    assert door.make_finals(SOUND, [order], name="") == recipes.make_finals(SOUND, [order])
    assert door.cut_small(SOUND, [order], 60) == preview.cut_small(SOUND, [order], 60)
