"""The program's proposal of a list: what the optimiser is told of each marked frame."""

from __future__ import annotations

from galleries.models import Sitting
from galleries.sorting import shortlist
from galleries.sorting.expression import Place
from galleries.sorting.shortlist import Candidate, Proposal
from galleries.steps.agreeing.agree import Tally
from galleries.steps.sorting.readings import Readings, readings_of

_NOWHERE = Place()


def propose(tally: Tally, sitting: Sitting, readings: Readings | None = None) -> Proposal:
    """The best list within the sitting's allowance, of the frames in the tally; `readings`: if asked for already."""
    return shortlist.propose(candidates(tally, readings or readings_of(sitting)), sitting.allowance)


def candidates(tally: Tally, readings: Readings) -> list[Candidate]:
    """The marked frames as the optimiser wants them."""
    out = []
    for line in tally.lines:
        frame = line.frame
        place = readings.places.get(frame.pk, _NOWHERE)
        out.append(
            Candidate(
                frame.pk,
                line.subject,
                line.representation,
                line.place_subject,
                line.place_representation,
                frame.look_id,
                frame.look.purpose if frame.look else "",
                frame.run,
                readings.of(frame.pk).differences,
                place.smile_band,
                place.intensity_band,
            )
        )
    return out
