"""A backup's files while the store is away for a moment, or for good."""

from __future__ import annotations

import hashlib
import sys
from pathlib import Path

import pytest

from galleries import storage

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "deploy"))
import kept_files

DATA = b"a picture" * 1000
DIGEST = hashlib.sha256(DATA).hexdigest()
KEY = f"sittings/{1:032x}/originals/{DIGEST[:2]}/{DIGEST}.jpg"


@pytest.mark.parametrize("times", [0, 2, 9])
def test_a_store_that_is_away_for_a_moment_ends_no_backup(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, times: int
) -> None:
    storage.put(storage.private(), KEY, DATA)
    away = iter([ConnectionError("no route")] * times)
    real = type(storage.private()).size

    def size(store: storage.FolderStore, key: str) -> int:
        for error in away:
            raise error
        return real(store, key)

    monkeypatch.setattr(type(storage.private()), "size", size)
    monkeypatch.setattr(kept_files, "PAUSES", (0.0, 0.0, 0.0))
    if times > 3:
        with pytest.raises(kept_files.Trouble, match=f"private/{KEY} cannot be fetched: no route"):
            kept_files.copy_out(tmp_path)
        assert [path for path in tmp_path.rglob("*") if path.is_file()] == []
        return
    assert (kept_files.copy_out(tmp_path).fresh, (tmp_path / "private" / KEY).read_bytes()) == (1, DATA)
