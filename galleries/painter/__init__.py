"""Invented people painted for the demo and for the truth of tests.

`plan_sitting(seed)` plans; `paint_frame(plan, frame, long_side)` paints one frame; `write_frame` makes the
camera's file of it; `paint_sitting(folder, seed, long_side)` does a whole sitting, cached; `retouch` makes an
editor's version of a file. Nothing here depends on a framework, a clock or the network.
"""

from .camera import write_frame
from .picture import Truth, paint_frame, truth_of
from .plan import PlannedFrame, PlannedLook, SittingPlan, plan_sitting
from .retouch import retouch, retouched_name
from .sitting import PAINTER_VERSION, PaintedSitting, paint_sitting, sitting_folder

__all__ = [
    "PAINTER_VERSION",
    "PaintedSitting",
    "PlannedFrame",
    "PlannedLook",
    "SittingPlan",
    "Truth",
    "paint_frame",
    "paint_sitting",
    "plan_sitting",
    "retouch",
    "retouched_name",
    "sitting_folder",
    "truth_of",
    "write_frame",
]
