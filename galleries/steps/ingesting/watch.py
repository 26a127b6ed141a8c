"""A folder that a camera writes into: each file is taken as soon as it is whole, and only then.

A file is whole when its size and time stand still for a moment and its content decodes to the end. One that
stands still but does not decode may have a slow writer: it is tried again, less and less often, and listed as
refused when nothing happened to it for a while. When it changes after all, it gets another chance.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from galleries.access import Visitor
from galleries.errors import Conflict
from galleries.models import Frame, RawFile, Refusal, Sitting
from galleries.steps.ingesting import ingest
from galleries.steps.ingesting.incoming import TooMuch, arriving

STILL_SECONDS = 0.3
GRACE_SECONDS = 20.0
RETRY_SECONDS = 1.0

State = tuple[int, int, int]  # inode, bytes, time of last change: what tells one state of a file from another


@dataclass
class _Seen:
    state: State
    since: float
    try_at: float
    wait: float = RETRY_SECONDS


@dataclass
class Watcher:
    """Looks at a folder again and again. Nothing is remembered on disk: after a restart the files that became
    frames are recognised by their content, those that look new first."""

    sitting: Sitting
    folder: Path
    by: Visitor
    clock: Callable[[], float] = time.monotonic
    _pending: dict[Path, _Seen] = field(default_factory=dict)
    _done: dict[Path, State] = field(default_factory=dict)

    def look(self) -> list[ingest.Outcome]:
        """One look at the folder; returns what became of the files that were whole (or given up).

        Raises:
            Refused: the sitting was archived meanwhile.
        """
        now, ready = self.clock(), []
        files = ingest.files_in(self.folder)
        for path in files:
            state = _state_of(path)
            if state is None or self._done.get(path) == state:
                continue
            seen = self._pending.get(path)
            if seen is None or seen.state != state:
                self._pending[path] = _Seen(state, now, now + STILL_SECONDS)
            elif now >= seen.try_at:
                ready.append(path)
        for gone in set(self._pending) - set(files):
            del self._pending[gone]
        if ready:  # the look on set and the stage are changed by other processes meanwhile
            self.sitting.refresh_from_db()
        outcomes = [self._take(path) for path in self._likely_new_first(ready)]
        return [outcome for outcome in outcomes if outcome is not None]

    @property
    def waiting(self) -> int:
        """Files that are not whole yet."""
        return len(self._pending)

    def _likely_new_first(self, paths: list[Path]) -> list[Path]:
        """After a restart hundreds of files are there already: the shot just taken must not wait for them."""
        if len(paths) < 2:
            return paths
        rows = Frame.objects.filter(sitting=self.sitting).values_list("name", "bytes")
        beside = RawFile.objects.filter(frame__sitting=self.sitting).values_list("name", "bytes")
        known = {*rows, *beside}
        return sorted(paths, key=lambda path: (path.name, self._pending[path].state[1]) in known)

    def _take(self, path: Path) -> ingest.Outcome | None:
        seen = self._pending[path]
        name = ingest.clean_name(path.name)
        try:
            with open(path, "rb") as file, arriving(file.read, seen.state[1]) as arrived:
                if _state_of(path) != seen.state:
                    return None  # it changed under our hands: look again
                outcome = ingest.add_frame(self.sitting, arrived, name, self.by)
        except TooMuch as error:
            outcome = ingest.refuse(self.sitting, name, path, error.told)
        except (FileNotFoundError, Conflict):
            return None  # gone, or cut off while we read it
        except ValueError:
            return None
        if outcome.state == "refused" and self.clock() - seen.since < GRACE_SECONDS:
            Refusal.objects.filter(sitting=self.sitting, name=name, bytes=seen.state[1]).delete()
            seen.try_at, seen.wait = self.clock() + seen.wait, seen.wait * 2
            return None
        del self._pending[path]
        self._done[path] = seen.state
        return outcome


def _state_of(path: Path) -> State | None:
    """None for a file that is gone, or has nothing in it yet."""
    try:
        stat = path.stat()
    except OSError:
        return None
    return (stat.st_ino, stat.st_size, stat.st_mtime_ns) if stat.st_size else None
