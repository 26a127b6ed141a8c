"""What another user of the machine gets to read: tried as that user, in a process of their own."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
from pathlib import Path

NOBODY = 65534
READ = """
import os, sys
os.setgroups([]); os.setgid(65534); os.setuid(65534)
for name in sys.stdin.read().split("\\0"):
    try:
        with open(name, "rb") as file:
            file.read(1)
        print(name)
    except OSError:
        pass
"""


def read_by_nobody(folder: Path) -> list[str]:
    """The files below `folder` that the user 'nobody' can open. Only root may try that; others go by the modes."""
    files = [path for path in folder.rglob("*") if path.is_file() and not path.is_symlink()]
    assert files, f"{folder} holds no files"
    if os.getuid() != 0:
        return [str(path) for path in files if path.stat().st_mode & 0o077 and folder.stat().st_mode & 0o077]
    done = subprocess.run(
        [sys.executable, "-c", READ], input="\0".join(map(str, files)), capture_output=True, text=True, check=True
    )
    return done.stdout.split()


def open_to_others(folder: Path, *, but: str = "static") -> list[str]:
    """Everything below `folder` whose mode lets group or others do anything."""
    open_paths = []
    for path in [folder, *folder.rglob("*")]:
        with contextlib.suppress(FileNotFoundError):  # the site is running: its files come and go
            mode = path.lstat().st_mode
            if not path.is_symlink() and mode & 0o077 and but not in path.relative_to(folder).parts[:1]:
                open_paths.append(f"{path} {mode & 0o777:o}")
    return open_paths
