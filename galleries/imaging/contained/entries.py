"""All that the child can be asked to do: name, function, and the type of its answer.

A new format needs no line here: it becomes a reader of `opening/formats.py` and is met by every entry. A new
recipe over foreign bytes gets an entry, and its word in `door`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

from galleries.imaging import preview, recipes, tracer
from galleries.imaging.comparing import amounts, changes, list_size, match
from galleries.imaging.credentials import read as credentials
from galleries.imaging.credentials.reading import CredentialsRead
from galleries.imaging.drawing import logo
from galleries.imaging.drawing.border import border_and_name
from galleries.imaging.face.reading import FrameReading
from galleries.imaging.opening import decode
from galleries.imaging.opening.picture import FrameFacts
from galleries.imaging.output import softproof
from galleries.imaging.rights.record import RightsFound, RightsRecord
from galleries.imaging.rights.write import check, read_rights  # loaded with the decoders, not by each
from galleries.told import Told


class Entry(NamedTuple):
    function: Callable[..., Any]
    answer: Any


class Grey(NamedTuple):
    """`match.Small` in plain data: bytes of (height, width) uint8."""

    grey: bytes
    height: int
    width: int
    scale: float


def _finals(
    source: Any, orders: Any, limits: Any, record: Any, name: str | None, reserve: int = 0
) -> list[recipes.FinalFile]:
    finish = border_and_name(name) if name is not None else None
    return recipes.make_finals(source, orders, limits, record, finish=finish, reserve=reserve)


def _small(source: Any, limits: Any, long_side: int) -> Grey:
    small = match.open_small(source, limits, long_side)
    height, width = small.grey.shape
    return Grey(small.grey.tobytes(), height, width, small.scale)


def _read_rights(source: Any) -> RightsFound:
    return read_rights(source.read_bytes())


def _check_rights(source: Any, record: RightsRecord) -> list[Told]:
    return list(check(source.read_bytes(), record))


def _read_credentials(source: Any, anchors: str) -> CredentialsRead | None:
    return credentials.read(source.read_bytes(), anchors)


def _check_profile(source: Any) -> str:
    return softproof.check_profile(source.read_bytes()).name


def _paper_view(picture: Any, icc: Any) -> tuple[bytes, Told | None]:
    return preview.paper_view(picture.read_bytes(), icc.read_bytes())


def _tracer_find(copy: Any, pair: Any, key: bytes, given: Sequence[int]) -> tracer.TraceResult:
    return tracer.find(copy.read_bytes(), pair.read_bytes(), key, given)


def _tracer_prepare(proof: Any, key: bytes) -> bytes:
    return tracer.prepare(proof.read_bytes(), key)


ENTRIES: dict[str, Entry] = {
    "verify": Entry(decode.verify, FrameFacts),
    "probe": Entry(decode.probe, FrameFacts),
    "make_proof": Entry(recipes.make_proof, recipes.ProofFiles),
    "read_frame": Entry(recipes.read_frame, tuple[FrameFacts, FrameReading]),
    "look_for_slate": Entry(recipes.look_for_slate, recipes.SlateView),
    "make_view": Entry(recipes.make_view, bytes),
    "cut_sensor": Entry(recipes.cut_sensor, bytes),
    "make_finals": Entry(_finals, list[recipes.FinalFile]),
    "cut_small": Entry(preview.cut_small, list[bytes]),
    "contact_sheet": Entry(preview.contact_sheet, bytes),
    "paper_view": Entry(_paper_view, tuple[bytes, Told | None]),
    "check_profile": Entry(_check_profile, str),
    "differences": Entry(list_size.differences, list[list_size.Difference]),
    "changes": Entry(changes.changes, amounts.Changes | None),
    "open_small": Entry(_small, Grey),
    "read_rights": Entry(_read_rights, RightsFound),
    "check_rights": Entry(_check_rights, list[Told]),
    "read_credentials": Entry(_read_credentials, CredentialsRead | None),
    "make_logo": Entry(logo.make_logo, bytes),
    "stamp_sample": Entry(preview.stamp_sample, bytes),
    "tracer_find": Entry(_tracer_find, tracer.TraceResult),
    "tracer_prepare": Entry(_tracer_prepare, bytes),
}
