"""Both stores' files to another place, a folder or buckets: copied while the site runs, read back and compared.

Files lie under keys made of their content and never change; they only come and go. So a first pass copies nearly all of
them beside the running site, and a second, with the site stopped, the few that came meanwhile. The old place is only
read.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass, field
from functools import partial
from itertools import islice
from typing import Any

from django.core.files.base import File

from galleries import storage
from galleries.errors import Conflict
from galleries.steps.keeping import inventory

KEPT = ("sittings", "studio")
TOPS = (*KEPT, "erased")
HANDS = 8  # files at once: a bucket answers slowly, and to many at a time
PIECE = 1 << 20
Seen = Callable[[int], None]


@dataclass
class Moved:
    """Of both stores: files copied now, there already and the same, removed there since their sitting was removed for
    good, and keys that only the new place has."""

    copied: int = 0
    same: int = 0
    removed: int = 0
    bytes: int = 0
    strangers: list[str] = field(default_factory=list)

    def as_dict(self) -> dict[str, Any]:
        return asdict(self)


def move(pairs: dict[str, tuple[Any, Any]], *, rest: bool = False, seen: Seen | None = None) -> Moved:
    """Each pair is a store and the one its files go to. With `rest` a file that is there in its size is not read again.

    Raises:
        Conflict: a file arrived as another, or lies there as another; nothing at the old place was touched.
    """
    moved = Moved()
    for name, (old, new) in pairs.items():
        keys = [key for top in TOPS for key in old.keys(top)]
        for size, fresh in _at_once(partial(_one, old, new, rest=rest), keys):
            moved.copied += fresh
            moved.same += not fresh
            moved.bytes += size
            if seen is not None:
                seen(moved.copied + moved.same)
        _leave_erased(name, new, set(keys), moved)
    return moved


def _at_once(work: Callable[[str], tuple[int, bool]], keys: list[str]) -> Iterator[tuple[int, bool]]:
    """In bunches, so that one failure ends it soon."""
    left = iter(keys)
    with ThreadPoolExecutor(HANDS) as hands:
        while bunch := list(islice(left, HANDS * 4)):
            yield from hands.map(work, bunch)


def _one(old: Any, new: Any, key: str, *, rest: bool) -> tuple[int, bool]:
    """Bytes, whether it was copied now. One that goes away meanwhile counts as nothing."""
    try:
        size = old.size(key)
        if new.exists(key):
            if new.size(key) == size and (rest or _digest(new, key, size) == _digest(old, key, size)):
                return size, False
            new.delete(key)  # half a file, or another's: the old place is the truth
        with old.open(key, "rb") as file:
            new.save(key, File(file))
        there, here = _digest(new, key, new.size(key)), _digest(old, key, size)
    except FileNotFoundError:
        return 0, False
    if there != here or inventory.digest_in(key) not in {"", here}:
        raise Conflict(f"{key} did not arrive as it was sent; 'manage.py verify' reads the old place.")
    return size, True


def _digest(store: Any, key: str, size: int) -> str:
    digest = hashlib.sha256()
    for piece in store.pieces(key, 0, size, PIECE):
        digest.update(piece)
    return digest.hexdigest()


def _leave_erased(name: str, new: Any, keys: set[str], moved: Moved) -> None:
    """What was removed for good at the old place goes here too, between two passes or since an earlier move away, and
    what came back there may be written here again."""
    for key in set(new.keys("erased")) - keys:
        new.delete(key)
    for uid in {key.split("/")[1] for key in new.keys("sittings")}:
        if storage.shut_key(uid) in keys:
            moved.removed += new.remove_prefix(f"sittings/{uid}")
    moved.strangers += [f"{name}/{key}" for top in KEPT for key in new.keys(top) if key not in keys]
