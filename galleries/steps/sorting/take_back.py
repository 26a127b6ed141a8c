"""Take back acts on looks and frames, the latest first, from what each kept of before it."""

from __future__ import annotations

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from galleries import stages
from galleries.access import Act, Visitor, require
from galleries.errors import Conflict
from galleries.models import Frame, JournalLine, Look, PlanComment, ReferencePicture, Sitting, Undoable, Verb
from galleries.steps.sorting import before
from galleries.steps.sorting.before import Before, GoneLook, Place


def last_undoable(sitting: Sitting) -> Undoable | None:
    """The latest act on frames that has not been taken back. None, too, when a newer program kept it in a way that
    this one does not know: an older act is not taken back under it."""
    act = sitting.undoables.standing().order_by("-pk").first()
    return act if act is not None and before.is_known(act) else None


def undo(sitting: Sitting, by: Visitor) -> Undoable:
    """Take back the latest act on frames; again takes back the one before.

    Raises:
        Refused: not this person's to do.
        Conflict: there is nothing left to take back.
    """
    require(by, Act.RUN, sitting, _("Looks are the photographer's to arrange."))
    with transaction.atomic():
        stages.touch(sitting)  # first: whoever acts on this sitting at the same moment waits here
        act = last_undoable(sitting)
        if act is None:
            raise Conflict(_("There is nothing to take back."))
        _put_back(sitting, before.of(act))
        act.undone_at, act.undone_by = timezone.now(), by.who[:140]
        act.save(update_fields=["undone_at", "undone_by"])
        JournalLine.write(sitting, by.who, Verb.UNDONE, act.verb, act=act.pk)
    return act


def _put_back(sitting: Sitting, was: Before) -> None:
    if was.gone is not None:
        Look.objects.create(sitting=sitting, **was.gone.columns)
    _put_frames_back(sitting, was.places)
    for frame, hidden in was.hidden.items():
        sitting.frames.filter(pk=frame).update(hidden=hidden)
    for frame, suggested in was.suggested.items():
        sitting.frames.filter(pk=frame).update(suggested=suggested)
    if was.gone is not None:
        _give_back_what_was_said(sitting, was.gone, was.into)
    if was.begun is not None:
        _end(sitting, was.begun, was.places)


def _put_frames_back(sitting: Sitting, places: tuple[Place, ...]) -> None:
    alive = set(sitting.looks.values_list("pk", flat=True))
    together: dict[tuple[int | None, bool], list[int]] = {}
    for place in places:
        if place.look is None or place.look in alive:  # without a look everybody would see it
            together.setdefault((place.look, place.by_hand), []).append(place.frame)
    for (look, by_hand), frames in together.items():
        Frame.objects.filter(sitting=sitting, pk__in=frames).update(look_id=look, placed_by_hand=by_hand)


def _give_back_what_was_said(sitting: Sitting, gone: GoneLook, into: int | None) -> None:
    """What had been said of the look and went over to the other, unless somebody would read it who may not now."""
    if into is None:
        return
    look, other = (sitting.looks.filter(pk=pk).first() for pk in (gone.columns["id"], into))
    if look is None or other is None or look.shows_more_than(other):
        return
    ReferencePicture.objects.filter(look=other, pk__in=gone.references).update(look=look)
    PlanComment.objects.filter(look=other, pk__in=gone.comments).update(look=look)


def _end(sitting: Sitting, begun: int, places: tuple[Place, ...]) -> None:
    """The look that began by the act goes when it is empty. What was said of it goes to the look that it was split
    from; it stays when that one is gone, or when somebody would read it there who may not now."""
    look = sitting.looks.filter(pk=begun, frames=None).first()
    if look is None:
        return
    if look.references.exists() or look.plan_comments.exists():
        origin = sitting.looks.filter(pk__in=[place.look for place in places[:1]]).first()
        if origin is None or origin.shows_more_than(look):
            return
        look.references.update(look=origin)
        look.plan_comments.update(look=origin)
    look.delete()
