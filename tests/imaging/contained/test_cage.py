"""What a child that belongs to somebody else by now can still do: asked from inside, one way out after the other."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from galleries.imaging.contained import cage, children, door
from tests.imaging.core_pictures import files

ROOT = Path(__file__).resolve().parents[3]

# Run inside the cage after it was shut: each way out is tried, what came of it is printed.
ATTACK = """
import ctypes, json, os, resource, signal, socket, subprocess, sys
from galleries.imaging.contained import cage, child
secret, target = sys.argv[1:3]
child.warm()
libc = ctypes.CDLL(None, use_errno=True)
held = cage.shut(400_000_000, own_user=False)
told = {"held": [held.landlock, held.calls]}

def tried(name, action):
    try:
        told[name] = "done: " + str(action())[:60]
    except BaseException as error:
        told[name] = type(error).__name__

tried("read a secret", lambda: open(secret).read())
tried("list the folder", lambda: os.listdir(os.path.dirname(secret)))
tried("write a file", lambda: open(target, "w"))
tried("make a folder", lambda: os.mkdir(target))
tried("delete a file", lambda: os.unlink(secret))
tried("read a password file", lambda: open("/etc/passwd").read())
tried("see the parent's environment", lambda: open(f"/proc/{os.getppid()}/environ").read())
tried("see its own environment", lambda: open("/proc/self/environ").read())
tried("socket", lambda: socket.socket())
tried("socket of this machine", lambda: socket.socket(socket.AF_UNIX))
tried("start a program", lambda: subprocess.run(["/bin/true"], check=True))
tried("fork", os.fork)
tried("kill", lambda: os.kill(os.getppid(), signal.SIGTERM))
tried("more memory", lambda: len(bytearray(600_000_000)))
tried("raise the limit", lambda: resource.setrlimit(resource.RLIMIT_AS, (1 << 40, 1 << 40)))
tried("trace", lambda: told.setdefault("ptrace", libc.ptrace(16, os.getppid(), 0, 0)) and 1 / 0)
tried("code is readable", lambda: len(open(cage.__file__).read()))
told["privileges"] = libc.prctl(39, 0, 0, 0, 0)
print(json.dumps(told))
"""
SHUT = {"PermissionError", "OSError", "ZeroDivisionError"}


@pytest.fixture(autouse=True)
def _ended() -> Iterator[None]:
    yield
    door.close()


def test_no_way_out(tmp_path: Path) -> None:
    secret, target = tmp_path / "secret", tmp_path / "target"
    secret.write_text("the database's password")
    run = subprocess.run(
        [sys.executable, "-c", ATTACK, str(secret), str(target)],
        cwd=ROOT, env={"PYTHONPATH": str(ROOT)}, capture_output=True, text=True, timeout=120, check=True,
    )  # fmt: skip
    told = json.loads(run.stdout)
    landlock, calls = told.pop("held")
    assert (landlock > 0, calls) == (True, True), "this kernel lacks a wall: see what cage.Held says"
    assert told.pop("privileges") == 1
    assert told.pop("code is readable").startswith("done")
    assert told.pop("more memory") == "MemoryError"
    assert told.pop("raise the limit") in {"ValueError", "PermissionError"}
    assert told.pop("ptrace") == -1
    open_ways = {name: what for name, what in told.items() if what not in SHUT}
    assert not open_ways
    assert secret.exists()
    assert not target.exists()


def test_the_child_starts_with_no_environment_and_no_open_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PORTAL_SECRET_KEY", "a secret that no decoder needs")
    with open(tmp_path / "journal", "w") as kept:
        os.set_inheritable(kept.fileno(), True)
        door.verify(files()["jpeg"])
        process = children.pool.idle[0].process
        assert process is not None
        assert Path(f"/proc/{process.pid}/environ").read_bytes() == b""
        shown = [os.readlink(f"/proc/{process.pid}/fd/{name}") for name in os.listdir(f"/proc/{process.pid}/fd")]
    known = ("/dev/null", "socket:", "/dev/urandom", "/memfd:", "anon_inode:")
    assert [link for link in shown if not link.startswith(known)] == []
    status = Path(f"/proc/{process.pid}/status").read_text()
    assert "NoNewPrivs:\t1" in status
    assert "Seccomp:\t2" in status
    assert "CapEff:\t0000000000000000" in status


def test_a_missing_wall_is_named() -> None:
    assert cage.Held(0, False, True).missing == ("Landlock", "seccomp")
    assert cage.Held(7, True, False).missing == ()
