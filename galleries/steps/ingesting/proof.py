"""Stamped proofs: the only pictures an invitee ever sees before delivery."""

from __future__ import annotations

from django.db import transaction
from django.db.models import Exists, OuterRef, QuerySet

from galleries import stages, storage
from galleries.imaging.versions import READER_VERSION
from galleries.models import Frame, Job, Proof, Sitting, Version
from galleries.steps import derived, jobs


def current(frame: Frame) -> Proof | None:
    """The newest proof of a frame, None while it is being made."""
    return frame.proofs.order_by("-pk").first()


def render(frame_id: int) -> None:
    """Make the stamped files and the desk's own, and read the frame, in one decode. Again is harmless.

    Raises:
        ImagingError: the original cannot be decoded; the sentence goes into the job's row.
    """
    frame = Frame.objects.select_related("sitting").filter(pk=frame_id).first()
    if frame is None:
        return  # removed meanwhile
    recipe = derived.stamp_recipe()
    with storage.at_hand(storage.private(), frame.key) as path:
        stamped = derived.stamped(frame.sitting, frame, path, frame.label, plain=derived.DESK_SIDE)
    drawn = stamped.drawn
    with transaction.atomic():
        same = Frame.objects.filter(pk=frame.pk, sitting=frame.sitting)
        if not same.update(reading=drawn.reading.as_dict(), reading_version=drawn.reading.reader_version):
            return  # it went to another sitting of its day meanwhile, where this is listed anew
        newest = current(frame)
        if newest is None or newest.recipe != recipe:  # a name that comes back is the newest proof again
            frame.proofs.filter(recipe=recipe).delete()
        Proof.objects.update_or_create(
            frame=frame,
            recipe=recipe,
            defaults={
                "large_key": stamped.large_key,
                "large_width": drawn.large_size[0],
                "large_height": drawn.large_size[1],
                "middle_key": stamped.middle_key,
                "small_key": stamped.small_key,
                "small_width": drawn.small_size[0],
                "small_height": drawn.small_size[1],
            },
        )
        # This locks the sitting's row: of two workers at the last two proofs, the second sees what the first made,
        # although the first one's job is still called running.
        stages.touch(frame.sitting)
        _sort_after_the_last(frame.sitting, recipe)


def _sort_after_the_last(sitting: Sitting, name: str) -> None:
    """List the sorting unless a proof is still to come; the caller holds the sitting's row."""
    with_proof = Proof.objects.filter(frame__sitting=sitting, recipe=name).values("frame")
    others = Job.objects.filter(
        sitting=sitting, kind="proof", state__in=[Job.State.WAITING, Job.State.RUNNING]
    ).exclude(thing__in=with_proof)
    if not others.exists():
        jobs.enqueue("sort", sitting.pk, sitting, again=True)


def given_up(job: Job) -> None:
    """A frame that cannot be read may be the last one; the others are sorted all the same. In a transaction."""
    if job.sitting is not None:
        stages.touch(job.sitting)
        _sort_after_the_last(job.sitting, derived.stamp_recipe())


def view(frame: Frame, long_side: int = derived.VIEW_SIDE) -> derived.Derived:
    """A private, unstamped rendition for the photographer's own desk. Raises `ImagingError`."""
    return derived.view(frame.sitting, frame.key, frame.sha256, long_side)


def restamp(_studio: int) -> None:
    """The job after the studio's name changed: proofs of frames and of versions are listed to be made anew."""
    restamp_all()
    for version in Version.objects.exclude(proof_key="").exclude(final__sitting__stage=Sitting.Stage.ARCHIVED):
        jobs.enqueue("version", version.pk, version.final.sitting, again=True)


def read_by_an_older_reader(frames: QuerySet[Frame]) -> QuerySet[Frame]:
    """The frames whose reading lacks what the reader of today reads; their proof read anew has it."""
    return frames.exclude(reading=None).filter(reading_version__lt=READER_VERSION)


def restamp_all(*, again: bool = True) -> int:
    """List a new proof for every frame whose newest one is not by the recipe of today; returns how many.

    `again`: also where the same was asked for before. Archived sittings are left as they are until they come back.
    """
    have_one = Exists(Proof.objects.filter(frame=OuterRef("pk")))
    stale = derived.not_of_today(Frame.objects.select_related("sitting").filter(have_one))
    stale = stale.exclude(sitting__stage=Sitting.Stage.ARCHIVED)
    for frame in stale:
        jobs.enqueue("proof", frame.pk, frame.sitting, recipe=derived.stamp_recipe(), again=again)
    return len(stale)
