"""Derived pictures: made by a recipe, kept under a key that names the recipe's version, made again when missing.

Two kinds are kept. Stamped proofs lie under the digest of their own bytes, and a row names the recipe they were made
by. All others are kept for speed only (`Derived`): their key holds what they were made from and the recipe's version,
so a new version makes them anew by itself; what the one before left behind goes with the sitting's other caches.
"""

from __future__ import annotations

import hashlib
import hmac
import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from django.core.files.storage import Storage
from django.db.models import OuterRef, Q, QuerySet, Subquery

from galleries import storage
from galleries.imaging.contained import door
from galleries.imaging.versions import VERSIONS
from galleries.models import Frame, Proof, Sitting, Studio
from galleries.steps.limits import limits

if TYPE_CHECKING:
    from galleries.imaging.drawing.stamp import StampText
    from galleries.imaging.recipes import ProofFiles

VIEW_SIDE = 3000
DESK_SIDE = 720  # of what the desk draws in its strips, at the usual size sharp on a screen of two pixels to one


class Derived(NamedTuple):
    """Where one picture that can be made again lies."""

    store: Storage
    key: str

    def fetched(self, make: Callable[[], bytes]) -> bytes:
        """Its bytes, made and kept when it is missing. Raises what `make` raises; then nothing is kept."""
        if self.store.exists(self.key):
            return storage.get(self.store, self.key)
        picture = make()
        storage.put(self.store, self.key, picture)
        return picture

    def kept(self, make: Callable[[], bytes]) -> str:
        """Its key, once it is there."""
        if not self.store.exists(self.key):
            storage.put(self.store, self.key, make())
        return self.key


def place(
    sitting: Sitting, kind: str, origin: str, *, side: int | None = None, shown: bool = False, ending: str = "jpg"
) -> Derived:
    """`kind` is one of `imaging.versions.VERSIONS`; `origin` names all that the picture hangs on beside its recipe
    (a digest as it is, anything else is digested); `shown`: in the proof store, for people invited."""
    digest = origin if len(origin) == 64 and origin.isalnum() else _digest(origin)
    folder = f"{kind}{side or ''}-v{VERSIONS[kind]}"
    store = storage.proofs() if shown else storage.private()
    return Derived(store, storage.derived_key(sitting.uid, folder, digest, ending))


def described(**parts: Any) -> str:
    """Plain values as one text, for `place`; the same values give the same text."""
    return json.dumps(parts, sort_keys=True, default=str)


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def view_place(sitting: Sitting, sha256: str, long_side: int = VIEW_SIDE) -> Derived:
    return place(sitting, "view", sha256, side=long_side)


def view(sitting: Sitting, key: str, sha256: str, long_side: int = VIEW_SIDE) -> Derived:
    """Where an unstamped rendition in sRGB, JPEG, of the private file `key` lies whose content has this digest, once
    it is there.

    Raises:
        ImagingError: the file cannot be decoded.
    """
    rendition = view_place(sitting, sha256, long_side)
    rendition.kept(lambda: _view_of(key, long_side))
    return rendition


def _view_of(key: str, long_side: int) -> bytes:
    with storage.at_hand(storage.private(), key) as path:
        return door.make_view(path, long_side, limits())


STRENGTHS: dict[str, float] = {Studio.Strength.QUIET: 0.7, Studio.Strength.USUAL: 1.0, Studio.Strength.STRONG: 1.3}


def stamp_recipe() -> str:
    """Names what a proof depends on beside its frame: the recipe's version and what the studio stamps with."""
    return stamp_recipe_of(Studio.current())


def stamp_recipe_of(studio: Studio) -> str:
    words = studio.stamp_text or studio.name
    usual = studio.stamp_strength == Studio.Strength.USUAL
    parts = {"logo": studio.logo_digest} if studio.stamps_with_logo else {}
    plain = usual and not parts
    made_of = words if plain else described(words=words, strength=studio.stamp_strength, **parts)
    return f"p{VERSIONS['proof']}-{_digest(made_of)[:10]}"


def not_of_today(frames: QuerySet[Frame]) -> QuerySet[Frame]:
    """The frames whose newest proof is not by the recipe of today, or that have none."""
    newest = Proof.objects.filter(frame=OuterRef("pk")).order_by("-pk").values("recipe")[:1]
    known = frames.annotate(newest_recipe=Subquery(newest))
    return known.filter(Q(newest_recipe=None) | ~Q(newest_recipe=stamp_recipe()))


def stamp_text_of(studio: Studio, label: str, *, secret: bytes = b"", frame: bytes = b"") -> StampText:
    """What is drawn over a proof. A strength that is none of ours is the usual one."""
    from galleries.imaging.drawing.stamp import StampText  # with it comes all that draws

    logo = storage.get(storage.private(), studio.logo_key) if studio.stamps_with_logo else b""
    strength = STRENGTHS.get(studio.stamp_strength, 1.0)
    return StampText(studio.stamp_text or studio.name, label, strength, logo, secret, frame)


def _text_over(sitting: Sitting, frame: Frame, label: str) -> StampText:
    """A frame keeps its chances whatever is stamped: its proof beside its retouch shows the same places covered."""
    secret = hmac.digest(sitting.tracer_key.encode(), b"stamp", "sha256")
    return stamp_text_of(Studio.current(), label, secret=secret, frame=frame.sha256.encode())


class Stamped(NamedTuple):
    """A proof and its companions as they lie in the proof store ('' where there is none), and what was read on the
    way."""

    large_key: str
    small_key: str
    middle_key: str
    drawn: ProofFiles


def stamped(
    sitting: Sitting, frame: Frame, data: bytes | Path, label: str, *, alone: bool = False, plain: int = 0
) -> Stamped:
    """Make and keep the stamped files of a frame or of its retouch, or the large one `alone`. Again is harmless.
    `plain`: the long side of a picture without a stamp that is drawn besides and kept as `view` would have made it.

    Raises:
        ImagingError: the bytes cannot be decoded.
    """
    how = {"middle": 0} if alone else {"plain": plain}
    drawn = door.make_proof(data, _text_over(sitting, frame, label), limits(), **how)
    pictures = {"proof": drawn.large} if alone else {"proof": drawn.large, "middle": drawn.middle, "small": drawn.small}
    keys = {kind: _key(sitting, kind, picture) for kind, picture in pictures.items() if picture}
    files = [(storage.proofs(), key, pictures[kind]) for kind, key in keys.items()]
    if plain and not alone:
        files.append((*view_place(sitting, frame.sha256, plain), drawn.plain))
    storage.put_together(files)
    return Stamped(keys["proof"], keys.get("small", ""), keys.get("middle", ""), drawn)


def _key(sitting: Sitting, kind: str, picture: bytes) -> str:
    return storage.derived_key(sitting.uid, kind, hashlib.sha256(picture).hexdigest())
