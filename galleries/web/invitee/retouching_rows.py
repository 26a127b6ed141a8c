"""The finals as a retoucher sees them: their state, brief, notes, files and the versions they sent in themselves.

A note's author is told by role, never by name; of versions that others made there is no more than that one is there,
and, of the last one, what was to be different when it was sent back: that is what the next one is made by.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from galleries.models import Approval, Final, Invite, PinnedNote, Version
from galleries.steps.finishing.approvals import last_words
from galleries.steps.finishing.originals import Original, files_of

S = Final.State


@dataclass(frozen=True)
class Row:
    final: Final
    state: str
    to_do: bool
    notes: list[dict[str, Any]]
    returns: list[dict[str, Any]]
    files: list[Original]
    versions: list[dict[str, Any]]


def rows(finals: Sequence[Final], person: Invite | None) -> list[Row]:
    files = files_of(finals)
    return [_row(one, person, [file for file in files if file.final.pk == one.pk]) for one in finals]


def _row(final: Final, person: Invite | None, files: list[Original]) -> Row:
    versions = list(final.versions.all())
    newest = versions[-1] if versions else None
    own = [one for one in versions if person is None or one.invite_id == person.pk]
    notes = [_note(note, number) for number, note in enumerate(final.pinned_notes.all(), 1)]
    mine = newest is not None and newest in own
    waits = newest is not None and newest.sent_at is None
    return Row(
        final=final,
        state=_state(final, newest, mine=mine),
        to_do=final.state in {S.AGREED, S.RETURNED} and not waits,
        notes=notes,
        returns=_returns(versions, own),
        files=files,
        versions=[{"version": one, "notes": _on(notes, one)} for one in reversed(own)],
    )


def _state(final: Final, newest: Version | None, *, mine: bool) -> str:
    if final.state == S.AS_IT_IS:
        return _("goes out as it was taken; nothing to do")
    if newest is not None and newest.sent_at is None:
        number = {"n": newest.number}
        return _("your version %(n)d waits for the studio's look") % number if mine else _("the studio has a version")
    return {
        S.AGREED: _("waits for your version"),
        S.RETURNED: _("sent back: see what is to be different"),
        S.SHOWN: _("waits for the subject's word"),
        S.APPROVED: _("approved"),
    }[S(final.state)]


def _returns(versions: Sequence[Version], own: Sequence[Version]) -> list[dict[str, Any]]:
    """What each side wrote for the retoucher when it sent a version back, the latest first; nothing they took back
    since."""
    newest = next((one for one in reversed(versions) if one.sent_at is not None), None)
    return [
        {"on": version.number, "by": _side(word.invite), "text": word.note}
        for version in reversed(versions)
        if version in own or version == newest
        for word in last_words(version.approvals.all()).values()
        if word.decision == Approval.Decision.RETURNED and word.for_retoucher
    ]


def _side(person: Invite | None) -> str:
    return str(person.get_role_display()) if person else _("studio")


def _note(note: PinnedNote, number: int) -> dict[str, Any]:
    return {
        "note": note,
        "number": number,
        "by": _side(note.invite),
        "on": note.version.number if note.version else None,
        "where": _("%(x)s from the left, %(y)s from the top") % {"x": _percent(note.x), "y": _percent(note.y)},
        "place": [note.x, note.y, note.width, note.height],
    }


def _percent(part: float) -> str:
    return f"{round(100 * part)} %"


def _on(notes: list[dict[str, Any]], version: Version) -> list[dict[str, Any]]:
    return [one for one in notes if one["note"].version_id == version.pk]


def as_text(rows: Sequence[Row]) -> str:
    """What is wanted of each, to lie beside the files."""
    parts = []
    for row in rows:
        names = ", ".join(file.name for file in row.files)
        lines = [f"{row.final.frame.label} ({names})", row.state]
        if row.final.brief:
            lines += [_("What was asked for:"), row.final.brief]
        for one in row.returns:
            lines.append(f"{_('Version %(n)s was sent back') % {'n': one['on']}} ({one['by']}): {one['text']}")
        for one in row.notes:
            on = _("on version %(n)s") % {"n": one["on"]} if one["on"] else _("on the frame")
            done = f" ({_('done')})" if one["note"].done else ""
            lines.append(f"{one['number']}. {one['by']}, {on}, {one['where']}{done}: {one['note'].text}")
        parts.append("\n".join(lines))
    return "\n\n".join(parts) + "\n"
