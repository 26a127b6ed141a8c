"""One frame of the sheet as HTML. A sheet holds a thousand of them, and its first picture waits for them all: Django's
own `format_html` takes four times as long, a template longer still."""

from __future__ import annotations

from html import escape

from django.utils.safestring import SafeString, mark_safe

from galleries.web.invitee.showing import Shown
from galleries.web.invitee.words import label_of

FIRST, EAGER = 2, 6  # pictures of a phone's first row, and of its first screen
KINDS = ("pick", "alternate", "strike")


def frame_item(shown: Shown, words: dict[str, str], side: str | None, *, marking: bool, place: int) -> SafeString:
    """A list item: edge number, picture with the marks drawn over it, and the three buttons where one may mark.

    `place` on the sheet, from 0: the first row's pictures are asked for before the scripts are, the first screen's with
    them, and the others when their cell comes near.
    """
    theirs = [(who.role, kind, who.name) for who, kind in shown.theirs]
    pk, label, noted = shown.frame.pk, shown.frame.label, bool(shown.mine and shown.mine.note)
    heard = label_of(
        words, label, shown.look, shown.kind, theirs, noted=noted, alike=shown.alike, suggested=shown.suggested
    )
    parts = [
        f'<li class="frame" id="f{pk:d}" data-kind="{escape(shown.kind)}"',
        " data-noted>" if noted else ">",
        f'<span class="edge"><span class="no">{escape(label)}</span></span>',
        f'<a class="open" href="{escape(shown.large)}" aria-label="{escape(heard)}"><img src="{escape(shown.small)}"',
        f' width="{shown.proof.small_width:d}" height="{shown.proof.small_height:d}" alt=""',
        ' fetchpriority="high">' if place < FIRST else ">" if place < EAGER else ' loading="lazy">',
        *(f'<i class="drawn {escape(role)} {escape(kind)}"></i>' for role, kind in shown.drawn(side).items()),
        "</a>",
        f'<span class="suggested typed">{escape(words["suggested"])}</span>' if shown.suggested else "",
        _buttons(pk, label, shown.kind, words) if marking else "",
        "</li>",
    ]
    # Numbers, our own words, and what `escape` went over.
    return mark_safe("".join(parts))  # noqa: S308  # nosec B308 B703


def _buttons(pk: int, label: str, mine: str, words: dict[str, str]) -> str:
    buttons = (
        f'<button name="mark" value="{pk:d}:{kind}" class="m {kind}" aria-pressed="{str(mine == kind).lower()}"'
        f' aria-label="{escape(words[f"press_{kind}"].format(label=label))}"></button>'
        for kind in KINDS
    )
    return f'<span class="marking">{"".join(buttons)}</span>'
