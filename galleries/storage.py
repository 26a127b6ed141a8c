"""Where files live and what they are called. Keys only; nothing here has a public address."""

from __future__ import annotations

import errno
import hashlib
import os
import shutil
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any
from uuid import UUID

from django.conf import settings
from django.core.files.base import ContentFile, File
from django.core.files.storage import FileSystemStorage, Storage, storages
from django.utils.translation import gettext as _

from galleries.errors import Missing
from galleries.imaging.opening.picture import RAW_KINDS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

PART = ".part"  # of a file while it is being written
ARRIVING = "arriving"
ENDINGS = {"JPEG": "jpg", "TIFF": "tif", "PNG": "png", "HEIF": "heic", **{kind: kind.lower() for kind in RAW_KINDS}}


class FolderStore(FileSystemStorage):
    """A folder. A file appears whole or not at all: written beside its place, flushed to the disk, renamed."""

    def _save(self, name: str, content: File[Any]) -> str:
        def written(part: Path) -> None:
            with open(part, "xb") as out:
                shutil.copyfileobj(content, out, 1 << 20)

        self._appear(name, written)
        return name

    def take_over(self, name: str, path: Path) -> None:
        """A whole file of the site's own becomes `name` without a copy, and may lie where it was as well; one that
        has no name yet is given as `/proc/self/fd/N` (open(2), O_TMPFILE).

        Raises:
            OSError: not from here: another disk, or one that knows no second name of a file.
        """
        self._appear(name, lambda part: _link(path, part))

    def _appear(self, name: str, lay: Callable[[Path], object]) -> None:
        """`lay` puts the whole file where it is told, beside its place."""
        target = Path(self.path(name))
        self._make_folder(target.parent)
        part = target.with_name(f".{target.name}.{os.getpid()}.{os.urandom(4).hex()}{PART}")
        try:
            lay(part)
            with open(part, "rb") as file:
                os.fsync(file.fileno())
            if self.file_permissions_mode is not None:
                part.chmod(self.file_permissions_mode)
            part.replace(target)
        finally:
            part.unlink(missing_ok=True)

    def _make_folder(self, folder: Path) -> None:
        """With the store's own modes, whatever the umask: a folder for the owner alone, or for a proxy's group too."""
        missing = [folder, *folder.parents]
        for one in reversed(missing[: next(at for at, parent in enumerate(missing) if parent.is_dir())]):
            one.mkdir(exist_ok=True)
            if self.directory_permissions_mode is not None:
                one.chmod(self.directory_permissions_mode)

    def get_available_name(self, name: str, max_length: int | None = None) -> str:
        return name  # keys are derived from content: the same key is the same file

    def pieces(self, key: str, start: int, stop: int, size: int) -> Iterator[bytes]:
        """The bytes from `start` up to `stop`, at most `size` at a time.

        Raises:
            FileNotFoundError: there is no such file.
        """
        with open(self.path(key), "rb") as file:
            file.seek(start)
            while start < stop and (piece := file.read(min(size, stop - start))):
                start += len(piece)
                yield piece

    def keys(self, prefix: str) -> Iterator[str]:
        root = Path(self.path(prefix))
        for path in sorted(root.rglob("*")) if root.is_dir() else []:
            if path.is_file() and not path.name.endswith(PART):
                yield str(path.relative_to(self.location))

    def sweep_parts(self, older_than: float = 86_400) -> int:
        """Remove what a killed writer left beside its place; returns how many. Whole files are never touched."""
        root, before, count = Path(self.location), time.time() - older_than, 0
        for path in root.rglob(f".*{PART}") if root.is_dir() else []:
            if path.is_file() and path.stat().st_mtime < before:
                path.unlink(missing_ok=True)
                count += 1
        return count

    def remove_prefix(self, prefix: str) -> int:
        keys = list(self.keys(prefix))
        shutil.rmtree(self.path(prefix), ignore_errors=True)
        return len(keys)


def _link(path: Path, to: Path) -> None:
    """By linkat(2), which follows `path` where it stands for an open file; without a folder `os.link` calls link(2)."""
    folder = os.open(path.parent, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.link(path.name, to, src_dir_fd=folder)
    finally:
        os.close(folder)


def private() -> Storage:
    return storages["private"]


def proofs() -> Storage:
    return storages["proofs"]


def home(sitting_uid: UUID) -> str:
    """The folder of one sitting, in both stores: removing it removes the sitting's files."""
    return f"sittings/{sitting_uid.hex}"


def original_key(sitting_uid: UUID, sha256: str, file_format: str) -> str:
    return f"{home(sitting_uid)}/originals/{sha256[:2]}/{sha256}.{ENDINGS[file_format]}"


def version_key(sitting_uid: UUID, sha256: str, file_format: str) -> str:
    return f"{home(sitting_uid)}/versions/{sha256}.{ENDINGS[file_format]}"


def derived_key(sitting_uid: UUID, kind: str, sha256: str, ending: str = "jpg") -> str:
    """`kind` names what it is (proof, small, view, final, archive, reference); `sha256` is of the content."""
    return f"{home(sitting_uid)}/{kind}/{sha256[:2]}/{sha256}.{ending}"


def studio_key(kind: str, sha256: str, ending: str) -> str:
    """Of what belongs to no sitting: the studio's logo."""
    return f"studio/{kind}/{sha256}.{ending}"


def arriving_key(sitting_uid: UUID, number: int) -> str:
    """Of what nobody has looked at yet: no folder of a sitting, so that it is in no archive, copy or move."""
    return f"{arriving_home(sitting_uid)}/{number}"


def arriving_home(sitting_uid: UUID) -> str:
    return f"{ARRIVING}/{sitting_uid.hex}"


def put(store: Storage, key: str, content: bytes | IO[bytes]) -> str:
    """Write under a content-derived key, once; a key that is there already is the same file.

    Raises:
        Missing: the sitting was removed for good, before or while this was written; nothing of it stays.
    """
    file: File[Any] = ContentFile(content) if isinstance(content, bytes) else File(content)
    return _put(store, key, lambda: store.save(key, file))


def put_together(files: Sequence[tuple[Storage, str, bytes]]) -> None:
    """Each as `put` keeps it, all at once: to be sure of one is mostly to wait, for the disk or for the bucket.

    Raises:
        Missing: as `put`. When one cannot be written others may have been.
    """
    with ThreadPoolExecutor(len(files), "put") as hands:
        for one in [hands.submit(put, *file) for file in files]:
            one.result()


def take(store: Storage, key: str, path: Path) -> str:
    """As `put`, of a file of the site's own that nobody writes to any more: on the same disk it is not copied."""

    def taken() -> None:
        if isinstance(store, FolderStore):
            with suppress(OSError):
                return store.take_over(key, path)
        with open(path, "rb") as file:
            store.save(key, File(file))

    return _put(store, key, taken)


def _put(store: Storage, key: str, write: Callable[[], object]) -> str:
    _still_there(store, key)
    if store.exists(key):
        return key
    write()
    try:  # asked again: of an erasure and a writer at the same moment, whichever ends later removes the file
        _still_there(store, key)
    except Missing:
        store.delete(key)
        raise
    return key


def take_over(store: Storage, arrived: str, key: str) -> None:
    """Under its own key lies then what came in under another, as `put` would have put it there.

    Raises:
        Missing: the sitting was removed for good, before or while this was done; nothing of it stays.
        FileNotFoundError: there is no such file.
    """
    _put(store, key, lambda: store.copy_within(arrived, key))  # type: ignore[attr-defined]  # a bucket's


def shut(sitting_uid: UUID) -> None:
    """From now on nothing is written into the sitting's folder, whoever is just making something for it."""
    for store in (private(), proofs()):
        if not store.exists(shut_key(sitting_uid.hex)):
            store.save(shut_key(sitting_uid.hex), ContentFile(b""))


def open_again(sitting_uid: UUID) -> None:
    """For a sitting that comes back from its archive."""
    for store in (private(), proofs()):
        store.delete(shut_key(sitting_uid.hex))


def shut_key(uid: str) -> str:
    """The folder's own name is not kept, only what it hashes to."""
    return f"erased/{hashlib.sha256(uid.encode()).hexdigest()}"


def _still_there(store: Storage, key: str) -> None:
    top, _slash, rest = key.partition("/")
    if top == "sittings" and store.exists(shut_key(rest.partition("/")[0])):
        raise Missing(_("This sitting was removed for good; nothing of it is kept any more."))


def get(store: Storage, key: str) -> bytes:
    with store.open(key, "rb") as file:
        data: bytes = file.read()
    return data


@contextmanager
def at_hand(store: Storage, key: str) -> Iterator[Path]:
    """The file as one on this machine's disk, for the block only: a large file never stands whole in this process.

    Raises:
        FileNotFoundError: there is no such file.
    """
    if isinstance(store, FolderStore):
        if not store.exists(key):
            raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), key)
        yield Path(store.path(key))
        return
    folder = Path(settings.INCOMING_DIR)
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{os.getpid()}-{os.urandom(8).hex()}{PART}"
    try:
        with store.open(key, "rb") as file, open(path, "xb") as out:
            shutil.copyfileobj(file, out, 1 << 20)
        yield path
    finally:
        path.unlink(missing_ok=True)
