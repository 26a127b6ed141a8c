"""What a side says of a frame when more than one person speaks for it: two agents, a minor and a parent.

The rule, in words (common practice, no source):
 * a mark that was taken back says nothing;
 * a pick of anybody on the side is the side's pick: one of them wants this frame, and the list is closed by people who
   see every single mark;
 * without a pick, a strike outweighs an alternate: nobody asks for the frame, and somebody asked not to be shown with
   it; a spare that one of the two refuses is no spare;
 * an alternate stands when nobody on the side said anything else.
The order in which they spoke, or arrived, changes nothing. Everybody's own marks are kept and shown beside it.
"""

from __future__ import annotations

from collections.abc import Iterable

PICK, ALTERNATE, STRIKE, NOTHING = "pick", "alternate", "strike", ""
_FIRST_HEARD = (PICK, STRIKE, ALTERNATE)


def says(kinds: Iterable[str]) -> str:
    """The side's word, from the marks of its people on one frame: pick, strike, alternate, or '' for nothing."""
    marks = set(kinds)
    return next((kind for kind in _FIRST_HEARD if kind in marks), NOTHING)


def place(voices: Iterable[tuple[str, int | None]]) -> int | None:
    """The side's place of one frame, from (mark, place) of each of its people; 1 is best, None when nobody ranks it.

    A place counts as long as the person still wants the frame: with a pick or an alternate of their own. Of two, the
    better one is the side's.
    """
    return min((at for kind, at in voices if at is not None and kind in {PICK, ALTERNATE}), default=None)
