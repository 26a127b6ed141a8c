"""One frame of the sheet as HTML. A sheet holds a thousand of them, and its first picture waits for them all: Django's
own `format_html` takes four times as long, a template longer still. What a frame's cell says whoever looks is kept."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from html import escape
from itertools import islice
from typing import NamedTuple

from django.templatetags.static import static
from django.utils.safestring import SafeString

from galleries.web.addresses import proof_picture
from galleries.web.invitee.shown import Shown
from galleries.web.invitee.words import words_in

STYLES = ("base", "sheet")  # of the sheet's page, without which nothing of it is drawn
FIRST, EAGER = 2, 6  # pictures of a phone's first row, and of its first screen
KINDS = ("pick", "alternate", "strike")
PRESSED = {True: "true", False: "false"}


class Cell(NamedTuple):
    """What a cell of the sheet says of its frame whoever looks: HTML between which marks are written, and the buttons
    as they stand around the three words that say whether each is pressed."""

    edge: str  # the list item's beginning is written before it: marks are told there too
    spoken: str
    spoken_after: str
    picture: str
    after: str
    buttons: tuple[str, str, str, str]


@lru_cache(maxsize=4096)
def _cell(
    language: str,
    pk: int,
    label: str,
    look: int | None,
    proof: int,
    size: tuple[int, int],
    haste: str,
    alike: int,
    suggested: bool,
    marking: bool,
) -> Cell:
    """Kept by all that it is made of: what is asked for with other values, or in another language, is another cell.
    Nothing of a person is in it."""
    words = words_in(language)
    width, height = size
    large, small = proof_picture(pk, "large", proof), proof_picture(pk, "small", proof)
    after = [words["run"].format(n=alike)] if alike > 1 else []
    after += [words["suggested"]] if suggested else []
    starts = [f'<button name="mark" value="{pk:d}:{kind}" class="m {kind}" aria-pressed="' for kind in KINDS]
    ends = [f'" aria-label="{escape(words[f"press_{kind}"].format(label=label))}"></button>' for kind in KINDS]
    buttons = (f'<span class="marking">{starts[0]}', ends[0] + starts[1], ends[1] + starts[2], f"{ends[2]}</span>")
    return Cell(
        f'<span class="edge"><span class="no">{escape(label)}</span></span>'
        f'<a class="open" href="{escape(large)}" aria-label="',
        escape(f"{words['frame'].format(label=label)}, {words['look'].format(n=look) if look else words['no_look']}"),
        escape("".join(f", {word}" for word in after)),
        f'"><img src="{escape(small)}" width="{width:d}" height="{height:d}" alt=""{haste}>',
        f'<span class="suggested typed">{escape(words["suggested"])}</span>' if suggested else "",
        buttons if marking else ("", "", "", ""),
    )


@lru_cache(maxsize=64)
def _drawn(role: str, kind: str) -> str:
    return f'<i class="drawn {escape(role)} {escape(kind)}"></i>'


@lru_cache(maxsize=2048)
def _mark_words(language: str, key: str, who: str) -> str:
    return escape(f", {words_in(language)[key].format(who=who)}")


def rest_item(language: str, address: str) -> SafeString:
    """The place of a film's frames that the scripts make. Should those never come, a way to all of them is seen in
    it."""
    sentence = escape(words_in(language)["all_frames"])
    return SafeString(f'<li class="rest"><a class="tap" href="{escape(address)}">{sentence}</a></li>')  # nosec B703


def asked_first(shown: Iterable[Shown]) -> str:
    """The Link header (RFC 8288) by which what the first paint waits for is asked for before the page is read: the
    styles, then the pictures of the first row."""
    styles = [f"<{static(f'galleries/css/{name}.css')}>; rel=preload; as=style" for name in STYLES]
    firsts = [proof_picture(one.frame.pk, "small", one.proof.pk) for one in islice(shown, FIRST)]
    return ", ".join(styles + [f"<{address}>; rel=preload; as=image; fetchpriority=high" for address in firsts])


def frame_item(shown: Shown, language: str, side: str | None, *, marking: bool, place: int) -> SafeString:
    """A list item: edge number, picture with the marks drawn over it, and the three buttons where one may mark.

    `place` on the sheet, from 0: the first row's pictures are asked for before the scripts are, the first screen's with
    them, and the others when their cell comes near.
    """
    frame, proof, kind = shown.frame, shown.proof, shown.kind
    haste = ' fetchpriority="high"' if place < FIRST else "" if place < EAGER else ' loading="lazy"'
    cell = _cell(
        language, frame.pk, frame.label, shown.look, proof.pk, (proof.small_width, proof.small_height), haste,
        shown.alike, shown.suggested, marking,
    )  # fmt: skip
    noted = shown.mine is not None and shown.mine.note != ""
    marks = [_mark_words(language, f"my_{kind}", "")] if kind else []
    for who, theirs in shown.theirs:
        key = f"{who.role}_pick" if theirs == "pick" else f"their_{theirs}"
        marks.append(_mark_words(language, key, who.name))
    if not marks:
        marks.append(_mark_words(language, "no_mark", ""))
    if noted:
        marks.append(_mark_words(language, "noted", ""))
    drawn = "".join([_drawn(role, one) for role, one in shown.drawn(side).items()]) if kind or shown.theirs else ""
    pick, alternate, strike, end = cell.buttons
    pressed = [PRESSED[kind == one] for one in KINDS]
    buttons = f"{pick}{pressed[0]}{alternate}{pressed[1]}{strike}{pressed[2]}{end}" if marking else ""
    # Numbers, our own words, and what `escape` went over; by itself, for `mark_safe` costs a twelfth of the sheet.
    return SafeString(  # nosec B703
        f'<li class="frame" id="f{frame.pk:d}" data-kind="{escape(kind) if kind else ""}"'
        f"{' data-noted' if noted else ''}>{cell.edge}{cell.spoken}{''.join(marks)}{cell.spoken_after}"
        f"{cell.picture}{drawn}</a>{cell.after}{buttons}</li>"
    )
