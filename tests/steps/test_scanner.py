"""The search for known malware, against a daemon that speaks as clamd(8) describes INSTREAM (version 1.4, its section
COMMANDS); `tests/hostile.md` says what the real one answered."""

from __future__ import annotations

import socket
import struct
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from galleries.errors import BadInput
from galleries.models import Frame, ReferencePicture, Refusal
from galleries.steps import scanner
from galleries.steps.ingesting import ingest
from galleries.steps.planning import sitting_plan
from tests.cast import Cast, make_cast
from tests.pictures import camera_file

pytestmark = pytest.mark.django_db
PATTERN = b"an invented pattern, 4711"


@dataclass
class Daemon:
    """Answers one line after another: FOUND for `PATTERN`, else OK; or what it is told to."""

    listening: socket.socket
    most: int = 10_000_000
    answer: bytes | None = b""  # None: never
    heard: list[bytes] = field(default_factory=list)

    def serve(self) -> None:
        while True:
            try:
                line = self.listening.accept()[0]
            except OSError:
                return
            with line:
                self._one(line)

    def _one(self, line: socket.socket) -> None:
        file = line.makefile("rb")
        assert file.read(10) == b"zINSTREAM\0"
        held = b""
        while size := struct.unpack(">I", file.read(4))[0]:
            held += file.read(size)
            if len(held) > self.most:
                line.sendall(b"INSTREAM size limit exceeded. ERROR\0")
                return
        self.heard.append(held)
        if self.answer is None:
            line.recv(1)  # until the other side has enough
            return
        said = b"stream: Invented.Pattern.UNOFFICIAL FOUND\0" if PATTERN in held else b"stream: OK\0"
        line.sendall(self.answer or said)


@pytest.fixture
def daemon(tmp_path: Path, settings: Any) -> Iterator[Daemon]:
    settings.SCANNER, settings.SCANNER_SECONDS = str(tmp_path / "s"), 20
    with socket.socket(socket.AF_UNIX) as listening:
        listening.bind(settings.SCANNER)
        listening.listen()
        daemon = Daemon(listening)
        threading.Thread(target=daemon.serve, daemon=True).start()
        yield daemon
        listening.shutdown(socket.SHUT_RDWR)


@pytest.fixture
def cast(db: None) -> Cast:
    return make_cast()


def test_every_byte_is_shown_to_it_in_pieces(daemon: Daemon, tmp_path: Path) -> None:
    data = bytes(range(256)) * 3000
    (tmp_path / "file").write_bytes(data)
    scanner.check(tmp_path / "file")
    scanner.check(data)
    scanner.check(b"")
    assert daemon.heard == [data, data, b""]


def test_where_none_is_set_nobody_is_asked(daemon: Daemon, settings: Any) -> None:
    settings.SCANNER = ""
    scanner.check(PATTERN)
    assert not daemon.heard


def test_a_file_with_something_in_it_is_refused_and_not_kept(daemon: Daemon, cast: Cast, tmp_path: Path) -> None:
    good, bad = tmp_path / "good.jpg", tmp_path / "bad.jpg"
    good.write_bytes(camera_file()[1])
    bad.write_bytes(good.read_bytes() + PATTERN)
    assert ingest.add_frame(cast.sitting, good, good.name, cast.as_owner).state == "new"
    outcome = ingest.add_frame(cast.sitting, bad, bad.name, cast.as_owner)
    assert outcome.state == "refused"
    assert "Invented.Pattern" in outcome.reason
    assert (Frame.objects.count(), Refusal.objects.get().name) == (1, "bad.jpg")


def test_an_invitees_picture_is_searched_too(daemon: Daemon, cast: Cast) -> None:
    with pytest.raises(BadInput, match=r"Invented\.Pattern"):
        sitting_plan.add_reference(cast.as_subject, cast.sitting, camera_file()[1] + PATTERN)
    assert not ReferencePicture.objects.exists()


def test_one_that_it_takes_no_file_of_the_size_of_is_refused(daemon: Daemon) -> None:
    daemon.most = 1_000_000
    with pytest.raises(BadInput, match="larger than the studio's scanner"):
        scanner.check(bytes(3_000_000))


@pytest.mark.parametrize("answer", [b"stream: Can't allocate memory ERROR\0", b"\0", b"UNKNOWN COMMAND\0"])
def test_what_it_did_not_look_at_is_not_let_in(daemon: Daemon, answer: bytes) -> None:
    daemon.answer = answer
    with pytest.raises(ConnectionError):
        scanner.check(b"anything")


def test_one_that_does_not_answer_or_is_away_holds_nobody(daemon: Daemon, settings: Any) -> None:
    daemon.answer, settings.SCANNER_SECONDS = None, 0.2
    with pytest.raises(TimeoutError):
        scanner.check(b"anything")
    settings.SCANNER += ".away"
    with pytest.raises(ConnectionError):
        scanner.check(b"anything")
