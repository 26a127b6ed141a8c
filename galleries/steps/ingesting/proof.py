"""Stamped proofs: the only pictures an invitee ever sees before delivery."""

from __future__ import annotations

import hashlib

from django.db import transaction

from galleries import stages, storage
from galleries.imaging.contained import door
from galleries.imaging.drawing.stamp import StampText
from galleries.models import Frame, Job, Proof, Sitting, Studio
from galleries.steps import jobs
from galleries.steps.limits import limits

PROOF_VERSION = 1
VIEW_SIDE = 3000


def recipe() -> str:
    """Names what a proof depends on beside its frame: the recipe's version and the studio's name in the stamp."""
    name = hashlib.sha256(Studio.current().name.encode()).hexdigest()[:10]
    return f"p{PROOF_VERSION}-{name}"


def current(frame: Frame) -> Proof | None:
    """The newest proof of a frame, None while it is being made."""
    return frame.proofs.order_by("-pk").first()


def render(frame_id: int) -> None:
    """Make both stamped files and read the frame, in one decode. Again is harmless.

    Raises:
        ImagingError: the original cannot be decoded; the sentence goes into the job's row.
    """
    frame = Frame.objects.select_related("sitting").filter(pk=frame_id).first()
    if frame is None:
        return  # removed meanwhile
    name = recipe()
    data = storage.get(storage.private(), frame.key)
    made = door.make_proof(data, StampText(studio=Studio.current().name, label=frame.label), limits())
    uid = frame.sitting.uid
    keys = {
        kind: storage.put(
            storage.proofs(), storage.derived_key(uid, kind, hashlib.sha256(picture).hexdigest()), picture
        )
        for kind, picture in (("proof", made.large), ("small", made.small))
    }
    with transaction.atomic():
        Frame.objects.filter(pk=frame.pk).update(
            reading=made.reading.as_dict(), reading_version=made.reading.reader_version
        )
        Proof.objects.update_or_create(
            frame=frame,
            recipe=name,
            defaults={
                "large_key": keys["proof"],
                "large_width": made.large_size[0],
                "large_height": made.large_size[1],
                "small_key": keys["small"],
                "small_width": made.small_size[0],
                "small_height": made.small_size[1],
            },
        )
        # This locks the sitting's row: of two workers at the last two proofs, the second sees what the first made,
        # although the first one's job is still called running.
        stages.touch(frame.sitting)
        _sort_after_the_last(frame.sitting, name)


def _sort_after_the_last(sitting: Sitting, name: str) -> None:
    """List the sorting unless a proof is still to come; the caller holds the sitting's row."""
    made_already = Proof.objects.filter(frame__sitting=sitting, recipe=name).values("frame")
    others = Job.objects.filter(
        sitting=sitting, kind="proof", state__in=[Job.State.WAITING, Job.State.RUNNING]
    ).exclude(thing__in=made_already)
    if not others.exists():
        jobs.enqueue("sort", sitting.pk, sitting, again=True)


def given_up(job: Job) -> None:
    """A frame that cannot be read may be the last one; the others are sorted all the same. In a transaction."""
    if job.sitting is not None:
        stages.touch(job.sitting)
        _sort_after_the_last(job.sitting, recipe())


def view(frame: Frame, long_side: int = VIEW_SIDE) -> bytes:
    """A private, unstamped rendition for the photographer's own desk (loupe), JPEG in sRGB.

    Made once and kept in the private store under the frame's digest.
    """
    key = storage.derived_key(frame.sitting.uid, f"view{long_side}", frame.sha256)
    store = storage.private()
    if store.exists(key):
        return storage.get(store, key)
    picture = door.make_view(storage.get(store, frame.key), long_side, limits())
    storage.put(store, key, picture)
    return picture


def restamp_all() -> int:
    """List new proofs for every frame, after the studio's name changed; returns how many."""
    name = recipe()
    frames = Frame.objects.select_related("sitting").exclude(proofs__recipe=name)
    for frame in frames:
        jobs.enqueue("proof", frame.pk, frame.sitting, recipe=name, again=True)
    return len(frames)
