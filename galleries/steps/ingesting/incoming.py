"""A body on its way in: streamed to the disk, counted and hashed, cut off when it is too large."""

from __future__ import annotations

import hashlib
import os
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings
from django.utils.translation import gettext as _

from galleries import storage
from galleries.errors import BadInput, Conflict
from galleries.told import told
from galleries.words.steps import Code

CHUNK = 1 << 18
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
    digest, count, copy = hashlib.sha256(), 0, _place()
    try:
        with open(path, "rb") as file, open(copy, "xb") as out:
            while chunk := file.read(CHUNK):
                count += len(chunk)
                digest.update(chunk)
                out.write(chunk)
    except BaseException:
        copy.unlink(missing_ok=True)
        raise
    return Arrived(copy, digest.hexdigest(), count)


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
    digest, count = hashlib.sha256(), 0
    with open(path, "xb") as out:
        while count < announced and (chunk := read(min(CHUNK, announced - count))):
            count += len(chunk)
            if count > settings.MAX_FRAME_BYTES:
                raise too_much()
            digest.update(chunk)
            out.write(chunk)
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
