"""The archive that is laid out before it is sent, read by readers that are not ours: Python's zipfile and Info-ZIP."""

from __future__ import annotations

import subprocess
import zipfile
import zlib
from collections.abc import Iterator
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path

import pytest

from galleries.steps import stored_zip
from galleries.steps.stored_zip import Member

DATED = datetime(2026, 5, 4, 13, 37, 42, tzinfo=UTC)
CONTENT = {"a": b"one" * 700, "b": b"", "c": bytes(range(256)) * 9}
NAMES = {"a": "veld-ansa/0001.jpg", "b": "veld-ansa/empty.txt", "c": "veld-ansa/Größe–4×5.tif"}
MEMBERS = [Member(NAMES[key], key, len(data), zlib.crc32(data)) for key, data in CONTENT.items()]
SIZE = stored_zip.length([(one.name, one.bytes) for one in MEMBERS])


def read(key: str, first: int, stop: int) -> Iterator[bytes]:
    for at in range(first, stop, 100):
        yield CONTENT[key][at : min(at + 100, stop)]


def sent(first: int = 0, stop: int = SIZE) -> bytes:
    return b"".join(stored_zip.pieces(stored_zip.layout(MEMBERS, DATED), first, stop, read))


def test_other_readers_find_every_file_whole(tmp_path: Path) -> None:
    with zipfile.ZipFile(BytesIO(sent())) as archive:
        assert archive.testzip() is None
        assert {one: archive.read(one) for one in archive.namelist()} == {NAMES[k]: CONTENT[k] for k in CONTENT}
        assert {one.date_time for one in archive.infolist()} == {(2026, 5, 4, 13, 37, 42)}
        assert {one.external_attr >> 16 for one in archive.infolist()} == {0o100644}
    (tmp_path / "a.zip").write_bytes(sent())
    subprocess.run(["unzip", "-tqq", tmp_path / "a.zip"], check=True)


@pytest.mark.parametrize(("first", "stop"), [(0, 1), (29, 31), (40, 2200), (2130, 2140), (SIZE - 30, SIZE), (7, SIZE)])
def test_any_part_is_what_stands_there_in_the_whole(first: int, stop: int) -> None:
    assert len(sent()) == SIZE
    assert sent(first, stop) == sent()[first:stop]


def test_more_than_the_fields_hold_is_not_begun() -> None:
    big = [Member(f"{number}.tif", "a", 1 << 30, 0) for number in range(4)]
    assert not stored_zip.fits([(one.name, one.bytes) for one in big])
    assert stored_zip.fits([(one.name, one.bytes) for one in big[:3]])
    with pytest.raises(ValueError, match="64-bit"):
        stored_zip.layout(big, DATED)
