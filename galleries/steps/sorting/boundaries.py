"""The edge between two looks, under the photographer's hand: moved to another frame, or taken away."""

from __future__ import annotations

from django.db import transaction
from django.utils.translation import gettext as _

from galleries.access import Act, Visitor, require
from galleries.errors import BadInput
from galleries.models import Frame, Look
from galleries.steps.sorting import looks


def look_before(look: Look) -> Look | None:
    """The nearest earlier look of the sitting that has frames."""
    earlier = look.sitting.looks.filter(position__lt=look.position, frames__isnull=False)
    return earlier.order_by("-position", "-pk").first()


def move_start(look: Look, first: Frame, by: Visitor) -> None:
    """Let a look begin with this frame, one of its own or of the look before it.

    Raises:
        BadInput: there is no look before it, or the frame is in neither of the two.
    """
    require(by, Act.RUN, look.sitting, _("Looks are the photographer's to arrange."))
    before = look_before(look)
    if before is None:
        raise BadInput(_("“%s” is the first look; its start cannot be moved.") % look.title)
    ours, theirs = looks.in_order(look), looks.in_order(before)
    if first.look_id == look.pk:
        moved = ours[: [frame.pk for frame in ours].index(first.pk)]
        target = before
    elif first.look_id == before.pk:
        moved = theirs[[frame.pk for frame in theirs].index(first.pk) :]
        target = look
    else:
        raise BadInput(_("Frame %(frame)s is neither in “%(look)s” nor in the look before it.")
                       % {"frame": first.label, "look": look.title})  # fmt: skip
    with transaction.atomic():
        if moved:
            looks.move_frames(look.sitting, [frame.pk for frame in moved], target, by)
        looks.accept(look, by)


def take_away(look: Look, by: Visitor) -> Look:
    """No new look begins here: its frames go to the look before it. Returns that look.

    Raises:
        BadInput: it is the first.
    """
    require(by, Act.RUN, look.sitting, _("Looks are the photographer's to arrange."))
    before = look_before(look)
    if before is None:
        raise BadInput(_("“%s” is the first look; there is none before it to join.") % look.title)
    looks.merge(look, before, by)
    return before
