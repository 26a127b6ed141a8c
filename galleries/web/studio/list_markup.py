"""One frame of the studio's lists as HTML: its picture with both marks drawn over it, who said what, whether it is on
the list. Lists hold thousands of them; a template takes thirty times as long."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
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
    """What the rows say, asked of the catalogue once."""

    frame: str
    letters: dict[str, str]
    marks: dict[str, str]
    on_list: str
    alone: str

    @classmethod
    def here(cls) -> Words:
        return cls(
            _("frame %(label)s"),
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


def item(row: Row, words: Words, place: int, *, is_open: bool) -> SafeString:
    """A list item; `place` in its section, from 1."""
    line, frame = row.line, row.line.frame
    pk, label = frame.pk, escape(frame.label)
    sides = (
        ("subject", line.subject, line.place_subject),
        ("representation", line.representation, line.place_representation),
    )
    picture = _picture(row, words, pk, label, sides, eager=place <= EAGER) if row.size else ""
    voices = "".join(_voice(side, mark, ranked, words) for side, mark, ranked in sides if mark)
    look = f' <span class="quiet">{escape(frame.look.title)}</span>' if frame.look else ""
    reasons = f'<p class="small quiet">{escape(capfirst("; ".join(row.reasons)))}</p>' if row.reasons else ""
    notes = "".join(f'<p class="small"><b>{escape(who)}</b>: {escape(note)}</p>' for who, note in line.notes)
    alone = "".join(
        f'<p class="small"><b>{escape(words.alone % {"who": who})}</b>: {escape(note)}</p>'
        for who, note in line.for_studio
    )
    box = (
        f'<label class="check small"><input type="checkbox" name="frame" value="{pk}"'
        f"{' checked' if row.chosen else ''}>"
        f' <span>{words.on_list}<span class="unseen"> – {label}</span></span></label>'
        if is_open
        else ""
    )
    text = (
        f'<li><div class="frame both">{picture}<div class="beside-it"><div class="edge typed"><b>{label}</b>'
        f"{voices}{look}</div>{reasons}{notes}{alone}{box}</div></div></li>"
    )
    return mark_safe(text)  # every word in it was escaped above  # noqa: S308  # nosec B308 B703


def _picture(
    row: Row, words: Words, pk: int, label: str, sides: Sequence[tuple[str, str, int | None]], *, eager: bool
) -> str:
    width, height = row.size or (0, 0)
    drawn = "".join(f'<span class="drawn {side} {escape(mark)}"></span>' for side, mark, _place in sides if mark)
    lazy = "" if eager else ' loading="lazy"'
    return (
        f'<a class="pictured" href="{view_picture(pk)}" data-large="{pk}" data-label="{label}">'
        f'<img src="{view_picture(pk, as_on_desk=True)}" width="{width}" height="{height}"'
        f' alt="{escape(words.frame % {"label": row.line.frame.label})}"{lazy}>{drawn}</a>'
    )


def _voice(side: str, mark: str, ranked: int | None, words: Words) -> str:
    place = f" ({ranked}.)" if ranked else ""
    return f' <span class="said-mark {side}">{words.letters[side]} {words.marks.get(mark, "")}{place}</span>'
