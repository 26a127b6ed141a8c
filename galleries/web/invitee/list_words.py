"""What the page 'as casting sees it' says of one frame, out of the numbers. It tells, and judges nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from django.utils.formats import number_format
from django.utils.translation import gettext as _

from galleries.imaging.comparing.list_size import SEEN, WIDTHS, Carried
from galleries.steps.picking.list_size import Pair

EDGELESS = 1.5  # contrast of backdrop and page under which a picture has hardly an edge; common practice, no source


def carried_lines(told: Carried | None, *, read: bool) -> list[str]:
    """Share of the face, its contrast against the backdrop, the backdrop's against the page."""
    if told is None:
        return [_("No face was read in this frame.") if read else _("Not read yet.")]
    lines = [
        _(
            "Head %(head)s %% of the height, face %(face)s %% of the picture; "
            "at %(width)s px the eyes lie %(eyes)s px apart."
        )
        % {
            "head": round(100 * told.head_share),
            "face": round(100 * told.face_share),
            "width": WIDTHS[0],
            "eyes": number_format(told.eyes_share * WIDTHS[0], 1),
        }
    ]
    if told.face_to_backdrop is None:
        lines.append(_("How the face stands against the backdrop is not known."))
    else:
        stands = (
            _("Face against backdrop %(ratio)s : 1, colour difference %(colour)s: it stands out.")
            if told.face_to_backdrop >= SEEN
            else _(
                "Face against backdrop %(ratio)s : 1, colour difference %(colour)s: hair and collar draw the outline."
            )
        )
        colour = number_format(told.face_from_backdrop or 0, 0)
        lines.append(stands % {"ratio": number_format(told.face_to_backdrop, 1), "colour": colour})
    for ratio, sentence in (
        (told.backdrop_to_white, _("On a white page the picture has hardly an edge (%s : 1).")),
        (told.backdrop_to_dark, _("On a dark page the picture has hardly an edge (%s : 1).")),
    ):
        if ratio is not None and ratio < EDGELESS:
            lines.append(sentence % number_format(ratio, 1))
    return lines


def nearest_line(frame: int, pairs: Sequence[Pair], labels: Mapping[int, str], many: int) -> str:
    """Which of the other picks looks most like this one at 64 px; '' when there is no other."""
    mine = [pair for pair in pairs if frame in (pair.one, pair.other)]
    if not mine:
        return _("How different it is from the others is not measured yet.") if many > 1 else ""
    nearest = min(mine, key=lambda pair: pair.difference.colour)
    other = nearest.other if nearest.one == frame else nearest.one
    words = (
        _("Hard to tell from %(other)s (difference %(colour)s, likeness %(likeness)s).")
        if nearest.difference.alike
        else _("Nearest: %(other)s (difference %(colour)s, likeness %(likeness)s).")
    )
    return words % {
        "other": labels[other],
        "colour": number_format(nearest.difference.colour, 1),
        "likeness": number_format(nearest.difference.likeness, 2),
    }
