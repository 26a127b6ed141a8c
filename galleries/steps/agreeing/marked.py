"""What the tally asks of a frame, as a tuple: whole rows of thousands took a third of the pages of lists."""

from __future__ import annotations

from typing import NamedTuple

from django.db.models import Exists, OuterRef

from galleries.models import Look, Mark, Sitting
from galleries.models.sittings import FrameSet, edge_label

_COLUMNS = ("pk", "look_id", "name", "number", "run", "kept_by_subject")


class MarkedFrame(NamedTuple):
    """A frame that somebody marked; `label` stands on its edge."""

    pk: int
    look_id: int | None
    name: str
    number: int | None
    run: int | None
    kept_by_subject: bool
    label: str
    look: Look | None

    @property
    def is_kept_back(self) -> bool:
        """As `Frame.is_kept_back`."""
        return self.kept_by_subject or (self.look is not None and self.look.kept_from_representation)


def frames(shown: FrameSet, sitting: Sitting) -> dict[int, MarkedFrame]:
    """By key, those of `shown` (the frames that somebody may see) with a mark, in the order taken."""
    looks = {look.pk: look for look in sitting.looks.all()}
    marked = shown.filter(Exists(Mark.objects.filter(frame=OuterRef("pk"))))
    rows = marked.order_by("captured_at", "name", "pk").values_list(*_COLUMNS)
    return {
        pk: MarkedFrame(pk, look, name, number, run, kept, edge_label(number, name), looks.get(look))
        for pk, look, name, number, run, kept in rows
    }
