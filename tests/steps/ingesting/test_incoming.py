"""Bytes on their way in are written as they came and hashed (FIPS 180-4), however many the system takes at once."""

from __future__ import annotations

import hashlib
import os
import subprocess
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from galleries.steps.ingesting import incoming

SIZES = [0, 1, incoming.CHUNK, incoming.WRITTEN, incoming.WRITTEN + 1, 5 * incoming.WRITTEN // 2]


@pytest.fixture(autouse=True)
def place(settings: Any, tmp_path: Path) -> Path:
    settings.INCOMING_DIR = tmp_path / "incoming"
    return tmp_path


def by_coreutils(path: Path) -> str:
    return subprocess.run(["sha256sum", path], capture_output=True, check=True, text=True).stdout.split()[0]


def a_few_at_a_time(descriptor: int, pieces: Sequence[bytes]) -> int:
    """As writev(2) may: less than it was given."""
    return os.write(descriptor, b"".join(pieces)[: incoming.CHUNK + 7])


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("short", [False, True])
def test_a_file_of_a_card_is_brought_byte_for_byte(
    size: int, short: bool, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = os.urandom(size)
    (place / "card.jpg").write_bytes(data)
    if short:
        monkeypatch.setattr(os, "writev", a_few_at_a_time)
    arrived = incoming.copied(place / "card.jpg")
    assert arrived.path.read_bytes() == data
    assert (arrived.sha256, arrived.bytes) == (by_coreutils(place / "card.jpg"), size)


@pytest.mark.parametrize("size", SIZES[1:])
@pytest.mark.parametrize("short", [False, True])
@pytest.mark.parametrize("most", [1000, incoming.CHUNK])
def test_a_body_is_written_byte_for_byte(
    size: int, short: bool, most: int, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (place / "sent.jpg").write_bytes(os.urandom(size))
    if short:
        monkeypatch.setattr(os, "writev", a_few_at_a_time)
    with open(place / "sent.jpg", "rb") as sender:
        with incoming.arriving(lambda count: sender.read(min(count, most)), size) as arrived:
            assert arrived.path.read_bytes() == (place / "sent.jpg").read_bytes()
            assert (arrived.sha256, arrived.bytes) == (by_coreutils(place / "sent.jpg"), size)
        assert not arrived.path.exists()


def test_files_that_are_brought_at_once_do_not_mix(place: Path) -> None:
    for nth in range(12):
        (place / f"{nth}.jpg").write_bytes(bytes([nth]) * (3 * incoming.WRITTEN // 2 + nth))
    with ThreadPoolExecutor(4) as pool:
        came = list(pool.map(lambda nth: incoming.copied(place / f"{nth}.jpg"), range(12)))
    for nth, arrived in enumerate(came):
        data = (place / f"{nth}.jpg").read_bytes()
        assert arrived.path.read_bytes() == data
        assert arrived.sha256 == hashlib.sha256(data).hexdigest()


def test_a_forked_process_copies_through_memory_of_its_own() -> None:
    room = incoming._room()
    room[:4] = b"mine"
    child = os.fork()
    if not child:
        incoming._room()[:4] = b"its."
        os._exit(0)
    assert os.waitpid(child, 0)[1] == 0
    assert bytes(room[:4]) == b"mine"


def test_a_disk_that_is_full_leaves_nothing(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_descriptor: int, _pieces: Sequence[bytes]) -> int:
        raise OSError(28, "No space left on device")

    (place / "card.jpg").write_bytes(b"x" * 100)
    monkeypatch.setattr(os, "writev", full)
    with pytest.raises(OSError, match="No space"):
        incoming.copied(place / "card.jpg")
    with pytest.raises(OSError, match="No space"), incoming.arriving(lambda count: b"x" * count, 100):
        pass
    assert not list((place / "incoming").iterdir())
