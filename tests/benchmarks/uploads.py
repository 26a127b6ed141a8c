"""Four browsers bring in large frames at once: what that costs beside hashing, decoding and writing each file once.

    python -m tests.benchmarks uploads [--files 36]

A site of its own on PostgreSQL with two web processes as the service unit starts them, on a socket, and no worker, so
that proofs take nothing. Four senders of a browser that has opened the page, each on a connection of its own, PUT
camera files of about 13.5 MB, no two the same. CPU of the web processes and their decoders, a file, against what no way
round would save, in this process and by turns with the senders: SHA-256, one strict decode to a picture at the smallest
scale, and one write of the same bytes.

A virtual machine's memory may be its host's until it is first touched, and again two seconds after it was last used:
then each page costs 10 us of CPU, and so a file that stays 30 ms where it costs 3 otherwise. The floor writes into
memory that it has just left, an upload's file stays. So as much memory as a turn takes is used before it. What a
write that stays took beside one into memory used before is told all the same: over 2, and the figure above it is too
high.
"""

from __future__ import annotations

import argparse
import hashlib
import http.client
import os
import socket
import statistics
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from functools import partial
from http.cookies import SimpleCookie
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from tests.benchmarks import crowd, frames, many_rows, timing
from tests.benchmarks.figures import figure

if TYPE_CHECKING:
    from galleries.models import Sitting

SENDERS, BOUND = 4, 1.15
PAINTED, NOISE = 3, 12.0  # frames, one of each subsampling; standard deviation in code values
TURNS = 6
MEMORY = 3  # times what the files of a turn hold: some are written beside it, and others on the machine take some
FIRST = 12  # files, on as many connections, before anything is counted


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="uploads", description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--files", type=int, default=36)
    options = parser.parse_args(argv)
    with many_rows.portal() as home, tempfile.TemporaryDirectory(prefix="portal-uploads-") as folder:
        return measure(home, Path(folder), files_of(options.files))


def files_of(count: int) -> list[bytes]:
    """Camera files of 24 megapixels and about 13.5 MB: painted frames with a sensor's noise, numbered by a comment."""
    grain = np.random.default_rng(7).normal(0, NOISE, (frames.HEIGHT, frames.WIDTH, 1)).astype(np.float32)
    kinds = [
        frames.as_camera_file(np.clip(frames.paint(nth) + grain, 0, 255).astype(np.uint8), frames.KINDS[nth])
        for nth in range(PAINTED)
    ]
    return [kinds[n % PAINTED][:2] + b"\xff\xfe\x00\x06%04d" % n + kinds[n % PAINTED][2:] for n in range(count)]


def once(data: bytes, folder: Path) -> None:
    """What every way has to do: hash, decode strictly, write."""
    from galleries.imaging.opening import decode

    hashlib.sha256(data).hexdigest()
    decode.open_stored(data, at_least=1)
    target = folder / "once"
    target.write_bytes(data)
    target.unlink()


@contextmanager
def used_memory(folder: Path, size: int) -> Iterator[None]:
    """Within, so many bytes of free memory were used before, in pieces that the host does not take back: those of one
    file that is gone, between those of another that stays (a kernel reports free blocks of 2 MiB and more)."""
    gone, stays, piece = folder / "gone", folder / "stays", bytes(1 << 20)
    with open(gone, "wb", buffering=0) as one, open(stays, "wb", buffering=0) as other:
        for _ in range(size // len(piece) + 1):
            one.write(piece)
            other.write(piece)
    gone.unlink()
    yield
    stays.unlink()


def of_new_memory(data: bytes, path: Path) -> float:
    """CPU of writing a file that stays, against writing it again over itself at its quickest."""

    def write() -> object:
        return path.write_bytes(data)

    stays = timing.cpu_ms(write)
    return stays / min(timing.cpu_ms(write) for _ in range(3))


def measure(home: Path, folder: Path, files: list[bytes]) -> int:
    from django.conf import settings

    from galleries.models import Sitting
    from tests.cast import make_cast

    cast = make_cast("elsewhere")
    sitting = Sitting.objects.create(slug="sent", title="Sent", photographer=cast.owner, subject_given="Ansa")
    cookies = {name: morsel.value for name, morsel in cast.client_of(cast.owner).cookies.items()}
    cookies[settings.CSRF_COOKIE_NAME] = crowd.TOKEN
    with crowd.web_by_socket(home, 2) as (path, process):
        first, rest = files[:FIRST], files[FIRST:]
        cookies |= opened(path, sitting, cookies)
        sent(path, sitting, cookies, first, "FIRST")  # both processes begin their decoders, which stay
        spent, floors, fresh, seconds = list[float](), list[float](), list[float](), 0.0
        for turn in range(TURNS):
            part = rest[turn::TURNS]
            floors.append(statistics.median(timing.cpu_ms(partial(once, data, folder)) for data in part))
            with used_memory(folder, MEMORY * sum(map(len, part))):
                fresh += [of_new_memory(data, folder / f"{turn}-{nth}") for nth, data in enumerate(part[:2])]
                before, began = timing.tree_s(process.process.pid), time.monotonic()
                sent(path, sitting, cookies, part, f"KAL{turn}")
                seconds += time.monotonic() - began
                spent.append((timing.tree_s(process.process.pid) - before) / len(part) * 1e3)
    kept = sitting.frames.count()
    times = statistics.median(of_turn / floor for of_turn, floor in zip(spent, floors, strict=True))
    size = sum(map(len, rest)) / 1e6
    print(f"{len(rest)} files of {size / len(rest):.1f} MB by {SENDERS} senders; load {os.getloadavg()}")
    print(f"{statistics.median(spent):.0f} ms of CPU a file, {statistics.median(floors):.0f} ms for hash, decode and"
          f" write: {times:.2f} times, median of {TURNS} turns from {min(spent):.0f} to {max(spent):.0f} ms"
          f" (to reach {BOUND}); {size / seconds:.1f} MB/s")  # fmt: skip
    print(f"a write that stays against one into memory used before: {statistics.mean(fresh):.1f} times")
    figure("upload, CPU a file against hash, decode and write", times, "times", most=BOUND)
    figure("uploads", size / seconds, "MB/s")
    figure("a write that stays against one into memory used before", statistics.mean(fresh), "times")
    return 0 if kept == len(files) else 1


class Line(http.client.HTTPConnection):
    """As the proxy asks: by the web server's socket."""

    def __init__(self, path: Path) -> None:
        super().__init__("localhost", timeout=120)
        self._path = path

    def connect(self) -> None:
        self.sock = socket.socket(socket.AF_UNIX)
        self.sock.settimeout(self.timeout)
        self.sock.connect(str(self._path))


def opened(path: Path, sitting: Sitting, cookies: dict[str, str]) -> dict[str, str]:
    """The cookies that the page of uploads gives a browser: its pass, for as long as such a batch takes."""
    from django.conf import settings
    from django.urls import reverse

    with closing(Line(path)) as line:
        given = "; ".join(f"{key}={value}" for key, value in cookies.items())
        line.request(
            "GET", reverse("studio-upload", args=[sitting.slug]), headers={"Host": "localhost", "Cookie": given}
        )
        answer = line.getresponse()
        answer.read()
    cookies_set = [SimpleCookie(value) for value in answer.headers.get_all("Set-Cookie", [])]
    named = {name: morsel.value for one in cookies_set for name, morsel in one.items()}
    return {settings.PASS_COOKIE_NAME: named[settings.PASS_COOKIE_NAME]}


def sent(path: Path, sitting: Sitting, cookies: dict[str, str], files: list[bytes], name: str) -> None:
    """All of them, by four at once."""

    def sender(nth: int) -> None:
        for number, data in enumerate(files[nth::SENDERS]):
            with closing(Line(path)) as line:
                send(line, sitting, cookies, data, f"{name}_{nth}{number:04d}.JPG")

    crowd.join(crowd.started(sender, nth) for nth in range(SENDERS))


def send(line: http.client.HTTPConnection, sitting: Sitting, cookies: dict[str, str], data: bytes, name: str) -> None:
    from django.urls import reverse

    headers: dict[str, Any] = {
        "Host": "localhost", "Cookie": "; ".join(f"{key}={value}" for key, value in cookies.items()),
        "X-CSRFToken": crowd.TOKEN, "Accept": "application/json", "X-File-Name": name,
        "Content-Type": "application/octet-stream", "X-File-Sha256": hashlib.sha256(data).hexdigest(),
    }  # fmt: skip
    line.request("PUT", reverse("studio-upload-file", args=[sitting.slug]), data, headers)
    answer = line.getresponse()
    words = answer.read()
    if answer.status != 201:
        raise RuntimeError(f"{name}: {answer.status} {words[:200]!r}")
