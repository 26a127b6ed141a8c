"""Which files a sitting has by its rows, which lie in the stores, and which of them are only kept for speed."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any, Protocol, cast

from django.core.files.storage import Storage
from django.db.models import Model
from django.utils import timezone

from galleries import storage
from galleries.models import (
    DeliveredFile,
    Delivery,
    Frame,
    OwnCopy,
    Proof,
    RawFile,
    ReferencePicture,
    Sitting,
    StrayRetouch,
    Studio,
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


# What names files: where they lie, the model, its way to the sitting, the column of the key and that of its digest.
_NAMED: tuple[tuple[str, type[Model], str, str, str | None], ...] = (
    (PRIVATE, Frame, "sitting", "key", "sha256"),
    (PRIVATE, RawFile, "frame__sitting", "key", "sha256"),
    (PROOFS, Proof, "frame__sitting", "large_key", None),
    (PROOFS, Proof, "frame__sitting", "middle_key", None),
    (PROOFS, Proof, "frame__sitting", "small_key", None),
    (PRIVATE, Version, "final__sitting", "key", "sha256"),
    (PROOFS, Version, "final__sitting", "proof_key", None),
    (PRIVATE, StrayRetouch, "sitting", "key", "sha256"),
    (PRIVATE, ReferencePicture, "sitting", "key", None),
    (PRIVATE, Delivery, "sitting", "archive_key", "archive_sha256"),
    (PRIVATE, DeliveredFile, "delivery__sitting", "key", "sha256"),
    (PRIVATE, OwnCopy, "sitting", "archive_key", "archive_sha256"),
    (PRIVATE, Sitting, "pk", "print_profile_key", None),
)


def expected(sitting: Sitting) -> dict[Place, str]:
    """Every file that a row of the sitting names, with its SHA-256."""
    return expected_of([sitting])[sitting.pk]


def expected_of(sittings: Sequence[Sitting]) -> dict[int, dict[Place, str]]:
    """sitting → as `expected`; the queries are the same for any number of sittings."""
    places: dict[int, dict[Place, str]] = {sitting.pk: {} for sitting in sittings}
    for where, model, way, key, digest in _NAMED:
        columns = (way, key, digest) if digest else (way, key)
        rows = model._default_manager.filter(**{f"{way}__in": list(places)}).order_by("pk")
        for pk, named, *sha256 in rows.values_list(*columns):
            if named:
                places[pk][where, named] = "".join(sha256) or digest_in(named)
    for pk, orders in Delivery.objects.filter(sitting__in=list(places)).values_list("sitting", "orders"):
        for icc in filter(None, map(file_order.profile_key, orders)):
            places[pk][PRIVATE, icc] = digest_in(icc)  # a lab's profile that a resumed build needs
    return places


def digest_in(key: str) -> str:
    """The digest of the content that a key names; '' where the key names something else."""
    digest = re.search(r"/([0-9a-f]{64})\.[a-z0-9]+$", key)
    return digest.group(1) if digest and not is_cache(key) else ""


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
    comparison = Comparison()
    if sitting is None:
        named.update(of_the_studio())
    prefixes = [storage.home(sitting.uid)] if sitting is not None else ["sittings", "studio"]
    for where in (PRIVATE, PROOFS):
        for key in (key for prefix in prefixes for key in listing(where).keys(prefix)):
            _compare_one(comparison, named, where, key)
            if seen is not None:
                seen(comparison.checked)
    comparison.missing = sorted(f"{where}:{key}" for where, key in named)
    return comparison


def of_the_studio() -> dict[Place, str]:
    """As `expected`, of what belongs to no sitting."""
    studio = Studio.current()
    return {(PRIVATE, studio.logo_key): studio.logo_digest} if studio.logo_key else {}


# Files come before their rows: a younger orphan may be of work that is just being done.
YOUNG = timedelta(days=1)


@dataclass
class Cleared:
    """What became of orphans, as lists of 'store:key'."""

    removed: list[str] = field(default_factory=list)
    young: list[str] = field(default_factory=list)
    named: list[str] = field(default_factory=list)

    def as_dict(self) -> dict[str, list[str]]:
        return dict(self.__dict__)


def clear(orphans: Sequence[str], young: timedelta = YOUNG) -> Cleared:
    """Remove files that no row names, as `compare` tells them.

    What a row has come to name meanwhile, and what is younger than `young`, stays. A file that is gone already is no
    error.
    """
    done, before = Cleared(), timezone.now() - young
    for place in orphans:
        where, _colon, key = place.partition(":")
        try:
            if store(where).get_modified_time(key) > before:
                done.young.append(place)
                continue
        except FileNotFoundError:
            continue
        if _named_by_now((where, key)):
            done.named.append(place)
            continue
        store(where).delete(key)
        done.removed.append(place)
    return done


def _named_by_now(place: Place) -> bool:
    """Asked for each file right before it goes."""
    if place in of_the_studio():
        return True
    uid = place[1].split("/")[1]
    sitting = Sitting.objects.filter(uid=uid).first() if re.fullmatch(r"[0-9a-f]{32}", uid) else None
    return sitting is not None and (place in expected(sitting) or is_cache(place[1]))


def _compare_one(comparison: Comparison, named: dict[Place, str], where: str, key: str) -> None:
    """What is left in `named` at the end was not met in the store."""
    known = (where, key) in named
    wanted = named.pop((where, key), "")
    if not known and is_cache(key):
        comparison.caches += 1
        if not _belongs(key):
            comparison.orphans.append(f"{where}:{key}")
        return
    comparison.checked += 1
    digest, size = digest_of(where, key)
    comparison.bytes += size
    if not known:
        comparison.orphans.append(f"{where}:{key}")
    elif wanted and digest != wanted:
        comparison.wrong.append(f"{where}:{key}")


def _belongs(key: str) -> bool:
    """Is the cached file one of a sitting that still is?"""
    uid = key.split("/")[1]
    return bool(re.fullmatch(r"[0-9a-f]{32}", uid)) and Sitting.objects.filter(uid=uid).exists()
