"""Children come from a process that has loaded the decoders and reads nothing itself."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import cv2
import pytest

from galleries.imaging.contained import child, children, door, forkserver
from tests.imaging.core_pictures import files

ROOT = Path(__file__).resolve().parents[3]
SOUND = files()["jpeg"]


@pytest.fixture(autouse=True)
def _ended() -> Iterator[None]:
    yield
    door.close()


def _of(pid: int, name: str) -> str:
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return next(line.split(":", 1)[1].strip() for line in lines if line.startswith(f"{name}:"))


def _sockets(pid: int) -> set[str]:
    links = (os.readlink(f"/proc/{pid}/fd/{name}") for name in os.listdir(f"/proc/{pid}/fd"))
    return {link for link in links if link.startswith("socket:")}


def test_a_child_is_forked_has_its_own_line_only_and_walls_that_the_server_has_not() -> None:
    door.close()
    first, second = (children.Child(children.MEMORY) for _ in range(2))
    server = forkserver.running().process.pid
    assert first.process is not None
    assert second.process is not None
    pids = [first.process.pid, second.process.pid]
    assert {_of(pid, "PPid") for pid in pids} == {str(server)}
    assert [_of(pid, "Seccomp") for pid in (server, *pids)] == ["0", "2", "2"]
    assert Path(f"/proc/{server}/environ").read_bytes() == b""
    lines = [_sockets(pid) for pid in (server, *pids)]
    assert [len(one) for one in lines] == [1, 1, 1], "a child could speak to the server, or to another"
    assert len(set.union(*lines)) == 3
    first.end()
    assert not Path(f"/proc/{pids[0]}").exists(), "ended and buried"
    second.channel.close()
    assert second.process.wait(30) == 0


def test_decoders_keep_to_one_thread_and_so_does_whoever_they_are_forked_from() -> None:
    before = cv2.getNumThreads()
    try:
        cv2.setNumThreads(3)
        child.warm()
        assert cv2.getNumThreads() == 1
    finally:
        cv2.setNumThreads(before)


def test_a_server_that_is_gone_is_replaced() -> None:
    assert door.verify(SOUND).width == 160
    gone = forkserver.running().process
    gone.kill()
    gone.wait()
    door.close()
    assert door.verify(SOUND).width == 160
    assert forkserver.running().process.pid != gone.pid


def test_an_idle_server_gives_its_memory_back_unless_it_is_to_stay(monkeypatch: pytest.MonkeyPatch) -> None:
    start = forkserver._START.replace("forkserver.main", "forkserver.IDLE_SECONDS = 0.2; forkserver.main")
    monkeypatch.setattr(forkserver, "_START", start)
    idle = forkserver.ForkServer()
    assert idle.process.wait(30) == 0
    idle.end()
    staying = forkserver.ForkServer(stays=True)
    assert staying.status(os.getpid()) == 0, "it is warm by now, and this process is no child of its"
    time.sleep(0.5)
    assert staying.process.poll() is None
    staying.end()
    assert staying.process.returncode == 0


def test_bringing_a_card_in_loads_neither_pages_nor_decoders_but_begins_to_decode_at_once() -> None:
    """What a command loads is time until the first proof."""
    there = "import sys, manage\nfrom galleries.imaging.contained import forkserver\n"
    there += "sys.argv = ['manage.py', 'ingest', '/nowhere', '--sitting', 'none']\n"
    there += "try:\n    manage.main()\nexcept SystemExit:\n    pass\n"
    there += "dear = ('numpy', 'cv2', 'galleries.web.studio', 'portal.urls')\n"
    there += "print(len(forkserver._running), [module for module in dear if module in sys.modules])"
    run = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", there], cwd=ROOT, capture_output=True, text=True, timeout=120, check=True
    )
    assert "/nowhere is not a folder" in run.stderr
    assert run.stdout == "1 []\n"
