"""The looks of the sheet as HTML: caption and frames. A caption is the same for whoever sees as much of it, and is kept
by all that it says.

Of a long sheet only the first frames are written as cells; the scripts make the others of what they are told of every
frame (`js/invitee/films.js`), before anybody sees their place. Whoever runs no scripts gets the whole sheet."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import lru_cache
from typing import Any

from django.template.loader import render_to_string
from django.utils.safestring import SafeString, mark_safe

from galleries.models import Look
from galleries.web.invitee.markup import frame_item, rest_item
from galleries.web.invitee.sheet_rows import OF_LOOK
from galleries.web.invitee.shown import Strip

FIRST_CELLS = 36  # as many as a screen of 1,920 × 1,080 px shows, four of a phone
FEWEST = 24  # no place is kept for fewer: the next film then begins below any screen, and nothing seen moves
ITEMS = "\0items\0"  # no text that a database keeps has such a sign in it


def cells_of(frames: Iterable[int], *, whole: bool) -> list[int]:
    """How many frames of each strip, of which it has so many, are written as cells, from its first."""
    cells: list[int] = []
    left = FIRST_CELLS
    for many in frames:
        cells.append(many if whole or many - left < (FEWEST if left else 1) else left)
        left = max(0, left - many)
    return cells


def sections(
    strips: list[Strip],
    cells: list[int],
    language: str,
    side: str | None,
    *,
    slug: str,
    person: bool,
    marking: bool,
    choosing: bool,
    whole_address: str,
) -> Iterator[SafeString]:
    """Look by look. `cells`: as `cells_of` says; `side`: whose own marks the buttons answer for; `person`: somebody
    invited is looking; `choosing`: whether they keep looks from the representation; `whole_address`: of this sheet
    with all its cells."""
    first, later = 0, False
    for place, (strip, many) in enumerate(zip(strips, cells, strict=True), 1):
        film = strip.film
        look = tuple(getattr(film.look, name) for name in OF_LOOK) if film.look is not None else None
        before, after = _around(
            language, slug, place, film.shape, film.cell, film.number, strip.many, strip.picked, look,
            person, choosing, later and many < strip.many,
        )  # fmt: skip
        items = [
            frame_item(one, language, side, marking=marking, place=first + n) for n, one in enumerate(strip.first(many))
        ]
        first += len(items)
        if many < strip.many:
            later = True
            items.append(rest_item(language, f"{whole_address}#strip-{place}"))
        yield mark_safe(before + "\n".join(items) + after)  # a template's, and `frame_item`'s  # noqa: S308  # nosec


@lru_cache(maxsize=512)
def _around(
    language: str,
    slug: str,
    place: int,
    shape: str,
    cell: str,
    number: int | None,
    frames: int,
    picked: int,
    look: tuple[Any, ...] | None,
    person: bool,
    may_choose_looks: bool,
    later: bool,
) -> tuple[str, str]:
    """What stands before the frames, and behind them; the active language is `language`. `later`: it
    stands below one that is not all there, and is not there itself before the scripts are."""
    values = {
        "slug": slug,
        "place": place,
        "shape": shape,
        "cell": cell,
        "number": number,
        "frames": frames,
        "picked": picked,
        "look": Look(**dict(zip(OF_LOOK, look, strict=True))) if look is not None else None,
        "person": person,
        "may_choose_looks": may_choose_looks,
        "later": later,
        "items": ITEMS,
    }
    before, _items, after = render_to_string("galleries/invitee/_strip.html", values).partition(ITEMS)
    return before, after
