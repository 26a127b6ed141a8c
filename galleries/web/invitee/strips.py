"""The looks of the sheet as HTML: caption and frames. A caption is the same for whoever sees as much of it, and is kept
by all that it says."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from typing import Any

from django.template.loader import render_to_string
from django.utils.safestring import SafeString, mark_safe

from galleries.models import Look
from galleries.web.invitee.markup import frame_item
from galleries.web.invitee.showing import Strip

OF_LOOK = (
    *("pk", "title", "purpose", "casting_kind", "treatment", "wardrobe", "backdrop", "key_light", "gel"),
    "kept_from_representation",
)
ITEMS = "\0items\0"  # no text that a database keeps has such a sign in it


def sections(
    strips: list[Strip], language: str, side: str | None, *, slug: str, person: bool, marking: bool, choosing: bool
) -> Iterator[SafeString]:
    """Look by look. `side`: whose own marks the buttons answer for; `person`: somebody invited is looking; `choosing`:
    whether they keep looks from the representation."""
    first = 0
    for place, strip in enumerate(strips, 1):
        look = tuple(getattr(strip.look, name) for name in OF_LOOK) if strip.look is not None else None
        before, after = _around(
            language, slug, place, strip.shape, strip.cell, strip.number, len(strip.frames), strip.picked, look,
            person, choosing,
        )  # fmt: skip
        items = [
            frame_item(one, language, side, marking=marking, place=first + n) for n, one in enumerate(strip.frames)
        ]
        first += len(items)
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
) -> tuple[str, str]:
    """What stands before the frames, and behind them; the active language is `language`."""
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
        "items": ITEMS,
    }
    before, _items, after = render_to_string("galleries/invitee/_strip.html", values).partition(ITEMS)
    return before, after
