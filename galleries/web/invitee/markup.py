"""One frame of the sheet as HTML. A sheet holds a thousand of them, and a template takes ten times as long."""

from __future__ import annotations

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

from galleries.web.invitee.showing import Shown
from galleries.web.invitee.words import label_of

KINDS = ("pick", "alternate", "strike")


def frame_item(shown: Shown, words: dict[str, str], side: str | None, *, marking: bool, eager: bool) -> SafeString:
    """A list item: edge number, picture with the marks drawn over it, and the three buttons where one may mark."""
    theirs = [(who.role, kind, who.name) for who, kind in shown.theirs]
    label, noted = shown.frame.label, bool(shown.mine and shown.mine.note)
    drawn = format_html_join("", '<i class="drawn {} {}"></i>', shown.drawn(side).items())
    return format_html(
        '<li class="frame" id="f{pk}" data-frame="{pk}" data-kind="{kind}"{noted}>'
        '<span class="edge"><span class="no">{label}</span></span>'
        '<a class="open" href="{large}" aria-label="{said}">'
        '<img src="{small}" width="{width}" height="{height}" alt=""{lazy}>{drawn}</a>{suggested}{buttons}</li>',
        pk=shown.frame.pk,
        kind=shown.kind,
        noted=mark_safe(" data-noted") if noted else "",  # our own words  # nosec B308
        label=label,
        large=shown.large,
        said=label_of(
            words, label, shown.look, shown.kind, theirs, noted=noted, alike=shown.alike, suggested=shown.suggested
        ),
        small=shown.small,
        width=shown.proof.small_width,
        height=shown.proof.small_height,
        lazy="" if eager else mark_safe(' loading="lazy"'),  # our own words  # nosec B308
        drawn=drawn,
        suggested=format_html('<span class="suggested typed">{}</span>', words["suggested"]) if shown.suggested else "",
        buttons=_buttons(shown, words) if marking else "",
    )


def _buttons(shown: Shown, words: dict[str, str]) -> SafeString:
    return format_html(
        '<span class="marking">{}</span>',
        format_html_join(
            "",
            '<button name="mark" value="{}:{}" class="m {}" aria-pressed="{}" aria-label="{}"></button>',
            (
                (
                    shown.frame.pk,
                    kind,
                    kind,
                    "true" if shown.kind == kind else "false",
                    words[f"press_{kind}"].format(label=shown.frame.label),
                )
                for kind in KINDS
            ),
        ),
    )
