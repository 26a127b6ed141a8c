"""The studio itself: its data, and what follows when the name in the stamp changes."""

from __future__ import annotations

from django.db import transaction
from django.utils.translation import gettext as _

from galleries.access import Act, Visitor, require
from galleries.models import Studio
from galleries.steps import derived, jobs


def change(studio: Studio, by: Visitor) -> None:
    """Keep the studio's data as they stand in `studio`. A new name stamps every proof anew, by a job of its own.

    Raises:
        Refused: not this person's to change.
    """
    require(by, Act.RUN_STUDIO, studio, _("The studio's data are the studio's to change."))
    with transaction.atomic():
        before = Studio.objects.select_for_update().filter(pk=studio.pk).first()
        studio.save()
        if before is not None and before.name != studio.name:
            jobs.enqueue("restamp", studio.pk, None, recipe=derived.stamp_recipe(), again=True)
