"""The files of a backup: out of both stores, wherever they lie, and back into empty ones.

Files lie under keys made of their content and never change: what the folder has is not copied again. From a bucket they
come in pieces, several at a time.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from itertools import islice
from pathlib import Path
from typing import Any, TypeVar

STORES = ("private", "proofs")
TOPS = ("sittings", "studio")
CHUNK = 1 << 20
HANDS = 8  # files at once: a bucket answers slowly, and to many at a time
PAUSES = (1.0, 5.0, 20.0)  # seconds before a file is tried again
SITTINGS = 50  # whose files are asked for at once


class Trouble(Exception):
    """One sentence for the person at the terminal."""


@dataclass
class Copied:
    """Of both stores: files copied now, files in all, and those that rows name and the store has not."""

    fresh: int = 0
    total: int = 0
    lost: int = 0


Work = TypeVar("Work")
Done = TypeVar("Done")


def _at_once(work: Callable[[Work], Done], things: Iterable[Work]) -> Iterator[Done]:
    """In bunches, so that one failure ends it soon."""
    left = iter(things)
    with ThreadPoolExecutor(HANDS) as hands:
        while bunch := list(islice(left, HANDS * 4)):
            yield from hands.map(work, bunch)


def _patiently(work: Callable[[], Done], what: str) -> Done:
    """A store that is away for a moment is asked again; a night's backup does not end by it.

    Raises:
        Trouble: it stays away.
    """
    for pause in (*PAUSES, None):
        try:
            return work()
        except FileNotFoundError:
            raise
        except _passing() as error:
            if pause is None:
                raise Trouble(f"{what}: {error}") from error
            time.sleep(pause)
    raise AssertionError("the last time raises or returns")


def _passing() -> tuple[type[Exception], ...]:
    """What a store raises that may pass; of a bucket's client only where it is in use, for it is slow to load."""
    if "botocore" not in sys.modules:
        return (OSError,)
    from botocore.exceptions import BotoCoreError, ClientError

    return OSError, BotoCoreError, ClientError


def _store(name: str) -> Any:
    from django.core.files.storage import storages

    return storages[name]


def _keys(name: str) -> Iterator[str]:
    for top in TOPS:
        yield from _store(name).keys(top)


def _whole(key: str, path: Path) -> bool:
    """Is the file what its key says? Keys that name no content are taken as they are."""
    from galleries.steps.keeping import inventory

    wanted = inventory.digest_in(key)
    if not wanted:
        return True
    with open(path, "rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest() == wanted


def named() -> set[tuple[str, str]]:
    """(store, key) of every file that a row names."""
    from galleries.models import Sitting
    from galleries.steps.keeping import inventory

    sittings, places = list(Sitting.objects.order_by("pk")), set(inventory.of_the_studio())
    for at in range(0, len(sittings), SITTINGS):
        for files in inventory.expected_of(sittings[at : at + SITTINGS]).values():
            places.update(files)
    return places


def missing() -> int:
    """How many files that rows name are in neither store."""
    return len(named() - {(name, key) for name in STORES for key in _keys(name)})


def are_there() -> bool:
    return any(next(_keys(name), None) for name in STORES)


def copy_out(folder: Path, *, mirror: bool = False) -> Copied:
    """Copy what the stores hold and `folder` does not. `mirror` removes what they hold no more, unless a row names it:
    what a store has lost must not be lost here too.

    Raises:
        Trouble: a file in the store is not what its name says.
    """
    from galleries.steps.keeping import inventory

    copied, needed = Copied(), named() if mirror else set()
    for name in STORES:
        root = folder / name
        # What can be made again when it is next asked for stays out.
        keys = [key for key in _keys(name) if not inventory.is_cache(key)]
        there = set(keys)
        new = [key for key in keys if not (root / key).exists()]
        for key, came in zip(new, _at_once(partial(_copy_one, name, root), new), strict=True):
            copied.fresh += came
            if not came:
                there.discard(key)
        for path in [path for path in root.rglob("*") if path.is_file()] if mirror else []:
            key = str(path.relative_to(root))
            if key in there:
                continue
            if (name, key) in needed:
                there.add(key)
                copied.lost += 1
            else:
                path.unlink()
        copied.total += len(there)
    return copied


def _copy_one(name: str, root: Path, key: str) -> bool:
    """Whether it was there to be copied: what is removed meanwhile is not."""
    target = root / key
    target.parent.mkdir(parents=True, exist_ok=True)
    part = target.with_name(f".{target.name}.part")
    try:
        _patiently(partial(_fetch, name, key, part), f"{name}/{key} cannot be fetched")
        if not _whole(key, part):
            raise Trouble(f"{name}/{key} in the store is not what its name says; see 'manage.py verify'.")
        part.replace(target)
    except FileNotFoundError:
        return False
    finally:
        part.unlink(missing_ok=True)
    return True


def _fetch(name: str, key: str, to: Path) -> None:
    store = _store(name)
    with open(to, "wb") as out:
        for piece in store.pieces(key, 0, store.size(key), CHUNK):
            out.write(piece)
        out.flush()
        os.fsync(out.fileno())


def check_left_out(folder: Path) -> None:
    """
    Raises:
        Trouble: the files lie in no bucket, or the folder has those of earlier backups, which would age there and keep
            what is erased.
    """
    from django.conf import settings

    if settings.FILES != "s3":
        raise Trouble("--without-files is for a bucket that keeps versions of its own; here the files lie on a disk.")
    if any((folder / name).exists() for name in STORES):
        raise Trouble(
            f"{folder} holds the files of earlier backups; take another folder, or remove "
            + " and ".join(str(folder / name) for name in STORES)
            + "."
        )


def _files_of(folder: Path) -> Iterator[tuple[str, str, Path]]:
    """Store, key and path of every file of the backup."""
    for name in STORES:
        root = folder / name
        for path in sorted(root.rglob("*")):
            if path.is_file() and not path.name.endswith(".part"):
                yield name, str(path.relative_to(root)), path


def check(folder: Path, about: dict[str, Any]) -> None:
    """Read every file of the backup before any is copied: all there, each what its key says, and room for them.

    Raises:
        Trouble: which of these fails, and where.
    """
    from django.conf import settings

    count = size = 0
    for _name, key, path in _files_of(folder):
        if not _whole(key, path):
            raise Trouble(f"{path} in the backup is damaged: its content is not what its name says.")
        count, size = count + 1, size + path.stat().st_size
    if count < about.get("files", 0):
        raise Trouble(f"The backup is not whole: about.json names {about['files']} files, {count} are there.")
    for root in settings.FILES_FOLDERS:
        root.mkdir(parents=True, exist_ok=True)
        free = shutil.disk_usage(root).free
        if size > free:
            raise Trouble(f"The backup holds {size:,} bytes of files, and the disk of {root} has only {free:,} left.")


def copy_in(folder: Path) -> int:
    """Put every file of the backup into the stores; `check` has read them."""
    return sum(_at_once(_put_one, _files_of(folder)))


def _put_one(file: tuple[str, str, Path]) -> int:
    name, key, path = file
    _patiently(partial(_put, name, key, path), f"{name}/{key} cannot be put back")
    return 1


def _put(name: str, key: str, path: Path) -> None:
    from django.core.files.base import File

    if not _store(name).exists(key):
        with open(path, "rb") as content:
            _store(name).save(key, File(content))


@contextlib.contextmanager
def or_nothing() -> Iterator[None]:
    """Into empty stores: whatever stops it, they are empty again."""
    try:
        yield
    except BaseException:
        for name in STORES:
            for top in TOPS:
                _store(name).remove_prefix(top)
        raise
