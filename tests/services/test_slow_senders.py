"""Two hundred visitors who send slowly, half or not at all, or read slowly: the site goes on answering the others.

Eight to ten half-sent forms had stopped it. Loopback only; every line is closed after at most `HELD` seconds.
"""

from __future__ import annotations

import contextlib
import socket
import time
import urllib.request
from collections.abc import Iterator

import pytest

from tests.servers import free_port
from tests.services.site import Site
from tests.services.test_start import opens, started

pytestmark = [pytest.mark.services, pytest.mark.timeout(600)]
COUNT, HELD = 200, 40
BOUND = "----portal"
HALF_SENT = {
    "a form never finished": (
        "POST /sign-in HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/x-www-form-urlencoded\r\n"
        "Content-Length: 4000\r\n\r\nusername=a"
    ),
    "headers never finished": "GET / HTTP/1.1\r\nHost: localhost\r\nX-Slow: ",
    "a form to the address that streams": (
        "POST /studio/ansa-veld/upload/file HTTP/1.1\r\nHost: localhost\r\nContent-Length: 200000000\r\n"
        f"Content-Type: multipart/form-data; boundary={BOUND}\r\n\r\n--{BOUND}\r\n"
    ),
    "a file of nobody": (
        "PUT /studio/ansa-veld/upload/file HTTP/1.1\r\nHost: localhost\r\nContent-Length: 90000000\r\n\r\nxx"
    ),
    "an answer never read": "GET /sign-in HTTP/1.1\r\nHost: localhost\r\nConnection: keep-alive\r\n\r\n" * 8,
}
NEVER_READ = "GET /studio/ HTTP/1.1\r\nHost: localhost\r\nConnection: keep-alive\r\n\r\n" * 8  # soon made: it leads on
AT_ONCE, A_SECOND = 12, 15  # pages for one address: deploy/embedded/front.conf


@contextlib.contextmanager
def senders(port: int, words: str, first: int = 2) -> Iterator[list[socket.socket]]:
    """COUNT lines from five addresses of this machine, 127.0.0.`first` and on; each with only so much on it."""
    lines = []
    try:
        for number in range(COUNT):
            line = socket.socket()
            line.settimeout(5)
            line.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
            line.bind((f"127.0.0.{first + number % 5}", 0))
            line.connect(("127.0.0.1", port))
            line.sendall(words.encode())
            lines.append(line)
        yield lines
    finally:
        for line in lines:
            line.close()


@pytest.fixture(scope="module")
def port(tmp_path_factory: pytest.TempPathFactory) -> Iterator[int]:
    """Of a site as it is begun for work of one's own: nobody's demo in it."""
    home, port = tmp_path_factory.mktemp("slow") / "site", free_port()
    home.mkdir(mode=0o700)
    prepared = Site(home)  # how a site begins from nothing is test_start.py's
    prepared.migrate()
    prepared.collect_static()
    with started(home, "--port", str(port), "--without-demo", people=0):
        yield port


def seconds(call: object) -> float:
    start = time.monotonic()
    assert call()  # type: ignore[operator]
    return time.monotonic() - start


@pytest.mark.parametrize("how", list(HALF_SENT))
def test_the_site_goes_on_answering(port: int, how: str) -> None:
    """The limits are the issue's: health within 1 s, a page within 2 s (generous here: the machine may be busy)."""
    with senders(port, HALF_SENT[how]):
        time.sleep(0.5)
        for _ in range(3):
            health = f"http://127.0.0.1:{port}/health/live"
            spent = seconds(lambda: urllib.request.urlopen(health, timeout=10).status == 200)  # noqa: B023
            print(f"{how}: health in {spent:.2f} s")
            assert spent < 5, f"{how}: {spent:.2f} s for the health answer"
            spent = seconds(lambda: opens(f"http://127.0.0.1:{port}/sign-in")[0] == 200)
            print(f"{how}: a page in {spent:.2f} s")
            assert spent < 10, f"{how}: {spent:.2f} s for a page"


def test_pages_that_nobody_reads_are_not_begun_by_the_hundred(port: int) -> None:
    """1,600 pages asked for at once were 1,600 pages made, and everybody waited behind them. Each address has so
    many at once and then so many a second; what it asks for beyond that waits at the front."""
    begun = time.monotonic()
    with senders(port, NEVER_READ, first=12) as lines:  # of whom the front knows nothing yet
        assert opens(f"http://127.0.0.1:{port}/sign-in")[0] == 200
        time.sleep(1)
        of_one_address = [line for line in lines if line.getsockname()[0] == "127.0.0.12"]
        answers = sum(arrived(line).count(b"HTTP/1.1 302") for line in of_one_address)
        most = AT_ONCE + 1 + A_SECOND * (time.monotonic() - begun + 1)
    assert 0 < answers <= most, f"{answers} pages made, {most:.0f} are let through"


def arrived(line: socket.socket) -> bytes:
    """What lies there for this line, with what its reading lets come after it."""
    line.settimeout(0.05)
    found = b""
    with contextlib.suppress(TimeoutError):
        while piece := line.recv(1 << 16):
            found += piece
    return found


def test_who_says_nothing_is_let_go(port: int) -> None:
    """After ten seconds without a whole head the line is closed from the other side."""
    with senders(port, HALF_SENT["headers never finished"]) as lines:
        for line in lines[:20]:
            line.settimeout(HELD)
            with contextlib.suppress(ConnectionResetError):
                while line.recv(4096):
                    pass
