"""What the site writes is its owner's alone: tables, letters, logs, keys, sockets. Only Python's own library here."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

OTHERS = 0o077
OF_FILES = frozenset({"rights", "frame-report"})  # commands that read what they are given, on any machine


def is_guest(home: Path, words: Sequence[str]) -> bool:
    """Is this a command that reads files where there is no site? It leaves none behind. `words`: the command line."""
    return len(words) > 1 and words[1] in OF_FILES and not home.exists()


def only_the_owner(home: Path) -> None:
    """From now on this process writes for its own user alone; `home` is there, and closed to everybody else."""
    os.umask(OTHERS)
    home.mkdir(mode=0o700, parents=True, exist_ok=True)
    if home.stat().st_uid == os.getuid() and home.stat().st_mode & OTHERS:
        home.chmod(0o700)


def tighten(home: Path) -> list[str]:
    """Close what an earlier release left open below `home`; a sentence when there was anything.

    Links are not followed; what belongs to somebody else is left and named.
    """
    closed, foreign = 0, []
    public = home / "static"  # collected for everybody who may enter; nobody else enters `home`
    for path in [home, *(one for one in home.rglob("*") if public not in [one, *one.parents])]:
        info = path.lstat()
        if path.is_symlink() or not info.st_mode & OTHERS:
            continue
        if info.st_uid != os.getuid():
            foreign.append(path)
            continue
        path.chmod(info.st_mode & 0o7700)
        closed += 1
    sentences = (
        [f"Closed {closed} files and folders of the site that other users of this machine could read"] if closed else []
    )
    return sentences + [f"Others of this machine may read {path}, which is not ours to close" for path in foreign[:3]]
