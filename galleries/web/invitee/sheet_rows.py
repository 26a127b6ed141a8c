"""What the sheet asks of the database: rows as tuples, by statements that are written once. Thousands of whole rows,
and composing their questions, cost more than all that is done with them."""

from __future__ import annotations

from typing import Any, NamedTuple
from uuid import UUID

from django.db.models import F, QuerySet

from galleries.access import Visitor, frames_of_sheets, frames_shown_to, looks_of_sheets, looks_shown_to, sheet_invite
from galleries.imaging.face.places import eyes_place
from galleries.models import Frame, Proof, Sitting
from galleries.models.compiled import Compiled
from galleries.models.sittings import FrameSet, edge_label

OF_LOOK = (
    *("pk", "title", "purpose", "casting_kind", "treatment", "wardrobe", "backdrop", "key_light", "gel"),
    "kept_from_representation",
)  # what the sheet needs of a look
# (the middle between the pupils in fractions of the picture, how far apart they are, of its width)
Eyes = tuple[float, float, float]


class SheetFrame(NamedTuple):
    """What the sheet needs of a frame."""

    pk: int
    number: int | None
    name: str
    look_id: int | None
    width: int
    height: int
    run: int | None
    run_place: int
    suggested: bool
    kept_by_subject: bool
    reading_version: int
    sha256: str = ""

    @property
    def label(self) -> str:
        return edge_label(self.number, self.name)


class SheetProof(NamedTuple):
    """What the sheet needs of a frame's newest proof."""

    pk: int
    large_width: int
    large_height: int
    small_width: int
    small_height: int
    middle_key: str


class SmallProof(NamedTuple):
    """What a small picture needs of a frame's newest proof."""

    pk: int
    small_width: int
    small_height: int


def _of_frames(frames: FrameSet) -> QuerySet[Any, Any]:
    return frames.unhidden().order_by("captured_at", "name", "pk").values_list(*SheetFrame._fields)


_ask_frames = {
    True: Compiled(lambda sitting: _of_frames(frames_of_sheets(True).filter(sitting=sitting))),
    False: Compiled(lambda sitting: _of_frames(frames_of_sheets(False).filter(sitting=sitting))),
}


_ask_looks = {
    True: Compiled(lambda sitting: looks_of_sheets(True).filter(sitting=sitting).values_list(*OF_LOOK)),
    False: Compiled(lambda sitting: looks_of_sheets(False).filter(sitting=sitting).values_list(*OF_LOOK)),
}


def _of_proofs(sitting: int, columns: tuple[str, ...]) -> QuerySet[Any, Any]:
    return Proof.objects.filter(frame__sitting=sitting).order_by("pk").values_list("frame_id", *columns)


_ask_proofs = Compiled(lambda sitting: _of_proofs(sitting, SheetProof._fields))
_ask_small_proofs = Compiled(lambda sitting: _of_proofs(sitting, SmallProof._fields))


def looks(visitor: Visitor, sitting: Sitting) -> list[tuple[Any, ...]]:
    """`OF_LOOK` of the looks that this person may see now, in their order."""
    invite = sheet_invite(visitor, sitting)
    if invite is not None:
        return _ask_looks[invite.is_subject](sitting.pk)
    return list(looks_shown_to(visitor, sitting).values_list(*OF_LOOK))


def frame_rows(visitor: Visitor, sitting: Sitting) -> list[tuple[Any, ...]]:
    """What `SheetFrame` says of the frames that this person may see now, hidden ones apart, in the order taken."""
    invite = sheet_invite(visitor, sitting)
    if invite is not None:
        return _ask_frames[invite.is_subject](sitting.pk)
    return list(_of_frames(frames_shown_to(visitor, sitting)))


def frames(visitor: Visitor, sitting: Sitting) -> list[SheetFrame]:
    return [SheetFrame._make(row) for row in frame_rows(visitor, sitting)]


def proof_rows(sitting: Sitting) -> list[tuple[Any, ...]]:
    """(frame, what `SheetProof` says of it) of each proof, a frame's newest last."""
    return _ask_proofs(sitting.pk)


def small_proofs_of(sitting: Sitting) -> dict[int, SmallProof]:
    """frame → its newest proof."""
    return {row[0]: SmallProof._make(row[1:]) for row in _ask_small_proofs(sitting.pk)}


MOST_EYES = 20_000  # places kept in one process
Read = tuple[int, int, str]  # frame, version of the reader, SHA-256 of the file that was read
_eyes: dict[UUID, dict[Read, Eyes | None]] = {}  # by sitting


def eyes_of(sitting: Sitting, shown: list[SheetFrame]) -> dict[int, Eyes | None]:
    """frame → where its eyes are, None where that is not known. A reading is long, and of one file by one version of
    the reader always the same: what it says of the eyes is kept; a frame not read yet is asked about each time."""
    of_sitting = _eyes.get(sitting.uid, {})
    keys: dict[int, Read] = {frame.pk: (frame.pk, frame.reading_version, frame.sha256) for frame in shown}
    kept = {pk: of_sitting[key] for pk, key in keys.items() if key in of_sitting}
    missing = [pk for pk in keys if pk not in kept]
    if not missing:
        return kept
    read = _read(sitting, missing)
    if sum(map(len, _eyes.values())) > MOST_EYES:
        _eyes.clear()
    places = {keys[pk]: eyes for pk, eyes in read.items() if keys[pk][1]}
    _eyes[sitting.uid] = {**of_sitting, **places}
    return kept | read


def _read(sitting: Sitting, ids: list[int]) -> dict[int, Eyes | None]:
    rows = Frame.objects.filter(sitting=sitting).exclude(reading=None)
    if len(ids) <= 200:
        rows = rows.filter(pk__in=ids)
    read: dict[int, Eyes | None] = dict.fromkeys(ids)
    parts = (F(f"reading__{path}") for path in ("face__right_eye", "face__left_eye", "width", "height"))
    for pk, *told in rows.order_by().values_list("pk", *parts):
        if pk in read and (eyes := eyes_place(*told)) is not None:
            read[pk] = (eyes.x, eyes.y, eyes.gap)
    return read
