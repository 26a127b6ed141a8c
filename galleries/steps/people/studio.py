"""The studio itself: its data, its stamp, what new sittings begin with, and what follows when the stamp changes."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from galleries import storage
from galleries.access import Act, Visitor, one_line, require
from galleries.errors import BadInput
from galleries.imaging.contained import door
from galleries.imaging.errors import ImagingError
from galleries.models import Frame, Job, JournalLine, Proof, Sitting, Studio, Verb, Version
from galleries.steps import derived, jobs, scanner
from galleries.steps.limits import limits

LOGO_BYTES = 2_000_000
LOGO_PIXELS = 20_000_000
_LINES = ("name", "photographer", "telephone", "stamp_text")


def change(studio: Studio, by: Visitor) -> None:
    """Keep the studio's data as they stand in `studio`. Another stamp goes on every proof, by a job of its own.

    Raises:
        Refused: not this person's to change.
        BadInput: no name, or a value that its column does not take; the sentence names it.
    """
    _asked(studio, by)
    for name in _LINES:
        setattr(studio, name, one_line(getattr(studio, name)))
    try:
        studio.clean_fields()
    except ValidationError as error:
        name, problems = next(iter(error.message_dict.items()))
        raise BadInput(f"{Studio._meta.get_field(name).verbose_name}: {problems[0]}") from None  # type: ignore[union-attr]
    if studio.stamp_with == Studio.StampWith.LOGO and not studio.logo_key:
        raise BadInput(_("Bring the logo in first; then it can be the stamp."))
    studio.clauses = "\n".join(line for line in map(one_line, studio.clauses.splitlines()) if line)
    if max(studio.letters_from, studio.letters_until) > 24:
        raise BadInput(_("Letters go out between two hours of the day, 0 to 24."))
    with transaction.atomic():
        before = Studio.objects.select_for_update().filter(pk=studio.pk).first() if studio.pk else None
        if studio.clauses != (before.clauses if before else ""):
            studio.clauses_number = (before.clauses_number if before else 0) + 1
        changed = _changed(before, studio)
        if not changed:
            return
        studio.save()
        if any(name.startswith("caution_") for name in changed):
            Version.objects.caution_anew(studio.cautioned_from)
        JournalLine.write(None, by.who, Verb.STUDIO_CHANGED, studio.name, fields=changed)
        if before is not None and derived.stamp_recipe_of(before) != derived.stamp_recipe_of(studio):
            jobs.enqueue("restamp", studio.pk, None, recipe=derived.stamp_recipe(), again=True)


def bring_logo(by: Visitor, source: bytes) -> Studio:
    """Keep the studio's logo; the file before goes when nothing names it. Proofs that bear it are stamped anew.

    Raises:
        Refused: not this person's to change.
        BadInput: too large, no picture, or nothing to be seen in it.
    """
    studio = Studio.current()
    _asked(studio, by)
    if not 0 < len(source) <= LOGO_BYTES:
        raise BadInput(_("Choose a picture of the logo, of at most %d MB.") % (LOGO_BYTES // 10**6))
    try:
        scanner.check(source)
        small = replace(limits(), max_bytes=LOGO_BYTES, max_pixels=LOGO_PIXELS)
        logo = door.make_logo(source, small)
    except ImagingError as error:
        raise BadInput(error.told) from error
    key = storage.studio_key("logo", hashlib.sha256(logo).hexdigest(), "png")
    storage.put(storage.private(), key, logo)
    return _with_logo(studio, key, by)


def drop_logo(by: Visitor) -> Studio:
    """Without a logo; a stamp that was it is the text again."""
    studio = Studio.current()
    _asked(studio, by)
    studio.stamp_with = Studio.StampWith.TEXT
    return _with_logo(studio, "", by)


def _with_logo(studio: Studio, key: str, by: Visitor) -> Studio:
    before, studio.logo_key = studio.logo_key, key
    change(studio, by)
    if before and before != key:
        storage.private().delete(before)
    return studio


def sample(studio: Studio, by: Visitor) -> bytes:
    """How the stamp would look as it stands in `studio`, kept or not: a JPEG.

    Raises:
        Refused: not this person's to change.
    """
    _asked(studio, by)
    return door.stamp_sample(derived.stamp_text_of(studio, ""))


def _asked(studio: Studio, by: Visitor) -> None:
    require(by, Act.RUN_STUDIO, studio, _("The studio's data are changed by whoever runs the studio."))


def _changed(before: Studio | None, studio: Studio) -> list[str]:
    names = [field.name for field in Studio._meta.concrete_fields if field.name != "id"]
    return [name for name in names if before is None or getattr(before, name) != getattr(studio, name)]


@dataclass(frozen=True)
class Stamping:
    """How far the proofs are with the stamp of today. `broken`: of those to do, how many could not be made."""

    done: int
    of: int
    broken: int
    at_work: bool  # something is listed or being made


def stamping() -> Stamping:
    """Of sittings that are not put away: frames that have a proof, and previews of retouches."""
    frames = Frame.objects.filter(pk__in=Proof.objects.values("frame")).exclude(sitting__stage=Sitting.Stage.ARCHIVED)
    versions = Version.objects.exclude(proof_key="").exclude(final__sitting__stage=Sitting.Stage.ARCHIVED)
    listed = Job.objects.filter(kind__in=["proof", "version", "restamp"])
    working = listed.filter(state__in=[Job.State.WAITING, Job.State.RUNNING])
    stale = derived.not_of_today(frames)
    to_do = stale.count() + working.filter(kind="version", thing__in=versions.values("pk")).count()
    broken = listed.filter(kind="proof", state=Job.State.FAILED, thing__in=stale.values("pk")).count()
    of = frames.count() + versions.count()
    return Stamping(of - to_do, of, broken, working.exists())
