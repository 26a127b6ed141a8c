"""The plan of a sitting: setting it up, its settings, reference pictures and what people say about it."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.auth.models import User
from django.db import IntegrityError, transaction
from django.utils.text import slugify
from django.utils.translation import gettext as _

from galleries import stages, storage
from galleries.access import Act, Visitor, one_line, require
from galleries.errors import BadInput, Conflict
from galleries.imaging.contained import door
from galleries.imaging.errors import ImagingError
from galleries.models import JournalLine, Look, PlanComment, ReferencePicture, Sitting, Verb
from galleries.steps import clashes, scanner
from galleries.steps.limits import limits
from galleries.steps.people import plan_changes

SETTINGS = (
    *("title", "subject_given", "subject_surname", "held_on", "place", "plan", "allowance", "deadline", "time_zone"),
    *("subject_chooses_looks", "strikes_hide", "representation_approves", "send_at_once", "answer_days"),
    *("objection_hours", "suggestions_shown", "retouch_by", "retoucher_terms"),
    *("subject_is_minor", "guardian_name"),
    *("guardian_consent_on", "guardian_consent_note", "name_for_strip", "keep_until"),
)
PAGES = {"sizes", "sittings", "own", "due", "days"}
REFERENCE_SIDE = 1600
REFERENCE_BYTES = 30_000_000
REFERENCE_PIXELS = 60_000_000
REFERENCES_MOST = 60
COMMENT_LENGTH = 2000


def create_sitting(user: User, **fields: Any) -> Sitting:
    """Set up a sitting; its short name in addresses is made from its title.

    Raises:
        BadInput: no title, or a setting that a sitting does not have.
    """
    title = one_line(str(fields.get("title", "")))
    if not title:
        raise BadInput(_("A sitting needs a title."))
    _check_names(fields)
    visitor = Visitor(user=user)
    base = slugify(title)[:50] or "sitting"  # the names of the studio's own pages are never a sitting's
    for count in range(1, 1000):
        slug = base if count == 1 else f"{base}-{count}"
        if slug in PAGES or Sitting.objects.filter(slug=slug).exists():
            continue
        try:
            with transaction.atomic():
                sitting = Sitting.objects.create(slug=slug, photographer=user, **{**fields, "title": title})
                JournalLine.write(sitting, visitor.who, Verb.SITTING_PLANNED, sitting.title)
        except IntegrityError as error:  # perhaps somebody took the same name at the same moment
            if not clashes.at_once(error):
                raise
            continue
        return sitting
    raise Conflict(_("There are too many sittings with this title; choose another."))


def _check_names(fields: dict[str, Any]) -> None:
    unknown = set(fields) - set(SETTINGS)
    if unknown:
        raise BadInput(_("A sitting has no “%s”.") % ", ".join(sorted(unknown)))


def edit_sitting(sitting: Sitting, by: Visitor, **fields: Any) -> Sitting:
    """Change settings of a sitting; the journal keeps which, and of the plan's facts what those who saw it knew.

    Raises:
        BadInput: an empty title, or a setting that a sitting does not have.
    """
    require(by, Act.RUN, sitting, _("The settings are the photographer's to change."))
    _check_names(fields)
    if "title" in fields and not str(fields["title"]).strip():
        raise BadInput(_("A sitting needs a title."))
    if "title" in fields:
        fields["title"] = one_line(str(fields["title"]))
    changed = sorted(name for name, value in fields.items() if not plan_changes.is_same(getattr(sitting, name), value))
    if not changed:
        return sitting
    before = plan_changes.before(sitting, {name: getattr(sitting, name) for name in changed})
    with transaction.atomic():
        for name in changed:
            setattr(sitting, name, fields[name])
        sitting.save(update_fields=changed)
        stages.touch(sitting)
        line = JournalLine.write(sitting, by.who, Verb.SETTINGS_CHANGED, sitting.title, fields=changed, **before)
        plan_changes.tell(sitting, line)
    return sitting


def add_reference(
    by: Visitor, sitting: Sitting, source: Path | bytes, *, caption: str = "", look: Look | None = None
) -> ReferencePicture:
    """Bring a picture to the plan. A small copy without any metadata is kept, never the file itself.

    Raises:
        Refused: the plan is not theirs to add to.
        BadInput: the file is no picture, or the plan holds enough of them.
    """
    require(by, Act.COMMENT_PLAN, sitting, _("Only the people of this sitting add to its plan."))
    if look is not None and look.sitting_id != sitting.pk:
        raise BadInput(_("There is no such look in this sitting."))
    if sitting.references.count() >= REFERENCES_MOST:
        raise BadInput(_("The plan holds %d pictures already; remove one first.") % REFERENCES_MOST)
    try:
        # Anybody invited may send one, so it may be far smaller than a frame.
        scanner.check(source)
        small = replace(limits(), max_bytes=REFERENCE_BYTES, max_pixels=REFERENCE_PIXELS)
        door.verify(source, small, seconds=settings.VERIFY_SECONDS)
        picture = door.make_view(source, REFERENCE_SIDE, small)
    except ImagingError as error:
        raise BadInput(error.told) from error
    key = storage.derived_key(sitting.uid, "reference", hashlib.sha256(picture).hexdigest())
    storage.put(storage.private(), key, picture)
    with transaction.atomic():
        reference = ReferencePicture.objects.create(
            sitting=sitting, look=look, key=key, caption=caption.strip()[:200], brought_by=by.name
        )
        stages.touch(sitting)
        JournalLine.write(sitting, by.who, Verb.REFERENCE_ADDED, reference.caption)
    return reference


def remove_reference(by: Visitor, reference: ReferencePicture) -> None:
    """Take a picture off the plan; its file goes when no other row names it.

    Raises:
        Refused: it was brought by somebody else.
    """
    sitting = reference.sitting
    theirs = by.invite is not None and by.name == reference.brought_by
    why = _("Only who brought a picture, or the photographer, takes it off the plan.")
    require(by, Act.COMMENT_PLAN if theirs else Act.RUN, sitting, why)
    key = reference.key
    with transaction.atomic():
        reference.delete()
        stages.touch(sitting)
        JournalLine.write(sitting, by.who, Verb.REFERENCE_REMOVED, reference.caption)
    if not ReferencePicture.objects.filter(key=key).exists():
        storage.private().delete(key)


def comment(by: Visitor, sitting: Sitting, text: str, *, look: Look | None = None) -> PlanComment:
    """Say something about the plan or one of its looks, for everyone of the sitting to read.

    Raises:
        Refused: not somebody of this sitting.
        BadInput: nothing was said, or a look of another sitting.
    """
    require(by, Act.COMMENT_PLAN, sitting, _("Only the people of this sitting comment on its plan."))
    if not text.strip():
        raise BadInput(_("Write something first."))
    if look is not None and look.sitting_id != sitting.pk:
        raise BadInput(_("There is no such look in this sitting."))
    with transaction.atomic():
        entry = PlanComment.objects.create(
            sitting=sitting, look=look, who=by.name, invite=by.invite, text=text.strip()[:COMMENT_LENGTH]
        )
        stages.touch(sitting)
        JournalLine.write(sitting, by.who, Verb.PLAN_COMMENTED, look.title if look else sitting.title)
    return entry
