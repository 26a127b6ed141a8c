"""The one door to foreign bytes: the recipes by their own names, run in a contained child.

Every function takes what the recipe of its name takes, raises what it raises, and besides `Unreadable` when the
child ran over its limits or died. Safe to call from several threads. Nothing here loads a decoder.
"""

from __future__ import annotations

import logging
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from galleries.imaging import errors
from galleries.imaging.codes import Code
from galleries.imaging.contained import children, plain
from galleries.imaging.opening.picture import DEFAULT_LIMITS, FrameFacts, Limits

if TYPE_CHECKING:
    from galleries.imaging import rights, tracer
    from galleries.imaging.comparing.amounts import Changes
    from galleries.imaging.comparing.list_size import Cropped, Difference
    from galleries.imaging.comparing.match import Small
    from galleries.imaging.credentials.reading import CredentialsRead
    from galleries.imaging.drawing.stamp import StampText
    from galleries.imaging.face.faces import Face
    from galleries.imaging.face.reading import FrameReading
    from galleries.imaging.framing.cut_order import CutOrder
    from galleries.imaging.framing.geometry import Rect
    from galleries.imaging.preview import SheetPicture
    from galleries.imaging.recipes import FinalFile, ProofFiles, SlateView
    from galleries.told import Told

log = logging.getLogger(__name__)
Bytes = bytes | Path
SECONDS = 120.0  # a proof of the largest frame takes a few; a busy machine several times that
METADATA_SECONDS = 20.0  # a file of real use takes milliseconds; 80,000 properties took minutes
PER_FILE = 30.0  # more for each further file made of the same frame

close, get_ready, keep_one = children.close, children.get_ready, children.keep_one


def call(
    name: str, /, *args: Any, seconds: float = SECONDS, memory: int = children.MEMORY, kind: Any = None, **kwargs: Any
) -> Any:
    """Ask a child for the entry `name`; `_Source` arguments are handed over as descriptors. `kind`: the type of its
    answer, where it is known without loading all that decodes."""
    descriptors: list[int] = []

    def handed(value: Any) -> Any:
        if not isinstance(value, _Source):
            return value
        descriptors.append(plain.opened(value.content))
        return plain.Source(len(descriptors) - 1)

    try:
        question = plain.Question(
            name, tuple(map(handed, args)), {key: handed(value) for key, value in kwargs.items()}, seconds
        )
        data, good = children.ask(question, descriptors, memory)
    finally:
        for descriptor in descriptors:
            os.close(descriptor)
    try:
        if good:
            return plain.unpack(data, kind or _kind_of(name))
        trouble = plain.unpack(data, plain.Trouble)
        refusal = trouble.error() if trouble.kind else None
    except (msgspec.DecodeError, ValueError) as error:
        log.error("A contained child answered %s with what is no answer: %s", name, error)
        raise errors.Unreadable(Code.NO_SOUND_ANSWER) from error
    if refusal is None:
        log.error("Decoding (%s) broke in the contained child: %s", name, trouble.trace or trouble.told)
        raise errors.Unreadable(Code.DAMAGED_UNFORESEEN)
    raise refusal


def _kind_of(name: str) -> Any:
    from galleries.imaging.contained.entries import ENTRIES

    return ENTRIES[name].answer


@contextmanager
def kept_warm(count: int) -> Iterator[None]:
    """As many children are kept between files, while so many threads ask at once: else the last would be started anew
    for each file."""
    before = children.pool.most_idle
    children.pool.most_idle = max(before, count)
    try:
        yield
    finally:
        children.pool.most_idle = before


class _Source:
    """Foreign bytes among the arguments."""

    def __init__(self, content: Bytes) -> None:
        self.content = content


def verify(source: Bytes, limits: Limits = DEFAULT_LIMITS, *, seconds: float = 60.0, **how: Any) -> FrameFacts:
    facts: FrameFacts = call("verify", _Source(source), limits, seconds=seconds, kind=FrameFacts, **how)
    return facts


def probe(source: Bytes, limits: Limits = DEFAULT_LIMITS) -> FrameFacts:
    facts: FrameFacts = call("probe", _Source(source), limits, kind=FrameFacts)
    return facts


def make_proof(source: Bytes, text: StampText, limits: Limits = DEFAULT_LIMITS, **how: Any) -> ProofFiles:
    files: ProofFiles = call("make_proof", _Source(source), text, limits, **how)
    return files


def read_frame(source: Bytes, limits: Limits = DEFAULT_LIMITS) -> tuple[FrameFacts, FrameReading]:
    facts_and_reading: tuple[FrameFacts, FrameReading] = call("read_frame", _Source(source), limits)
    return facts_and_reading


def look_for_slate(source: Bytes, plain: int, limits: Limits = DEFAULT_LIMITS) -> SlateView:
    view: SlateView = call("look_for_slate", _Source(source), plain, limits)
    return view


def make_view(source: Bytes, long_side: int = 3000, limits: Limits = DEFAULT_LIMITS) -> bytes:
    view: bytes = call("make_view", _Source(source), long_side, limits)
    return view


def cut_sensor(source: Bytes, region: Rect, limits: Limits = DEFAULT_LIMITS) -> bytes:
    part: bytes = call("cut_sensor", _Source(source), region, limits)
    return part


def make_finals(
    source: Bytes,
    orders: Sequence[CutOrder],
    limits: Limits = DEFAULT_LIMITS,
    rights: rights.RightsRecord | None = None,
    *,
    name: str | None = None,
    reserve: int = 0,
) -> list[FinalFile]:
    """As `recipes.make_finals`; `name` draws border and name strip as `border_and_name(name)` does."""
    seconds = SECONDS + PER_FILE * len(orders)
    finals: list[FinalFile] = call(
        "make_finals", _Source(source), list(orders), limits, rights, name, reserve, seconds=seconds
    )
    return finals


def cut_small(
    source: Bytes, orders: Sequence[CutOrder], long_side: int, limits: Limits = DEFAULT_LIMITS, *, name: str = ""
) -> list[bytes]:
    pictures: list[bytes] = call("cut_small", _Source(source), list(orders), long_side, limits, name=name)
    return pictures


def contact_sheet(cells: Sequence[SheetPicture], columns: int) -> bytes:
    sheet: bytes = call("contact_sheet", list(cells), columns)
    return sheet


def paper_view(jpeg: bytes, icc: bytes) -> tuple[bytes, Told | None]:
    seen: tuple[bytes, Told | None] = call("paper_view", _Source(jpeg), _Source(icc))
    return seen


def check_profile(icc: bytes) -> str:
    """The name of a usable RGB profile. Raises `BadProfile`."""
    name: str = call("check_profile", _Source(icc))
    return name


def changes(frame: Bytes, version: Bytes, face: Face, limits: Limits = DEFAULT_LIMITS) -> Changes | None:
    amounts: Changes | None = call("changes", _Source(frame), _Source(version), face, limits)
    return amounts


def differences(pictures: Sequence[Cropped]) -> list[Difference]:
    told: list[Difference] = call("differences", list(pictures))
    return told


def open_small(source: Bytes, limits: Limits = DEFAULT_LIMITS, long_side: int = 768) -> Small:
    import numpy as np

    from galleries.imaging.comparing.match import Small

    raw, height, width, scale = call("open_small", _Source(source), limits, long_side)
    if height < 1 or width < 1 or height * width != len(raw) or max(height, width) > long_side:
        raise errors.Unreadable(Code.NO_SOUND_ANSWER)
    return Small(np.frombuffer(raw, np.uint8).reshape(height, width), scale)


def read_rights(data: Bytes) -> rights.RightsFound:
    reading: rights.RightsFound = call("read_rights", _Source(data), seconds=METADATA_SECONDS)
    return reading


def check_rights(data: Bytes, record: rights.RightsRecord) -> list[Told]:
    differences: list[Told] = call("check_rights", _Source(data), record)
    return differences


def read_credentials(data: Bytes, anchors: str = "") -> CredentialsRead | None:
    """As `read.read` of credentials: the library has no network in there, whatever a file asks it to fetch."""
    told: CredentialsRead | None = call("read_credentials", _Source(data), anchors, seconds=METADATA_SECONDS)
    return told


def make_logo(source: Bytes, limits: Limits = DEFAULT_LIMITS) -> bytes:
    logo: bytes = call("make_logo", _Source(source), limits)
    return logo


def stamp_sample(text: StampText) -> bytes:
    sample: bytes = call("stamp_sample", text)
    return sample


def tracer_find(copy: Bytes, pair: bytes, key: bytes, given: Sequence[int]) -> tracer.TraceResult:
    told: tracer.TraceResult = call("tracer_find", _Source(copy), _Source(pair), key, list(given))
    return told


def tracer_prepare(proof: bytes, key: bytes) -> bytes:
    pair: bytes = call("tracer_prepare", _Source(proof), key)
    return pair
