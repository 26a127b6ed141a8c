"""A ZIP written beside the store and put there whole. The same content gives the same bytes."""

from __future__ import annotations

import hashlib
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


@dataclass(frozen=True)
class Packed:
    """A finished archive in the private store."""

    key: str
    sha256: str
    bytes: int


def pack(sitting_uid: UUID, kind: str, write: Callable[[zipfile.ZipFile], None]) -> Packed:
    """`write` fills the archive; it is stored, not compressed, under a key of its content below `kind`."""
    Path(settings.INCOMING_DIR).mkdir(parents=True, exist_ok=True)
    with NamedTemporaryFile(dir=settings.INCOMING_DIR, suffix=".zip") as out:
        with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED, allowZip64=True) as archive:
            write(archive)
        out.flush()
        size = out.tell()
        out.seek(0)
        digest = hashlib.file_digest(out, "sha256").hexdigest()
        key = storage.derived_key(sitting_uid, kind, digest, "zip")
        storage.take(storage.private(), key, Path(out.name))
    return Packed(key, digest, size)


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
