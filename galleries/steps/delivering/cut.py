"""Crops: proposed per final and size from the face, corrected by hand, shown before anything is exported."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.db import transaction
from django.utils.translation import gettext as _

from galleries import stages, storage
from galleries.access import PROGRAM, Act, Visitor, require
from galleries.errors import BadInput
from galleries.imaging.contained import door
from galleries.imaging.drawing.border import insets, name_problem
from galleries.imaging.errors import ImagingError
from galleries.imaging.face.faces import Face
from galleries.imaging.face.reading import FrameReading
from galleries.imaging.framing import crops
from galleries.imaging.framing.cut_order import CutOrder
from galleries.imaging.framing.geometry import Ratio, Rect, turned_inside
from galleries.imaging.framing.same_trim import taken_over
from galleries.imaging.preview import SheetPicture
from galleries.models import Approval, Crop, DeliverySize, Final, JournalLine, Look, Sitting, Verb, Version
from galleries.steps import derived
from galleries.steps.delivering import sizes as sizes_
from galleries.steps.limits import limits
from galleries.told import told
from galleries.words.steps import Code
from galleries.words.told import sentence, sentences

PREVIEW_SIDE = 600
SHEET_SIDE = 280
MOST_TILT = 15.0


@dataclass(frozen=True)
class Source:
    """The picture a final is cut from: the newest approved version, else the camera's own file."""

    key: str
    width: int
    height: int
    sha256: str
    version: Version | None
    face: Face | None


def source_of(final: Final) -> Source:
    """What a final is cut from now. A version that nobody approved is never the source."""
    version = None if final.state == Final.State.AS_IT_IS else _approved(final)
    if version is not None:
        face = FrameReading.from_dict(version.reading).face if version.reading else None
        return Source(version.key, version.width, version.height, version.sha256, version, face)
    frame = final.frame
    face = FrameReading.from_dict(frame.read).face if frame.reading else None
    return Source(frame.key, frame.width, frame.height, frame.sha256, None, face)


def _approved(final: Final) -> Version | None:
    """The newest version, once the final is approved; before that the newest one with an approval and no return."""
    newest_first = list(final.versions.all())[::-1]  # a page with many finals has loaded them before
    if final.state == Final.State.APPROVED:
        return next((version for version in newest_first if version.sent_at is not None), None)
    for version in newest_first:
        words = {word.decision for word in version.approvals.all()}
        if words == {Approval.Decision.APPROVED.value}:
            return version
    return None


def ratio_of(size: DeliverySize) -> Ratio | None:
    return sizes_.spec(size).ratio


def shown(final: Final, wanted: Sequence[DeliverySize]) -> list[Crop]:
    """A crop per size, in the order given, to look at: nothing is written, and what is not kept yet is no row.

    What a person corrected is as they left it, unless the picture it was measured on has another size now; then it is
    carried over in proportion and said so. All else is the program's proposal from the picture that is cut now.
    """
    source = source_of(final)
    kept = {crop.size_id: crop for crop in final.crops.all()}
    return [_shown(final, size, kept.get(size.pk), source) for size in wanted]


def _shown(final: Final, size: DeliverySize, old: Crop | None, source: Source) -> Crop:
    if old is None or not _still_good(old, source):
        values = _carried(old, source, size) if old is not None and old.by_hand else _fresh(source, size)
        return Crop(final=final, size=size, **values)
    old.final, old.size = final, size  # what is loaded already
    return old


def propose(final: Final, wanted: Sequence[DeliverySize], by: Visitor = PROGRAM) -> list[Crop]:
    """As `shown`, and kept: a delivery is made from rows."""
    require(by, Act.RUN, final, _("Crops are the photographer's to set."))
    proposals = shown(final, wanted)
    renewed = [crop for crop in proposals if crop.pk is None]
    with transaction.atomic():
        for crop in renewed:
            _keep(crop)
        if renewed:
            slugs = [crop.size.slug for crop in renewed]
            JournalLine.write(final.sitting, by.who, Verb.CROPS_PROPOSED, f"final {final.frame.label}", sizes=slugs)
    return proposals


_KEPT = (
    *("x", "y", "width", "height", "tilt", "frame_width", "frame_height", "source_sha256"),
    *("by_hand", "by", "reasons"),
)


def _keep(crop: Crop) -> None:
    """One row per final and size, whoever else keeps the same one at this moment."""
    values = {name: getattr(crop, name) for name in _KEPT}
    row, _new = Crop.objects.update_or_create(final=crop.final, size=crop.size, defaults=values)
    crop.pk, crop.updated_at, crop._state.adding = row.pk, row.updated_at, False


def _still_good(crop: Crop, source: Source) -> bool:
    same_size = (crop.frame_width, crop.frame_height) == (source.width, source.height)
    return same_size and (crop.by_hand or crop.source_sha256 == source.sha256)


def _fresh(source: Source, size: DeliverySize) -> dict[str, object]:
    spec = sizes_.spec(size)
    proposal = crops.propose(source.width, source.height, source.face, spec.ratio, out_height=spec.out_height)
    return {
        **_place(proposal.rect, proposal.tilt_deg, source),
        "by_hand": False,
        "by": "",
        "reasons": [one.as_dict() for one in proposal.reasons],
    }


def _carried(old: Crop, source: Source, size: DeliverySize) -> dict[str, object]:
    """A person's crop on a picture of another size: the same part of it, as near as the shape allows."""
    factor = source.width / old.frame_width
    centre = ((old.x + old.width / 2) * factor, (old.y + old.height / 2) * source.height / old.frame_height)
    width = min(max(1, round(old.width * factor)), source.width)
    ratio = ratio_of(size)
    height = ratio.height_for(width) if ratio else source.height
    if height > source.height and ratio:
        width, height = ratio.width_for(source.height), source.height
    rect = Rect(round(centre[0] - width / 2), round(centre[1] - height / 2), width, height)
    rect = rect.clamp_to(source.width, source.height)
    tilt = old.tilt if turned_inside(rect, old.tilt, source.width, source.height, slack=1.0) else 0.0
    return {**_place(rect, tilt, source), "by_hand": True, "by": old.by, "reasons": [told(Code.CARRIED_OVER).as_dict()]}


def _place(rect: Rect, tilt: float, source: Source) -> dict[str, object]:
    return {
        "x": rect.x,
        "y": rect.y,
        "width": rect.width,
        "height": rect.height,
        "tilt": tilt,
        "frame_width": source.width,
        "frame_height": source.height,
        "source_sha256": source.sha256,
    }


def adjust(crop: Crop, by: Visitor, x: int, y: int, width: int, height: int, tilt: float = 0.0) -> Crop:
    """A person's own crop, in pixels of the picture that is cut.

    Raises:
        Refused: not this person's to do.
        BadInput: outside the picture, of another shape than the size, or turned too far.
    """
    require(by, Act.RUN, crop.final, _("Crops are the photographer's to set."))
    source = source_of(crop.final)
    rect = _checked(crop.size, source, x, y, width, height, tilt)
    _set(crop, by, rect, tilt, source, Verb.CROP_SET)
    return crop


def _checked(size: DeliverySize, source: Source, x: int, y: int, width: int, height: int, tilt: float) -> Rect:
    ratio = ratio_of(size)
    where = _("“%(title)s”: ") % {"title": size.shown_title}
    if width < 1 or height < 1:
        raise BadInput(where + _("a crop of %(w)d × %(h)d pixels has no area.") % {"w": width, "h": height})
    if ratio is None and (x, y, width, height, tilt) != (0, 0, source.width, source.height, 0):
        raise BadInput(where + _("this size is the whole frame; it has no crop to move."))
    rect = Rect(x, y, width, height)
    if ratio is not None and not ratio.matches(rect):
        raise BadInput(
            where
            + _("%(w)d × %(h)d is not of the shape %(rw)d:%(rh)d; at this width the height is %(want)d.")
            % {"w": width, "h": height, "rw": ratio.width, "rh": ratio.height, "want": ratio.height_for(width)}
        )
    if not rect.inside(source.width, source.height):
        raise BadInput(
            where + _("the crop leaves the picture of %(w)d × %(h)d pixels.") % {"w": source.width, "h": source.height}
        )
    if abs(tilt) > MOST_TILT:
        raise BadInput(where + _("turned by %(tilt).1f°; %(most).0f° is the most.") % {"tilt": tilt, "most": MOST_TILT})
    if tilt and not turned_inside(rect, tilt, source.width, source.height, slack=1.0):
        raise BadInput(
            where + _("turned by %(tilt).1f° a corner leaves the picture; make the crop smaller.") % {"tilt": tilt}
        )
    return rect


def _set(crop: Crop, by: Visitor, rect: Rect, tilt: float, source: Source, verb: Verb) -> None:
    values = {**_place(rect, tilt, source), "by_hand": True, "by": by.name, "reasons": []}
    with transaction.atomic():
        for name, value in values.items():
            setattr(crop, name, value)
        _keep(crop)
        stages.touch(crop.final.sitting)
        JournalLine.write(
            crop.final.sitting, by.who, verb, f"final {crop.final.frame.label}, {crop.size.slug}",
            crop=rect.as_list(), tilt=tilt,
        )  # fmt: skip


def adopt(crop: Crop, by: Visitor, wanted: Sequence[DeliverySize]) -> list[Crop]:
    """Take a correction over to those of these sizes that show the same shape once trimmed; returns what changed."""
    require(by, Act.RUN, crop.final, _("Crops are the photographer's to set."))
    spec, source, changed = sizes_.spec(crop.size), source_of(crop.final), []
    if (crop.frame_width, crop.frame_height) != (source.width, source.height):
        raise BadInput(_("This crop was measured on another version of the picture; look at it again first."))
    others = [size for size in wanted if size.pk != crop.size_id]
    with transaction.atomic():
        for other in shown(crop.final, others):
            frame = (source.width, source.height)
            rect = taken_over(rect_of(crop), crop.tilt, spec, sizes_.spec(other.size), frame)
            if rect is not None:
                _set(other, by, rect, crop.tilt, source, Verb.CROP_TAKEN_OVER)
                changed.append(other)
    return changed


def back_to_proposal(crop: Crop, by: Visitor) -> Crop:
    """Forget the correction and propose anew."""
    require(by, Act.RUN, crop.final, _("Crops are the photographer's to set."))
    fresh = Crop(final=crop.final, size=crop.size, **_fresh(source_of(crop.final), crop.size))
    with transaction.atomic():
        _keep(fresh)
        JournalLine.write(
            crop.final.sitting, by.who, Verb.CROPS_PROPOSED, f"final {crop.final.frame.label}", sizes=[crop.size.slug]
        )
    return fresh


def rect_of(crop: Crop) -> Rect:
    return Rect(crop.x, crop.y, crop.width, crop.height)


def is_stale(crop: Crop) -> bool:
    """Was it measured on a picture of another size than the one that will be cut?"""
    source = source_of(crop.final)
    return (crop.frame_width, crop.frame_height) != (source.width, source.height)


def warnings(crop: Crop) -> list[str]:
    """What a person should know before this crop is exported, as sentences in their language."""
    source = source_of(crop.final)
    spec = sizes_.spec(crop.size)
    frame = (source.width, source.height)
    cautions = sentences(crops.warnings_for(rect_of(crop), frame, source.face, spec, tilt_deg=crop.tilt))
    if is_stale(crop):
        cautions.append(_("The picture has another size now than when this crop was set: look at it again."))
    if source.face is not None:
        cautions += _covered(crop, source.face)
    problem = name_problem(spec, strip_name(crop.final.sitting))
    if problem:
        cautions.append(sentence(problem))
    return cautions


def _covered(crop: Crop, face: Face) -> list[str]:
    """Border and name strip lie over the picture: crown and chin must stay clear of them."""
    spec = sizes_.spec(crop.size)
    _left, top, _right, bottom = insets(spec)
    if not top and not bottom:
        return []
    cautions, pixel = [], crop.height / spec.out_height
    if face.menton[1] > crop.y + crop.height - bottom * pixel:
        cautions.append(_("The name strip covers the chin.") if spec.name_strip else _("The border covers the chin."))
    if top and face.crown_y < crop.y + top * pixel:
        cautions.append(_("The border covers the crown."))
    return cautions


def monochrome(final: Final) -> bool:
    look = final.frame.look
    return look is not None and look.treatment == Look.Treatment.MONOCHROME


def strip_name(sitting: Sitting) -> str:
    """The name that stands under a print."""
    return sitting.name_for_strip or sitting.subject_name


def preview(crop: Crop) -> bytes:
    """The crop as it will be cut, sRGB JPEG of at most 600 px, for the photographer's editor. Not stamped.

    Raises:
        ImagingError: the source cannot be decoded.
    """
    source = source_of(crop.final)
    order = CutOrder(sizes_.spec(crop.size), rect_of(crop), crop.tilt, monochrome(crop.final))
    return _small(crop.final.sitting, source, [order], PREVIEW_SIDE)[0]


def _small(sitting: Sitting, source: Source, orders: Sequence[CutOrder], side: int) -> list[bytes]:
    """The orders' previews, those that are missing made from one decode."""
    name = strip_name(sitting)
    places = [
        derived.place(sitting, "preview", derived.described(source=source.sha256, order=order, name=name), side=side)
        for order in orders
    ]
    missing = [order for order, at in zip(orders, places, strict=True) if not at.store.exists(at.key)]
    data = storage.get(storage.private(), source.key) if missing else b""
    fresh = iter(door.cut_small(data, missing, side, limits(), name=name) if missing else [])
    return [at.fetched(lambda: next(fresh)) for at in places]


def preview_sheet(sitting: Sitting, wanted: Sequence[DeliverySize], by: Visitor) -> bytes:
    """Every final in every chosen size on one picture, JPEG, before anything is exported.

    Raises:
        Refused: not this person's to see.
        BadInput: no final, or no size chosen.
    """
    require(by, Act.RUN, sitting, _("The preview sheet is the photographer's."))
    listed = sitting.finals.listed().select_related("frame__look", "sitting")
    finals = list(listed.prefetch_related("crops", "versions__approvals"))
    if not finals or not wanted:
        raise BadInput(_("There is nothing to show: choose at least one size, and close the list of finals."))
    cells: list[SheetPicture] = []
    for final in finals:
        row = shown(final, wanted)
        source = source_of(final)
        orders = [CutOrder(sizes_.spec(c.size), rect_of(c), c.tilt, monochrome(final)) for c in row]
        try:
            pictures = _small(sitting, source, orders, SHEET_SIDE)
        except ImagingError as error:
            raise BadInput(error.told.named(_("Frame %s") % final.frame.label)) from error
        for crop, picture in zip(row, pictures, strict=True):
            label, several = f"{final.frame.label}  {crop.size.slug}", len(warnings(crop))
            if several:
                label += "  " + _("(%d to look at)") % several
            cells.append(SheetPicture(picture, label))
    return door.contact_sheet(cells, columns=len(wanted))
