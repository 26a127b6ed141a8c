"""One frame of both lists as HTML: its picture, both voices, what was said of it, whether it is on the list. Lists
hold thousands of them; a template takes thirty times as long."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from html import escape

from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from galleries.models import Look, Remark
from galleries.steps.agreeing.agree import Line
from galleries.web.addresses import proof_picture
from galleries.web.invitee.sheet_rows import SmallProof


@dataclass(slots=True)
class Row:
    """One line of the lists, as the page shows it."""

    line: Line
    proof: SmallProof | None
    reasons: list[str] = field(default_factory=list)
    chosen: bool = False
    remarks: list[Remark] = field(default_factory=list)


@dataclass(frozen=True)
class Words:
    """What the rows say, asked of the catalogue once; `sheet` is the address of the sheet. `voices` and `looks` keep
    what the rows of this page have in common, as it is written."""

    sheet: str
    large: str
    place: str
    on_list: str
    subject: str
    representation: str
    marks: dict[str, str]
    purposes: dict[str, str]
    voices: dict[tuple[str, int | None, str, int | None], str] = field(default_factory=dict)
    looks: dict[int | None, str] = field(default_factory=dict)

    @classmethod
    def here(cls, sheet: str) -> Words:
        return cls(
            escape(sheet),
            escape(_("Frame %(label)s, large")),
            _("place %(n)s"),
            escape(_("on the list")),
            escape(_("Subject:")),
            escape(_("Representation:")),
            {"pick": escape(_("pick")), "alternate": escape(_("alternate")), "strike": escape(_("strike"))},
            {purpose.value: escape(str(purpose.label)) for purpose in Look.Purpose},
        )


def pairs(rows: Iterable[Row], words: Words, *, open_now: bool) -> SafeString:
    """The list items; what is ticked stands on the list that is proposed."""
    items = "\n".join([_pair(row, words, open_now=open_now) for row in rows])
    return mark_safe(items)  # every word in it was escaped below  # noqa: S308  # nosec B308 B703


def _pair(row: Row, words: Words, *, open_now: bool) -> str:
    line, frame = row.line, row.line.frame
    pk, label = frame.pk, escape(frame.label)
    picture = (
        f'<a class="picture" href="{words.sheet}#frame-{pk}" aria-label="{words.large % {"label": label}}">'
        f"{_image(pk, row.proof)}</a>"
        if row.proof
        else ""
    )
    notes = remarks = reasons = box = ""
    if line.notes:
        notes = "".join(
            f'<p class="small quoted"><cite>{escape(who)}:</cite> {escape(note)}</p>' for who, note in line.notes
        )
    if row.remarks:
        remarks = "".join(
            f'<p class="small quoted"><cite>{escape(one.who)}</cite>: {escape(one.text)}</p>' for one in row.remarks
        )
    if open_now:
        if row.reasons:
            reasons = f'<p class="small quiet">{escape("; ".join(row.reasons))}</p>'
        box = (
            f'<label class="check"><input type="checkbox" name="frame" value="{pk}"{" checked" if row.chosen else ""}>'
            f' <span>{words.on_list}<span class="unseen"> {label}</span></span></label>'
        )
    return (
        f'<li class="pair">{picture}<div class="what"><p><strong class="typed">{label}</strong>'
        f' {_of_look(frame.look, words)}</p><p class="small sides">{_voices(line, words)}</p>'
        f"{notes}{remarks}{reasons}{box}</div></li>"
    )


def tray(rows: Iterable[Row]) -> SafeString:
    """The small pictures under the lists, of which those on the list are shown."""
    items = [
        f'<li data-frame="{row.line.frame.pk}"{"" if row.chosen else " hidden"}>'
        f"{_image(row.line.frame.pk, row.proof) if row.proof else ''}"
        f'<span class="typed">{escape(row.line.frame.label)}</span></li>'
        for row in rows
    ]
    return mark_safe("\n".join(items))  # as above  # noqa: S308  # nosec B308 B703


def _image(frame: int, proof: SmallProof) -> str:
    address = proof_picture(frame, "small", proof.pk)  # of numbers alone
    return f'<img src="{address}" width="{proof.small_width}" height="{proof.small_height}" alt="" loading="lazy">'


def _of_look(look: Look | None, words: Words) -> str:
    if look is None:
        return ""
    if (written := words.looks.get(look.pk)) is None:
        written = f'{escape(look.title)} <span class="quiet small">{words.purposes[look.purpose]}</span>'
        words.looks[look.pk] = written
    return written


def _voices(line: Line, words: Words) -> str:
    key = (line.subject, line.place_subject, line.representation, line.place_representation)
    if (written := words.voices.get(key)) is None:
        written = words.voices[key] = _voice(
            "subject", "S", words.subject, line.subject, line.place_subject, words
        ) + _voice("representation", "R", words.representation, line.representation, line.place_representation, words)
    return written


def _voice(side: str, letter: str, name: str, mark: str, place: int | None, words: Words) -> str:
    ranked = f", {escape(words.place % {'n': place})}" if place else ""
    return (
        f'<span class="side {side}"><b aria-hidden="true">{letter}</b> <span class="unseen">{name}</span>'
        f" {words.marks.get(mark, '–')}{ranked}</span> "
    )
