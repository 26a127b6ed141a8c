"""One frame of the studio's lists as HTML: its picture with both marks drawn over it, who said what, whether it is on
the list. Lists hold thousands of them; a template takes thirty times as long."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from html import escape

from django.template.defaultfilters import capfirst
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from galleries.steps.agreeing.agree import Line
from galleries.web.addresses import view_picture

EAGER = 6  # pictures of a section's first screen


@dataclass(frozen=True)
class Words:
    """What the rows say, asked of the catalogue once. `voices` keep what rows of this page have in common, as it is
    written: the drawn marks, and who said what."""

    frame: str
    letters: dict[str, str]
    marks: dict[str, str]
    on_list: str
    alone: str
    voices: dict[tuple[str, int | None, str, int | None], tuple[str, str]] = field(default_factory=dict)

    @classmethod
    def here(cls) -> Words:
        return cls(
            escape(_("frame %(label)s")),
            {
                "subject": escape(pgettext("letter of the subject", "S")),
                "representation": escape(pgettext("letter of the representation", "R")),
            },
            {"pick": escape(_("pick")), "alternate": escape(_("alternate")), "strike": escape(_("strike"))},
            escape(_("on the list")),
            _("%(who)s, for the studio alone"),
        )


@dataclass(frozen=True)
class Row:
    """One line of the lists; `size` is of its small picture, None while there is none."""

    line: Line
    size: tuple[int, int] | None
    chosen: bool
    reasons: Sequence[str]


def items(rows: Iterable[Row], words: Words, *, is_open: bool) -> SafeString:
    """The list items of one section."""
    written = "\n".join([_item(row, words, place, is_open=is_open) for place, row in enumerate(rows, 1)])
    return mark_safe(written)  # every word in it was escaped below  # noqa: S308  # nosec B308 B703


def _item(row: Row, words: Words, place: int, *, is_open: bool) -> str:
    """`place` in its section, from 1."""
    line, frame = row.line, row.line.frame
    pk, label = frame.pk, escape(frame.label)
    drawn, voices = _voices(line, words)
    picture = _picture(row.size, words, pk, label, drawn, eager=place <= EAGER) if row.size else ""
    look = f' <span class="quiet">{escape(frame.look.title)}</span>' if frame.look else ""
    reasons = notes = alone = box = ""
    if row.reasons:
        reasons = f'<p class="small quiet">{escape(capfirst("; ".join(row.reasons)))}</p>'
    if line.notes:
        notes = "".join(f'<p class="small"><b>{escape(who)}</b>: {escape(note)}</p>' for who, note in line.notes)
    if line.for_studio:
        alone = "".join(
            f'<p class="small"><b>{escape(words.alone % {"who": who})}</b>: {escape(note)}</p>'
            for who, note in line.for_studio
        )
    if is_open:
        box = (
            f'<label class="check small"><input type="checkbox" name="frame" value="{pk}"'
            f"{' checked' if row.chosen else ''}>"
            f' <span>{words.on_list}<span class="unseen"> – {label}</span></span></label>'
        )
    return (
        f'<li><div class="frame both">{picture}<div class="beside-it"><div class="edge typed"><b>{label}</b>'
        f"{voices}{look}</div>{reasons}{notes}{alone}{box}</div></div></li>"
    )


def _picture(size: tuple[int, int], words: Words, pk: int, label: str, drawn: str, *, eager: bool) -> str:
    """`label` and `drawn` as they are written."""
    width, height = size
    lazy = "" if eager else ' loading="lazy"'
    return (
        f'<a class="pictured" href="{view_picture(pk)}" data-large="{pk}" data-label="{label}">'
        f'<img src="{view_picture(pk, as_on_desk=True)}" width="{width}" height="{height}"'
        f' alt="{words.frame % {"label": label}}"{lazy}>{drawn}</a>'
    )


def _voices(line: Line, words: Words) -> tuple[str, str]:
    """(the marks drawn over the picture, who said what)."""
    key = (line.subject, line.place_subject, line.representation, line.place_representation)
    if (written := words.voices.get(key)) is None:
        sides = [
            (side, mark, place) for side, mark, place in (("subject", *key[:2]), ("representation", *key[2:])) if mark
        ]
        written = words.voices[key] = (
            "".join(f'<span class="drawn {side} {escape(mark)}"></span>' for side, mark, _place in sides),
            "".join(_voice(side, mark, place, words) for side, mark, place in sides),
        )
    return written


def _voice(side: str, mark: str, ranked: int | None, words: Words) -> str:
    place = f" ({ranked}.)" if ranked else ""
    return f' <span class="said-mark {side}">{words.letters[side]} {words.marks.get(mark, "")}{place}</span>'
