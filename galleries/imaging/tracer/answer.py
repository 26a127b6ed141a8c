"""Which invite's copy a picture is: the answer of the reader, and how sure it is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from galleries.imaging.arrays import Floats
from galleries.imaging.errors import Unreadable
from galleries.imaging.tracer.code import Match
from galleries.imaging.tracer.read import aligned, heard
from galleries.imaging.tracer.reference import reference_of


@dataclass(frozen=True)
class TraceResult:
    """What a copy tells: payloads heard, strongest first (several when copies were mixed), and a sentence."""

    found: bool
    matches: tuple[Match, ...]
    sentence: str
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
        return TraceResult(False, (), "Not found: this is no copy of that proof, or too little of it is left.", False)
    score, weight = heard(placed, picture, known)
    matches = tuple(known.code.listen(score, weight, tuple(candidates)))
    if not matches:
        return TraceResult(
            False, (), "Not found: the picture is a copy of that proof, but no mark is left in it.", True
        )
    return TraceResult(True, matches, _sentence(matches), True)


def _sentence(matches: Sequence[Match]) -> str:
    def odds(match: Match) -> str:
        return f"1 in {1 / max(match.chance, 1e-12):,.0f}"

    first, *others = matches
    if not others:
        return (
            f"The copy carries the mark {first.payload}; the odds of a false match are under {odds(first)}, "
            f"and {first.strength:.0%} of the mark is left."
        )
    listed = ", ".join(f"{match.payload} (false match under {odds(match)})" for match in matches)
    return f"The copy was mixed from {len(matches)} copies; it carries the marks {listed}."


def _grey(copy: bytes) -> Floats:
    picture = cv2.imdecode(np.frombuffer(copy, np.uint8), cv2.IMREAD_GRAYSCALE) if copy else None
    if picture is None:
        raise Unreadable("The copy can't be opened as a picture.")
    return picture.astype(np.float32)
