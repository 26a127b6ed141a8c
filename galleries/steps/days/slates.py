"""The worker looks at each frame of a day's cards for a slate, and makes its picture for the day's page meanwhile."""

from __future__ import annotations

from galleries import stages, storage
from galleries.imaging.contained import door
from galleries.models import DayFrame, Frame
from galleries.steps import derived
from galleries.steps.limits import limits


def look_at(frame_id: int) -> None:
    """The job. Again is harmless.

    Raises:
        ImagingError: the original cannot be decoded; the sentence goes into the job's row.
    """
    frame = Frame.objects.select_related("sitting").filter(pk=frame_id).first()
    if frame is None or not frame.sitting.is_holding:
        return  # removed, or in its sitting already
    with storage.at_hand(storage.private(), frame.key) as path:
        view = door.look_for_slate(path, derived.DESK_SIDE, limits())
    derived.view_place(frame.sitting, frame.sha256, derived.DESK_SIDE).kept(lambda: view.plain)
    seen = view.seen
    DayFrame.objects.update_or_create(frame=frame, defaults={"sight": str(seen.sight), "code": seen.code[:24]})
    stages.touch(frame.sitting)
