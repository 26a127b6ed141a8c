"""What a killed writer leaves in a folder store."""

from __future__ import annotations

import os
import time
from pathlib import Path

from galleries.storage import FolderStore


def test_parts_are_no_files_and_old_ones_are_swept(tmp_path: Path) -> None:
    store = FolderStore(location=tmp_path)
    folder = tmp_path / "sittings" / "a" / "proof"
    folder.mkdir(parents=True)
    whole, old, fresh = folder / "x.jpg", folder / ".y.jpg.12.ab.part", folder / ".z.jpg.13.cd.part"
    for path in (whole, old, fresh):
        path.write_bytes(b"1")
    long_ago = time.time() - 90_000
    os.utime(old, (long_ago, long_ago))
    os.utime(whole, (long_ago, long_ago))
    assert list(store.keys("sittings")) == ["sittings/a/proof/x.jpg"]
    assert store.sweep_parts() == 1
    assert (whole.exists(), old.exists(), fresh.exists()) == (True, False, True)
