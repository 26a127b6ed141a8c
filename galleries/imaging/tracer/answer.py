"""Which invite's copy a picture is: the answer of the reader, and how sure it is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from galleries.imaging.arrays import Floats
from galleries.imaging.codes import Code
from galleries.imaging.errors import Unreadable
from galleries.imaging.tracer.code import Match
from galleries.imaging.tracer.read import aligned, heard
from galleries.imaging.tracer.reference import reference_of
from galleries.told import Told, told


@dataclass(frozen=True)
class TraceResult:
    """What a copy tells: payloads heard, strongest first (several when copies were mixed), and how sure that is."""

    found: bool
    matches: tuple[Match, ...]
    told: Told
    aligned: bool

    @property
    def payload(self) -> int | None:
        """The strongest payload."""
        return self.matches[0].payload if self.matches else None

    @property
    def confidence(self) -> float:
        """At least this likely to be no accident: 1 − the bound on a false match."""
        return 1.0 - self.matches[0].chance if self.matches else 0.0


def find(copy: bytes, proof: bytes, key: bytes, candidates: Sequence[int] = ()) -> TraceResult:
    """Which payloads a copy of this proof carries.

    `copy` is any JPEG, PNG, TIFF or other picture that OpenCV opens, up to 100 megapixels; `proof` the
    prepared pair or the plain proof. `candidates`: payloads that were given out; a weak tracer is then believed
    sooner. Raises Unreadable when the copy can't be opened.
    """
    known = reference_of(proof, key)
    picture = _grey(copy)
    placed = aligned(picture, known.mean)
    if placed is None:
        return TraceResult(False, (), told(Code.TRACER_NO_COPY), False)
    score, weight = heard(placed, picture, known)
    matches = tuple(known.code.listen(score, weight, tuple(candidates)))
    if not matches:
        return TraceResult(False, (), told(Code.TRACER_NO_MARK), True)
    return TraceResult(True, matches, _heard(matches), True)


def _heard(matches: Sequence[Match]) -> Told:
    each = tuple(
        told(
            Code.TRACER_HEARD,
            tracer=match.payload,
            one_in=round(1 / max(match.chance, 1e-12)),
            strength_share=round(match.strength, 2),
        )
        for match in matches
    )
    return each[0] if len(each) == 1 else Told(Code.TRACER_MIXED, {"copies": len(each)}, more=each)


def _grey(copy: bytes) -> Floats:
    picture = cv2.imdecode(np.frombuffer(copy, np.uint8), cv2.IMREAD_GRAYSCALE) if copy else None
    if picture is None:
        raise Unreadable(Code.TRACER_COPY_UNREADABLE)
    return picture.astype(np.float32)
