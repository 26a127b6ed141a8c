"""Which invite a stray copy of a proof was served to.

Every large and middle proof that an invitee opens carries a faint tracer with the number of their invite. The base
proof is prepared once; each invite's copy is put together from it when first opened, and kept.
"""

from __future__ import annotations

import hmac
from dataclasses import dataclass
from pathlib import Path

from django.utils.translation import gettext as _

from galleries import storage
from galleries.errors import BadInput
from galleries.imaging import tracer
from galleries.imaging.contained import door
from galleries.imaging.errors import ImagingError, Unsupported
from galleries.imaging.face.hashes import distance
from galleries.models import Frame, Invite, Proof, Sitting
from galleries.steps import derived
from galleries.steps.limits import limits
from galleries.words.told import sentence

# Without a sitting named, this many frames whose pictures are most alike are compared with the copy.
CLOSEST = 40


@dataclass(frozen=True)
class Tracing:
    """What a copy told: the frame it is of, the invites whose tracers it carries, and a sentence."""

    frame: Frame | None
    invites: tuple[Invite, ...]
    confidence: float
    sentence: str


@dataclass(frozen=True)
class _Key:
    """A key per frame: nobody finds the pattern by averaging the many frames of one sitting."""

    bytes: bytes
    suffix: str = ""  # of what is kept under it, where the sitting has had two

    @classmethod
    def of(cls, sha256: str, sitting_key: str, suffix: str = "") -> _Key:
        return cls(hmac.digest(bytes.fromhex(sitting_key), sha256.encode(), "sha256"), suffix)


def _keys(frame: Frame) -> list[_Key]:
    """Today's first, then the one before: what lies in the store from then keeps its place."""
    sitting = frame.sitting
    if not sitting.tracer_key_before:
        keys = [_Key.of(frame.sha256, sitting.tracer_key)]
    else:
        keys = [_Key.of(frame.sha256, sitting.tracer_key, "\nown"), _Key.of(frame.sha256, sitting.tracer_key_before)]
    if frame.raw_beside is not None:  # copies served while the raw file was all there was of the frame
        keys.append(_Key.of(frame.raw_beside.sha256, sitting.tracer_key, "\nraw"))
    return keys


def traced_copy(proof: Proof, invite: Invite, *, middle: bool = False) -> str:
    """The key, in the proof store, of the large or the middle proof as served to this invite."""
    base, key = proof.middle_key if middle else proof.large_key, _keys(proof.frame)[0]
    copy = derived.place(proof.frame.sitting, "marked", f"{base}\n{invite.pk}{key.suffix}", shown=True)
    try:
        return copy.kept(lambda: tracer.embed(_prepared(proof.frame.sitting, base, key), key.bytes, invite.pk))
    except Unsupported:  # too small a picture to carry a tracer: it is served as it is
        return base


def _prepared(sitting: Sitting, base: str, key: _Key) -> bytes:
    """The pair of files that copies are put together from, made when the first invitee opens the stamped file."""
    pair = derived.place(sitting, "pairs", f"{base}{key.suffix}", ending="pair")
    return pair.fetched(lambda: door.tracer_prepare(storage.get(storage.proofs(), base), key.bytes))


def _heard(data: bytes, proof: Proof) -> tracer.TraceResult | None:
    """What a copy tells of one proof: the first tracer read, else that it is a copy of it all the same, else None.
    Only a copy of the large one is looked for in the middle one too, which shows the same."""
    given = list(proof.frame.sitting.invites.values_list("pk", flat=True))
    copy: tracer.TraceResult | None = None
    for base in filter(None, (proof.large_key, proof.middle_key)):
        for key in _keys(proof.frame):
            try:
                told = door.tracer_find(data, _prepared(proof.frame.sitting, base, key), key.bytes, given)
            except Unsupported:  # the middle one of a small picture carries none
                continue
            if told.found:
                return told
            copy = copy or (told if told.aligned else None)
        if copy is None:
            return None
    return copy


def find(path: Path, sitting: Sitting | None = None) -> Tracing:
    """Find the frame of a screenshot or re-saved copy, and the invite whose tracer it carries.

    Raises:
        BadInput: the file cannot be opened as a picture.
    """
    data = path.read_bytes()
    try:
        proofs = _candidates(path, sitting)
        copies_of: Proof | None = None
        for proof in proofs:
            told = _heard(data, proof)
            if told is not None and told.found:
                return _told(proof, told)
            if told is not None and copies_of is None:
                copies_of = proof
    except ImagingError as error:
        raise BadInput(error.told.named(path.name)) from error
    if copies_of is not None:
        words = _("A copy of frame %s, but no tracer is left in it: not found.") % copies_of.frame.label
        return Tracing(copies_of.frame, (), 0.0, words)
    return Tracing(None, (), 0.0, _("Not found: none of the proofs compared is like this picture."))


def _candidates(path: Path, sitting: Sitting | None) -> list[Proof]:
    """The newest proof of each frame, most alike first; all of a sitting that was named, else the closest."""
    frames = Frame.objects.filter(proofs__isnull=False, reading__isnull=False).select_related("sitting").distinct()
    if sitting is not None:
        frames = frames.filter(sitting=sitting)
    _facts, reading = door.read_frame(path, limits())
    here = int(reading.hash, 16)
    ranked = sorted(frames, key=lambda frame: distance(here, int(frame.read.get("hash") or "0", 16)))
    chosen = ranked if sitting is not None else ranked[:CLOSEST]
    return [proof for frame in chosen if (proof := frame.proofs.order_by("-pk").first()) is not None]


def _told(proof: Proof, told: tracer.TraceResult) -> Tracing:
    numbers = [match.payload for match in told.matches]
    invites = {invite.pk: invite for invite in proof.frame.sitting.invites.filter(pk__in=numbers)}
    named = tuple(invites[number] for number in numbers if number in invites)
    if not named:
        words = _("A copy of frame %s with a tracer of no invite that is known here.") % proof.frame.label
        return Tracing(proof.frame, (), told.confidence, words)
    people = ", ".join(f"{invite.name} ({invite.get_role_display()})" for invite in named)
    words = _("A copy of frame %(frame)s, served to %(people)s. %(odds)s") % {
        "frame": proof.frame.label,
        "people": people,
        "odds": sentence(told.told),
    }
    return Tracing(proof.frame, named, told.confidence, words)
