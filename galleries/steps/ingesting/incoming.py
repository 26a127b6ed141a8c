"""A body on its way in: streamed to the disk, counted and hashed, cut off when it is too large."""

from __future__ import annotations

import hashlib
import mmap
import os
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from io import FileIO
from pathlib import Path

from django.conf import settings
from django.utils.translation import gettext as _

from galleries import storage
from galleries.errors import BadInput, Conflict
from galleries.told import told
from galleries.words.steps import Code

CHUNK = 1 << 18
# Written at a time: the system then keeps a file's memory in fewer, larger pieces. A raw frame of 54 MB was hashed,
# copied and put in its predecessor's place in 47.6 ms of CPU so, in 50.3 by a CHUNK at a time.
WRITTEN = 1 << 20
ORPHAN_SECONDS = 6 * 3600


class TooMuch(BadInput):
    """The body is larger than any frame may be; nothing of it was kept."""


@dataclass(frozen=True)
class Arrived:
    path: Path
    sha256: str
    bytes: int
    key: str = ""  # of the same bytes in the store, where they came in past this machine

    @property
    def own(self) -> bool:
        """Does it lie in the site's own folder, where nobody else writes to it?"""
        return self.path.parent == Path(settings.INCOMING_DIR)

    def let_go(self) -> None:
        if self.own:
            self.path.unlink(missing_ok=True)


def keep(arrived: Arrived, key: str) -> None:
    """The file lies in the private store under this key, copied no more often than it has to be.

    Raises:
        Missing: the sitting was removed for good.
    """
    if arrived.key:
        storage.take_over(storage.private(), arrived.key, key)
    elif arrived.own:
        storage.take(storage.private(), key, arrived.path)
    else:
        with open(arrived.path, "rb") as file:
            storage.put(storage.private(), key, file)


def check_whole(arrived: Arrived, name: str, digest: str) -> None:
    """`digest`: what the sender says the SHA-256 is; '' where that is not said.

    Raises:
        Conflict: it is another, so the transfer went wrong.
    """
    if digest and digest.lower() != arrived.sha256:
        raise Conflict(_("“%s” arrived damaged (its checksum differs). Send it again.") % name)


def too_much() -> TooMuch:
    return TooMuch(told(Code.TOO_MANY_MB, most=settings.MAX_FRAME_BYTES // 10**6))


def copied(path: Path) -> Arrived:
    """A file of a card or folder, brought here in the same pass that hashes it; whoever asks lets it go."""
    digest, count, copy, room = hashlib.sha256(), 0, _place(), _room()
    try:
        with open(path, "rb", buffering=0) as file, open(copy, "xb", buffering=0) as out:
            while size := file.readinto(room):
                count += size
                digest.update(room[:size])
                _write(out, [room[:size]])
    except BaseException:
        copy.unlink(missing_ok=True)
        raise
    return Arrived(copy, digest.hexdigest(), count)


_own = threading.local()


def _room() -> memoryview:
    """WRITTEN bytes of this thread's own, which begin with a page of memory: others are copied from more slowly. Not
    shared with a process that is forked from this one."""
    if not hasattr(_own, "room"):
        _own.room = memoryview(mmap.mmap(-1, WRITTEN, flags=mmap.MAP_PRIVATE | mmap.MAP_ANONYMOUS))
    room: memoryview = _own.room
    return room


def _write(out: FileIO, pieces: Sequence[bytes | memoryview]) -> None:
    """All of them, in one go where the system takes them so."""
    done = os.writev(out.fileno(), pieces) if pieces else 0
    for piece in pieces:
        left, done = memoryview(piece)[done:], max(0, done - len(piece))
        while left:
            left = left[out.write(left) :]


def _place() -> Path:
    folder = Path(settings.INCOMING_DIR)
    folder.mkdir(parents=True, exist_ok=True)
    return folder / f"{os.getpid()}-{os.urandom(8).hex()}.part"


@contextmanager
def arriving(read: Callable[[int], bytes], announced: int) -> Iterator[Arrived]:
    """Take in a body by `read(n)`; the file exists inside the block only.

    Raises:
        BadInput: no length was announced, or it is empty.
        TooMuch: over the limit, by what is announced or by what comes.
        Conflict: the connection ended before all of it was there.
    """
    if announced <= 0:
        raise BadInput(_("The file is empty, or its length was not announced."))
    if announced > settings.MAX_FRAME_BYTES:
        raise too_much()
    path = _place()
    try:
        yield _take(read, announced, path)
    finally:
        path.unlink(missing_ok=True)


def _take(read: Callable[[int], bytes], announced: int, path: Path) -> Arrived:
    digest, count, waiting = hashlib.sha256(), 0, list[bytes]()
    with open(path, "xb", buffering=0) as out:
        while count < announced and (chunk := read(min(CHUNK, announced - count))):
            count += len(chunk)
            if count > settings.MAX_FRAME_BYTES:
                raise too_much()
            digest.update(chunk)  # while it is in the core's own cache
            waiting.append(chunk)
            if len(waiting) == WRITTEN // CHUNK:
                _write(out, waiting)
                waiting = []
        _write(out, waiting)
    if count < announced:
        raise Conflict(_("The connection ended after %(got)d of %(of)d bytes.") % {"got": count, "of": announced})
    return Arrived(path, digest.hexdigest(), count)


def sweep(older_than: float = ORPHAN_SECONDS) -> int:
    """Remove what a killed process left behind; returns how many files."""
    folder, count = Path(settings.INCOMING_DIR), 0
    until = time.time() - older_than
    for path in folder.glob("*.part") if folder.is_dir() else []:
        try:
            if path.stat().st_mtime < until:
                path.unlink()
                count += 1
        except FileNotFoundError:  # somebody else swept it
            continue
    return count
