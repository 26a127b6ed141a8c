"""Looks under the photographer's hands: name, merge, split, move, hide and put right.

Every act that moves or hides frames keeps what was before it, so that it can be taken back (`take_back`).
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta
from operator import itemgetter
from typing import Any

from django.db import transaction
from django.db.models import Max, QuerySet
from django.utils.translation import gettext as _

from galleries import stages
from galleries.access import Act, Visitor, one_line, require
from galleries.errors import BadInput, Conflict, Missing, Refused
from galleries.models import Frame, JournalLine, Look, Sitting, Verb
from galleries.models.compiled import Compiled, partial
from galleries.steps.people import plan_changes
from galleries.steps.people.plan_changes import is_same
from galleries.steps.sorting.before import Before, GoneLook, keep, places_of
from galleries.told import told
from galleries.words.steps import Code

# A first guess while frames come in, before they are read: people change clothes in more than this.
FIRST_GAP = timedelta(minutes=4)
EDITABLE = (
    *("title", "purpose", "treatment", "casting_kind", "wardrobe", "backdrop", "key_light", "fill", "rim"),
    *("modifier", "distance_cm", "gel", "gel_mired", "notes", "hidden", "kept_from_representation"),
)


def _photographer(by: Visitor, thing: Sitting | Look | Frame) -> None:
    require(
        by,
        Act.RUN,
        thing if isinstance(thing, Sitting) else thing.sitting,
        _("Looks are the photographer's to arrange."),
    )


def new_look(sitting: Sitting, title: str, by: Visitor, **fields: Any) -> Look:
    """Add a look at the end."""
    _photographer(by, sitting)
    with transaction.atomic():
        look = Look.objects.create(
            sitting=sitting, title=one_line(title)[:80], position=next_position(sitting), **fields
        )
        stages.touch(sitting)
        came = plan_changes.came_or_went(look, came=True)
        plan_changes.tell(sitting, JournalLine.write(sitting, by.who, Verb.LOOK_ADDED, look.title, **came))
    return look


def next_position(sitting: Sitting) -> int:
    last = sitting.looks.aggregate(last=Max("position"))["last"]
    return 0 if last is None else int(last) + 1


def place_at_once(frame: Frame) -> None:
    """Give a frame that just came in a look: the current one on set, its neighbour's in time, or a new one. One that is
    not listed yet is listed so."""
    sitting = frame.sitting
    if sitting.current_look_id:
        frame.look, frame.placed_by_hand = sitting.current_look, True
    elif frame.captured_at is not None:
        frame.look = _neighbours_look(frame) or _unused_look(sitting) or _new_look(sitting)
    if frame.pk is None:
        frame.save()
    else:
        frame.save(update_fields=["look", "placed_by_hand"])


def _new_look(sitting: Sitting) -> Look:
    return Look.objects.create(
        sitting=sitting,
        title=_("Look %d") % (sitting.looks.count() + 1),
        position=next_position(sitting),
        proposed_reason=told(Code.AFTER_PAUSE).as_text(1000),
        made_by_program=True,
    )


# Columns of the look come with the frame nearest in time, one way and the other: asked for each frame that comes in.
_OF_LOOK = ("pk", "kept_by_subject")
_look_of = partial(Look, *_OF_LOOK)


def _others(sitting: int, camera: str, but: int) -> QuerySet[Frame, Any]:
    others = Frame.objects.filter(sitting=sitting, camera=camera).exclude(pk=but).exclude(look=None)
    return others.values_list("captured_at", *(f"look__{name}" for name in _OF_LOOK))


_BEFORE = Compiled(lambda at, *who: _others(*who).filter(captured_at__lte=at).order_by("-captured_at")[:1])
_AFTER = Compiled(lambda at, *who: _others(*who).filter(captured_at__gte=at).order_by("captured_at")[:1])


def _neighbours_look(frame: Frame) -> Look | None:
    """The look of the same camera's frame nearest in time, when it is within the gap."""
    at = frame.captured_at
    if at is None:
        return None
    near = [
        (apart, row)
        for ask in (_BEFORE, _AFTER)
        for row in ask(at, frame.sitting_id, frame.camera, frame.pk or 0)
        if (apart := abs(row[0] - at)) <= FIRST_GAP
    ]
    return _look_of(min(near, key=itemgetter(0))[1][1:]) if near else None


def _unused_look(sitting: Sitting) -> Look | None:
    """The next planned look that has no frames yet."""
    return sitting.looks.filter(frames=None, proposed_reason="").order_by("position", "pk").first()


def edit_look(look: Look, by: Visitor, **fields: Any) -> Look:
    """Rename, set purpose and set-up notes, hide or keep from the representation.

    Raises:
        BadInput: a field that a look does not have, or an empty title.
        Refused: the subject keeps the look back; nobody shows it for them.
    """
    _photographer(by, look)
    unknown = set(fields) - set(EDITABLE)
    if unknown:
        raise BadInput(_("A look has no “%s”.") % ", ".join(sorted(unknown)))
    if "title" in fields and not str(fields["title"]).strip():
        raise BadInput(_("A look needs a title."))
    with transaction.atomic():
        theirs = Look.objects.select_for_update().filter(pk=look.pk, kept_by_subject=True).exists()
        if theirs and not fields.get("kept_from_representation", True):
            raise Refused(_("The subject keeps “%s” from the representation; only they let it be seen.") % look.title)
        if "title" in fields:
            fields["title"] = one_line(str(fields["title"]))
        was = {name: getattr(look, name) for name in fields}
        before = plan_changes.before(look, {key: old for key, old in was.items() if not is_same(old, fields[key])})
        for name, value in fields.items():
            setattr(look, name, value)
        look.proposed_reason, look.made_by_program = "", False
        # Only what was asked for: somebody else may have kept the look back since it was loaded.
        look.save(update_fields=[*fields, "proposed_reason", "made_by_program"])
        if fields.get("hidden") or fields.get("kept_from_representation"):
            hold_together(look)
        stages.touch(look.sitting)
        line = JournalLine.write(look.sitting, by.who, Verb.LOOK_CHANGED, look.title, fields=sorted(fields), **before)
        plan_changes.tell(look.sitting, line)
    return look


def hold_together(look: Look) -> None:
    """Frames of a look that somebody must not see are no longer the program's to move to one that they see."""
    look.frames.update(placed_by_hand=True)


def accept(look: Look, by: Visitor) -> None:
    """The photographer agrees with a proposed look; the program leaves its frames alone from now on."""
    _photographer(by, look)
    with transaction.atomic():
        Look.objects.filter(pk=look.pk).update(proposed_reason="", made_by_program=False)
        look.frames.update(placed_by_hand=True)
        stages.touch(look.sitting)
        JournalLine.write(look.sitting, by.who, Verb.LOOK_ACCEPTED, look.title)


def reorder(sitting: Sitting, order: list[int], by: Visitor) -> None:
    """Put the looks in this order of ids.

    Raises:
        BadInput: not exactly the looks of this sitting.
    """
    _photographer(by, sitting)
    if sorted(order) != sorted(sitting.looks.values_list("pk", flat=True)):
        raise BadInput(_("The order does not name exactly the looks of this sitting."))
    with transaction.atomic():
        for position, pk in enumerate(order):
            Look.objects.filter(pk=pk).update(position=position)
        stages.touch(sitting)
        JournalLine.write(sitting, by.who, Verb.LOOKS_REORDERED, sitting.title)


def frames_of(sitting: Sitting, ids: Iterable[int]) -> list[Frame]:
    """
    Raises:
        Missing: one of the ids is no frame of this sitting.
    """
    wanted = set(ids)
    frames = list(Frame.objects.filter(sitting=sitting, pk__in=wanted))
    if len(frames) != len(wanted):
        raise Missing(_("One of the frames is not of this sitting."))
    return frames


def move_frames(sitting: Sitting, ids: Iterable[int], look: Look | None, by: Visitor) -> None:
    """Move frames to a look of the same sitting (or to none)."""
    _photographer(by, sitting)
    if look is not None and look.sitting_id != sitting.pk:
        raise Missing(_("There is no such look in this sitting."))
    frames = frames_of(sitting, ids)
    with transaction.atomic():
        _place(sitting, frames, look, by, Verb.FRAMES_MOVED)


def _place(
    sitting: Sitting,
    frames: list[Frame],
    look: Look | None,
    by: Visitor,
    verb: Verb,
    *,
    gone: GoneLook | None = None,
    begun: int | None = None,
) -> None:
    stages.touch(sitting)  # first: who acts at the same moment waits here, and finds what this act leaves
    ids, title = [frame.pk for frame in frames], look.title if look else ""
    was = Before(places=places_of(ids), gone=gone, begun=begun, into=look.pk if look else None, into_title=title)
    Frame.objects.filter(pk__in=ids).update(look=look, placed_by_hand=True)
    keep(sitting, by.who, verb, was)
    JournalLine.write(sitting, by.who, verb, f"{len(frames)} → {title or '–'}", frames=ids)


def set_hidden(sitting: Sitting, ids: Iterable[int], hidden: bool, by: Visitor) -> None:
    """Hide frames from all invitees, or show them again."""
    _photographer(by, sitting)
    _set_flag(sitting, ids, "hidden", hidden, Verb.FRAMES_HIDDEN if hidden else Verb.FRAMES_SHOWN, by)


def set_suggested(sitting: Sitting, ids: Iterable[int], suggested: bool, by: Visitor) -> None:
    """The studio suggests frames, or no longer does. Subject and representation read it only where the sitting says so;
    it is nobody's mark and counts for nothing."""
    _photographer(by, sitting)
    verb = Verb.FRAMES_SUGGESTED if suggested else Verb.FRAMES_NOT_SUGGESTED
    _set_flag(sitting, ids, "suggested", suggested, verb, by)


def _set_flag(sitting: Sitting, ids: Iterable[int], column: str, value: bool, verb: Verb, by: Visitor) -> None:
    """One column of the frames, with what each had before kept for undo (`Before` has a field of the same name)."""
    chosen = [frame.pk for frame in frames_of(sitting, ids)]
    with transaction.atomic():
        stages.touch(sitting)
        frames = Frame.objects.filter(pk__in=chosen)
        was: dict[str, Any] = {column: dict(frames.values_list("pk", column))}
        keep(sitting, by.who, verb, Before(**was))
        frames.update(**{column: value})
        JournalLine.write(sitting, by.who, verb, str(len(chosen)), frames=chosen)


def split(first: Frame, title: str, by: Visitor) -> Look:
    """A new look starts at this frame: it and the later frames of its look go there.

    Raises:
        BadInput: the frame is in no look, or is its look's first.
    """
    _photographer(by, first)
    look = first.look
    if look is None:
        raise BadInput(_("Frame %s is in no look that could be split.") % first.label)
    members = in_order(look)
    index = [frame.pk for frame in members].index(first.pk)
    if index == 0:
        raise BadInput(_("Frame %s is the first of its look already.") % first.label)
    with transaction.atomic():
        for later in Look.objects.filter(sitting=look.sitting, position__gt=look.position):
            Look.objects.filter(pk=later.pk).update(position=later.position + 1)
        new = Look.objects.create(
            sitting=look.sitting,
            title=one_line(title)[:80] or _("Look %d") % (look.sitting.looks.count() + 1),
            position=look.position + 1,
            purpose=look.purpose,
            treatment=look.treatment,
            hidden=look.hidden,
            kept_from_representation=look.kept_from_representation,
            kept_by_subject=look.kept_by_subject,
        )
        _place(look.sitting, members[index:], new, by, Verb.LOOK_SPLIT, begun=new.pk)
    return new


def merge(look: Look, into: Look, by: Visitor) -> None:
    """All frames of one look go to another; the emptied look goes, and can be brought back by undo.

    Raises:
        BadInput: the same look twice, or looks of two sittings.
        Conflict: something was said of a look that not everybody sees, and would be read in one they do.
    """
    _photographer(by, look)
    if look.pk == into.pk or look.sitting_id != into.sitting_id:
        raise BadInput(_("Choose another look of the same sitting to merge with."))
    if into.shows_more_than(look) and (look.references.exists() or look.plan_comments.exists()):
        raise Conflict(
            _("The plan says things of “%s” that not everybody may read. Take them off before you merge it.")
            % look.title
        )
    with transaction.atomic():
        # Those that lie there already, too: the two are one look now, and the program must not tear them apart again.
        frames = [*look.frames.all(), *into.frames.all()]
        _place(look.sitting, frames, into, by, Verb.LOOKS_MERGED, gone=GoneLook.of(look))
        look.references.update(look=into)
        look.plan_comments.update(look=into)
        look.delete()


def remove_look(look: Look, by: Visitor) -> None:
    """Take an empty look off the plan. What was said of one that was kept from somebody goes along: beside no look
    everybody would read it.

    Raises:
        Conflict: the look still has frames.
    """
    _photographer(by, look)
    if look.frames.exists():
        raise Conflict(_("“%s” still has frames; move them first.") % look.title)
    with transaction.atomic():
        went = plan_changes.came_or_went(look, came=False)
        line = JournalLine.write(look.sitting, by.who, Verb.LOOK_REMOVED, look.title, **went)
        sitting = look.sitting
        if look.hidden or look.kept_from_representation:
            look.plan_comments.all().delete()
            look.references.all().delete()
        look.delete()
        stages.touch(sitting)
        plan_changes.tell(sitting, line)


def in_order(look: Look) -> list[Frame]:
    return list(look.frames.order_by("captured_at", "name", "pk"))


def start_look_on_set(sitting: Sitting, title: str, by: Visitor, look: Look | None = None) -> Look:
    """'New look starts here': frames that arrive from now on go to it. Names a planned look, or makes one.

    Raises:
        Missing: a look of another sitting.
    """
    _photographer(by, sitting)
    if look is not None and look.sitting_id != sitting.pk:
        raise Missing(_("There is no such look in this sitting."))
    chosen = look or _unused_look(sitting) if not title.strip() else look
    with transaction.atomic():
        chosen = chosen or new_look(sitting, title or _("Look %d") % (sitting.looks.count() + 1), by)
        Sitting.objects.filter(pk=sitting.pk).update(current_look=chosen)
        stages.touch(sitting)
        JournalLine.write(sitting, by.who, Verb.LOOK_STARTED, chosen.title)
    sitting.refresh_from_db()
    return chosen


def end_look_on_set(sitting: Sitting, by: Visitor) -> None:
    _photographer(by, sitting)
    with transaction.atomic():
        Sitting.objects.filter(pk=sitting.pk).update(current_look=None)
        stages.touch(sitting)
        JournalLine.write(sitting, by.who, Verb.LOOK_ENDED, sitting.title)
    sitting.refresh_from_db()
