"""The program's proposal of a list: what the optimiser is told of each marked frame."""

from __future__ import annotations

import math
from collections.abc import Mapping

from galleries.models import Frame, Sitting
from galleries.sorting import shortlist
from galleries.sorting.expression import Place
from galleries.sorting.shortlist import Candidate, Proposal
from galleries.steps.agreeing.agree import Tally
from galleries.steps.sorting import ranges


def propose(tally: Tally, sitting: Sitting, places: Mapping[int, Place] | None = None) -> Proposal:
    """The best list within the sitting's allowance, of the frames in the tally; `places`: if read already."""
    told = ranges.places_of(sitting) if places is None else places
    return shortlist.propose(candidates(tally, told), sitting.allowance)


def candidates(tally: Tally, places: Mapping[int, Place] | None = None) -> list[Candidate]:
    """The marked frames as the optimiser wants them; `places`: where each stands in the sitting's range."""
    told = places or {}
    return [
        Candidate(
            line.frame.pk,
            line.subject,
            line.representation,
            line.place_subject,
            line.place_representation,
            line.frame.look_id,
            line.frame.look.purpose if line.frame.look else "",
            line.frame.run,
            expression(line.frame),
            told.get(line.frame.pk, Place()).smile_band,
            told.get(line.frame.pk, Place()).intensity_band,
        )
        for line in tally.lines
    ]


def expression(frame: Frame) -> tuple[float, ...]:
    """Lids, turn, tilt, and how far the mouth lies from the eyes, each in plain differences; () when unknown.

    From the stored reading as it is: thousands of whole faces took a tenth of the page of lists.
    """
    face = frame.read.get("face")
    if not face:
        return ()
    (right_x, right_y), (left_x, left_y) = face["right_eye"], face["left_eye"]
    eye_distance = math.hypot(left_x - right_x, left_y - right_y)
    if not eye_distance:
        return ()
    lids = [value for side in ("right", "left") if (value := face[f"{side}_openness"]) is not None]
    mouth = (face["mouth"][1] - (right_y + left_y) / 2) / eye_distance
    return (
        (sum(lids) / len(lids) if lids else 0.28) / 0.08,
        face["yaw_hint"] / 0.25,
        face["roll_deg"] / 8,
        mouth / 0.12,
    )
