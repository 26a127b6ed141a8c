"""A ZIP written beside the store and put there whole. The same content gives the same bytes."""

from __future__ import annotations

import hashlib
import os
import zipfile
from collections.abc import Callable
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from tempfile import NamedTemporaryFile
from typing import IO, TYPE_CHECKING
from uuid import UUID

from django.conf import settings
from django.core.files.storage import Storage

from galleries import storage

if TYPE_CHECKING:
    from collections.abc import Iterator

CHUNK = 1 << 20
FLUSH = 16 << 20
DESCRIPTORS = Path("/proc/self/fd")


@dataclass(frozen=True)
class Packed:
    """A finished archive in the private store."""

    key: str
    sha256: str
    bytes: int


class Growing:
    """An archive while it is written. What is whole of it is hashed while it is still in memory, and flushed to the
    disk: at the end, where somebody waits, little of that is left."""

    def __init__(self, out: IO[bytes], path: Path, archive: zipfile.ZipFile) -> None:
        self.archive = archive
        self._out, self._path = out, path
        self._digest, self._hashed, self._flushed = hashlib.sha256(), 0, 0
        self._stays = isinstance(storage.private(), storage.FolderStore)  # else it is sent off, not linked

    def settle(self) -> None:
        """Between members: no byte that stands there by now is changed any more."""
        self._hash()
        if self._stays and self._hashed - self._flushed >= FLUSH:
            os.fdatasync(self._out.fileno())
            self._flushed = self._hashed

    def finish(self, sitting_uid: UUID, kind: str) -> Packed:
        """Into the store, under a key of its content below `kind`; nothing is written into it after that."""
        self.archive.close()
        self._hash()
        digest = self._digest.hexdigest()
        key = storage.derived_key(sitting_uid, kind, digest, "zip")
        storage.take(storage.private(), key, self._path)
        return Packed(key, digest, self._hashed)

    def _hash(self) -> None:
        self._out.flush()
        end = self._out.tell()
        while self._hashed < end:
            chunk = os.pread(self._out.fileno(), min(CHUNK, end - self._hashed), self._hashed)
            if not chunk:
                raise OSError("The archive is shorter than what was written into it.")
            self._digest.update(chunk)
            self._hashed += len(chunk)


@contextmanager
def begun() -> Iterator[Growing]:
    """An archive to be filled; it is stored, not compressed. Without `Growing.finish` nothing of it stays."""
    with _nameless() as (out, path), zipfile.ZipFile(out, "w", zipfile.ZIP_STORED, allowZip64=True) as archive:
        yield Growing(out, path, archive)


@contextmanager
def _nameless() -> Iterator[tuple[IO[bytes], Path]]:
    """A file beside the store that is in no folder, so that not even a killed process leaves it behind, and the path
    it can be linked by as long as it is open. Where that cannot be it has a name that is swept."""
    folder = Path(settings.INCOMING_DIR)
    folder.mkdir(parents=True, exist_ok=True)
    descriptor = _without_name(folder)
    if descriptor is None:
        with NamedTemporaryFile(dir=folder, suffix=storage.PART) as named:
            yield named, Path(named.name)
        return
    with open(descriptor, "w+b") as out:
        yield out, DESCRIPTORS / str(descriptor)


def _without_name(folder: Path) -> int | None:
    """The descriptor of such a file; None where there can be none, or no path leads to it."""
    try:
        descriptor = os.open(folder, os.O_TMPFILE | os.O_RDWR, 0o600)
    except OSError:
        return None
    if os.path.exists(DESCRIPTORS / str(descriptor)):  # False too where it may not be asked, as `Path.exists` is not
        return descriptor
    os.close(descriptor)
    return None


def pack(sitting_uid: UUID, kind: str, write: Callable[[zipfile.ZipFile], None]) -> Packed:
    """`write` fills the archive; it is stored, not compressed, under a key of its content below `kind`."""
    with begun() as growing:
        write(growing.archive)
        return growing.finish(sitting_uid, kind)


@contextmanager
def member(archive: zipfile.ZipFile, name: str, dated: datetime, size: int) -> Iterator[IO[bytes]]:
    """A file of the archive, to be written into; dated by `made`, so that nothing hangs on the clock."""
    moment = dated.astimezone(UTC)
    info = zipfile.ZipInfo(name, (moment.year, moment.month, moment.day, moment.hour, moment.minute, moment.second))
    info.create_system = 3  # Unix, so that the permissions below count
    info.external_attr = 0o644 << 16
    info.file_size = size
    with archive.open(info, "w") as target:
        yield target


def copy(store: Storage, key: str, target: IO[bytes]) -> str:
    """A stored file into the archive; returns its SHA-256, for the caller to compare or to note."""
    digest = hashlib.sha256()
    with store.open(key, "rb") as source:
        while chunk := source.read(CHUNK):
            digest.update(chunk)
            target.write(chunk)
    return digest.hexdigest()
