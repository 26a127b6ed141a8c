"""Which files a sitting has by its rows, which lie in the stores, and which of them are only kept for speed."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any, Protocol, cast

from django.core.files.storage import Storage

from galleries import storage
from galleries.models import (
    DeliveredFile,
    Delivery,
    Frame,
    Proof,
    ReferencePicture,
    Sitting,
    StrayRetouch,
    Version,
)
from galleries.steps.delivering import file_order

PRIVATE, PROOFS = "private", "proofs"
# Made again whenever they are missing: renditions for the desk, copies with a tracer and what they are made from.
CACHES = re.compile(r"^(view|loupe|preview|marked|pairs)\d*(-v\d+)?$")
CHUNK = 1 << 20
Place = tuple[str, str]  # (store, key)


class Listed(Protocol):
    """What our stores can do beside Django's interface."""

    def keys(self, prefix: str) -> Iterator[str]: ...
    def remove_prefix(self, prefix: str) -> int: ...


def store(name: str) -> Storage:
    return storage.private() if name == PRIVATE else storage.proofs()


def listing(name: str) -> Listed:
    return cast(Listed, store(name))


def expected(sitting: Sitting) -> dict[Place, str]:
    """Every file that a row of the sitting names, with its SHA-256."""
    found: dict[Place, str] = {}

    def add(where: str, key: str, digest: str = "") -> None:
        if key:
            found[where, key] = digest or digest_in(key)

    for frame in Frame.objects.filter(sitting=sitting):
        add(PRIVATE, frame.key, frame.sha256)
    for proof in Proof.objects.filter(frame__sitting=sitting):
        add(PROOFS, proof.large_key)
        add(PROOFS, proof.small_key)
    for version in Version.objects.filter(final__sitting=sitting):
        add(PRIVATE, version.key, version.sha256)
        add(PROOFS, version.proof_key)
    for stray in StrayRetouch.objects.filter(sitting=sitting):
        add(PRIVATE, stray.key, stray.sha256)
    for reference in ReferencePicture.objects.filter(sitting=sitting):
        add(PRIVATE, reference.key)
    for delivery in Delivery.objects.filter(sitting=sitting):
        add(PRIVATE, delivery.archive_key, delivery.archive_sha256)
        for order in delivery.orders:
            add(PRIVATE, file_order.profile_key(order))  # a resumed build needs it
    for file in DeliveredFile.objects.filter(delivery__sitting=sitting):
        add(PRIVATE, file.key, file.sha256)
    add(PRIVATE, sitting.print_profile_key)
    return found


def digest_in(key: str) -> str:
    """The digest of the content that a key names; '' where the key names something else."""
    found = re.search(r"/([0-9a-f]{64})\.[a-z]+$", key)
    return found.group(1) if found and not is_cache(key) else ""


def is_cache(key: str) -> bool:
    parts = key.split("/")
    return len(parts) > 2 and bool(CACHES.match(parts[2]))


def digest_of(where: str, key: str) -> tuple[str, int]:
    """SHA-256 and size of a stored file."""
    digest, size = hashlib.sha256(), 0
    with store(where).open(key, "rb") as file:
        while chunk := file.read(CHUNK):
            digest.update(chunk)
            size += len(chunk)
    return digest.hexdigest(), size


@dataclass
class Comparison:
    """Store against database, as lists of 'store:key'."""

    checked: int = 0
    bytes: int = 0
    caches: int = 0
    missing: list[str] = field(default_factory=list)
    orphans: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)

    @property
    def good(self) -> bool:
        return not (self.missing or self.orphans or self.wrong)

    def as_dict(self) -> dict[str, Any]:
        return {**self.__dict__, "good": self.good}


def compare(sitting: Sitting | None = None, seen: Callable[[int], None] | None = None) -> Comparison:
    """Read every file of one sitting, or of all and whatever else lies in the stores, and compare."""
    sittings = [sitting] if sitting is not None else list(Sitting.objects.all())
    named: dict[Place, str] = {}
    for one in sittings:
        named.update(expected(one))
    found = Comparison()
    prefix = storage.home(sitting.uid) if sitting is not None else "sittings"
    for where in (PRIVATE, PROOFS):
        for key in listing(where).keys(prefix):
            _compare_one(found, named, where, key)
            if seen is not None:
                seen(found.checked)
    found.missing = sorted(f"{where}:{key}" for where, key in named)
    return found


def _compare_one(found: Comparison, named: dict[Place, str], where: str, key: str) -> None:
    """What is left in `named` at the end was not met in the store."""
    known = (where, key) in named
    wanted = named.pop((where, key), "")
    if not known and is_cache(key):
        found.caches += 1
        if not _belongs(key):
            found.orphans.append(f"{where}:{key}")
        return
    found.checked += 1
    digest, size = digest_of(where, key)
    found.bytes += size
    if not known:
        found.orphans.append(f"{where}:{key}")
    elif wanted and digest != wanted:
        found.wrong.append(f"{where}:{key}")


def _belongs(key: str) -> bool:
    """Is the cached file one of a sitting that still is?"""
    uid = key.split("/")[1]
    return bool(re.fullmatch(r"[0-9a-f]{32}", uid)) and Sitting.objects.filter(uid=uid).exists()
