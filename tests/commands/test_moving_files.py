"""Files brought to another place: all of them, each the same, and nothing there that was removed here."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from django.core.files.base import File
from django.core.files.storage import storages
from django.core.management import CommandError, call_command

from galleries import storage
from galleries.errors import Conflict
from galleries.management import moving_files
from galleries.storage import FolderStore

STAYS, GOES = UUID(int=1), UUID(int=2)


@pytest.fixture
def old(tmp_path: Path) -> FolderStore:
    store = FolderStore(tmp_path / "old")
    for uid in (STAYS, GOES):
        for place in range(3):
            put(store, uid, f"{uid} {place}".encode() * 5000)
    return store


@pytest.fixture
def new(tmp_path: Path) -> FolderStore:
    return FolderStore(tmp_path / "new")


def put(store: Any, uid: UUID, data: bytes) -> str:
    return storage.put(store, storage.derived_key(uid, "proof", hashlib.sha256(data).hexdigest()), data)


def everything(store: Any) -> dict[str, bytes]:
    return {key: storage.get(store, key) for top in moving_files.TOPS for key in store.keys(top)}


def test_all_of_it_arrives_and_a_second_time_copies_nothing(old: FolderStore, new: FolderStore) -> None:
    moved = moving_files.move({"proofs": (old, new)})
    assert (moved.copied, moved.same, moved.strangers) == (6, 0, [])
    assert everything(new) == everything(old)
    late = put(old, STAYS, b"came meanwhile")
    moved = moving_files.move({"proofs": (old, new)}, rest=True)
    assert (moved.copied, moved.same) == (1, 6)
    assert storage.get(new, late) == b"came meanwhile"


def test_what_lies_there_as_another_is_put_right(old: FolderStore, new: FolderStore, tmp_path: Path) -> None:
    moving_files.move({"proofs": (old, new)})
    short, other = list(new.keys("sittings"))[:2]
    Path(new.path(short)).write_bytes(b"half")
    Path(new.path(other)).write_bytes(b"x" * new.size(other))
    moved = moving_files.move({"proofs": (old, new)})
    assert (moved.copied, moved.same) == (2, 4)
    assert everything(new) == everything(old)


def test_a_file_that_arrives_as_another_stops_it(old: FolderStore, tmp_path: Path) -> None:
    class Lossy(FolderStore):
        def _save(self, name: str, content: File[Any]) -> str:
            super()._save(name, content)
            Path(self.path(name)).write_bytes(b"lost")
            return name

    before = everything(old)
    with pytest.raises(Conflict, match="did not arrive as it was sent"):
        moving_files.move({"proofs": (old, Lossy(tmp_path / "lossy"))})
    assert everything(old) == before


def test_what_was_removed_for_good_is_not_left_at_the_new_place(old: FolderStore, new: FolderStore) -> None:
    moving_files.move({"proofs": (old, new)})
    old.remove_prefix(storage.home(GOES))
    old.save(storage.shut_key(GOES.hex), File(open("/dev/null", "rb")))  # noqa: SIM115 - closed with the test
    put(new, UUID(int=3), b"of nobody")
    moved = moving_files.move({"proofs": (old, new)}, rest=True)
    assert moved.removed == 3
    assert {key.split("/")[1] for key in new.keys("sittings")} == {STAYS.hex, UUID(int=3).hex}
    assert [line.split("/")[2] for line in moved.strangers] == [UUID(int=3).hex]  # told, and left alone
    assert new.exists(storage.shut_key(GOES.hex))
    old.delete(storage.shut_key(GOES.hex))  # it came back from its archive
    moving_files.move({"proofs": (old, new)}, rest=True)
    assert not new.exists(storage.shut_key(GOES.hex))


def test_the_command_says_what_it_did_and_refuses_where_nothing_would_move(
    tmp_path: Path, settings: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(CommandError, match="says where to"):
        call_command("move-files")
    there = {name: dict(settings.STORAGES[name]) for name in ("private", "proofs")}
    settings.STORAGES = {**settings.STORAGES, **{f"next {name}": entry for name, entry in there.items()}}
    with pytest.raises(CommandError, match="lie already"):
        call_command("move-files")
    for name, entry in there.items():
        entry["OPTIONS"] = {**entry["OPTIONS"], "location": str(tmp_path / name)}
    put(storages["private"], STAYS, b"an original")
    settings.STORAGES = {**settings.STORAGES, **{f"next {name}": entry for name, entry in there.items()}}
    call_command("move-files")
    assert "1 files copied and compared, 0 were there, 11 bytes" in capsys.readouterr().out
    assert everything(FolderStore(tmp_path / "private")) == everything(storages["private"])
