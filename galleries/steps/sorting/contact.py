"""The contact sheet on paper: the frames of a sitting by look, stamped, with set-up notes and both people's marks."""

from __future__ import annotations

from typing import Any

from django.utils.translation import get_language
from django.utils.translation import gettext as _

from galleries import storage
from galleries.access import Act, Visitor, frames_shown_to, looks_shown_to, require
from galleries.errors import BadInput
from galleries.models import Frame, Invite, Look, Mark, Sitting
from galleries.papers.contact import SheetFrame, SheetLook, SheetMark, contact_sheet_pdf

PAGES = ("A4", "Letter")
SETUP = ("wardrobe", "backdrop", "key_light", "fill", "rim", "modifier", "distance_cm", "gel", "notes")
SIDES = {Invite.Role.SUBJECT: ("S", "solid"), Invite.Role.REPRESENTATION: ("R", "dashed")}


def contact_sheet(by: Visitor, sitting: Sitting, *, page: str = "A4", columns: int = 6) -> bytes:
    """A PDF of every frame that this person may see and that has a proof.

    Raises:
        BadInput: no such page, or no proof yet.
    """
    require(by, Act.SEE_SHEET, sitting)
    if page not in PAGES:
        raise BadInput(_("There is no page “%(page)s”; use %(pages)s.") % {"page": page, "pages": " / ".join(PAGES)})
    frames = frames_shown_to(by, sitting).unhidden().prefetch_related("proofs").order_by("captured_at", "pk")
    marks = _marks(sitting, by)
    by_look: dict[int | None, list[SheetFrame]] = {}
    for frame in frames:
        drawn = _drawn(frame, marks)
        if drawn is not None:
            by_look.setdefault(frame.look_id, []).append(drawn)
    looks = [
        SheetLook(look.title, tuple(setup_lines(look)), tuple(by_look.pop(look.pk)))
        for look in looks_shown_to(by, sitting)
        if look.pk in by_look
    ]
    if rest := by_look.get(None):
        looks.append(SheetLook(_("Not in a look yet"), (), tuple(rest)))
    if not looks:
        raise BadInput(_("There is no proof to print yet."))
    key = _("S = subject (solid line), R = representation (dashed line)")
    marks_ = _("○ pick   [ ] alternate   ╱ strike")
    return contact_sheet_pdf(
        sitting.title, looks, page=page, columns=columns, key=f"{marks_}   {key}", language=get_language() or "en"
    )


def setup_lines(look: Look) -> list[str]:
    """The set-up of a look in lines of 'what: how', for paper and screen."""
    lines = [f"{look.get_purpose_display()}, {look.get_treatment_display()}"]
    for name in SETUP:
        value: Any = getattr(look, name)
        if value in (None, ""):
            continue
        label = str(Look._meta.get_field(name).verbose_name)  # type: ignore[union-attr]
        shift = f" ({look.gel_mired:+d} mired)" if name == "gel" and look.gel_mired is not None else ""
        lines.append(f"{label[:1].upper()}{label[1:]}: {value}{shift}")
    return lines


def _marks(sitting: Sitting, by: Visitor) -> dict[int, list[SheetMark]]:
    """Both sides' marks for the photographer and the representation, their own for the subject."""
    roles = [by.invite.role] if by.invite is not None and by.invite.is_subject else list(SIDES)
    sides = Mark.objects.filter(frame__sitting=sitting).of_sides(roles).by_side()
    return {
        frame: [SheetMark(kind, *SIDES[Invite.Role(role)]) for role, kind in row.items()]  # type: ignore[arg-type]
        for frame, row in sides.items()
    }


def _drawn(frame: Frame, marks: dict[int, list[SheetMark]]) -> SheetFrame | None:
    proofs = sorted(frame.proofs.all(), key=lambda proof: -proof.pk)
    if not proofs:
        return None
    store, here = storage.proofs(), tuple(marks.get(frame.pk, ()))
    alternative = ", ".join([frame.label, *(f"{mark.letter}: {Mark.Kind(mark.kind).label}" for mark in here)])
    return SheetFrame(frame.label, storage.get(store, proofs[0].small_key), here, alternative)
