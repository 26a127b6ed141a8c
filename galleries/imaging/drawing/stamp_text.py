"""What the proof stamp says, and the chances it is drawn by."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field

import numpy as np

from galleries.imaging.drawing.lettering import writable

WORD = "PROOF"
_MOST_LETTERS = 48


@dataclass(frozen=True)
class StampText:
    """Whose proof it is, and optionally whom it was made for. `strength`: of the letters' opacity, 1 is usual.

    `logo`: a file of `logo.make_logo`, drawn in the large line instead of the studio's name.
    `secret` settles what the stamps of one sitting have in common, `secret` and `frame` together what this one has of
    its own. The same two give the same stamp; without the secret nobody can draw it again.
    """

    studio: str
    label: str = ""
    strength: float = 1.0
    logo: bytes = field(default=b"", repr=False)
    secret: bytes = field(default=b"", repr=False)
    frame: bytes = b""

    @property
    def line(self) -> str:
        """The large line: studio and PROOF; only PROOF when the name cannot be drawn."""
        name = writable(self.studio)[:_MOST_LETTERS].strip()
        return f"{name} · {WORD}" if name else WORD

    @property
    def small_line(self) -> str:
        """The small line: PROOF, studio and label."""
        parts = [WORD, writable(self.studio)[:_MOST_LETTERS], writable(self.label)[:_MOST_LETTERS]]
        return " · ".join(p.strip() for p in parts if p.strip())

    def of_sitting(self, what: str) -> np.random.Generator:
        """Chances that all frames of the sitting share."""
        return _dice(self.secret, what.encode())

    def of_frame(self, what: str) -> np.random.Generator:
        """Chances of this frame alone."""
        return _dice(self.secret, what.encode(), self.frame)


def _dice(*parts: bytes) -> np.random.Generator:
    digest = hashlib.sha256(b"".join(len(part).to_bytes(4, "big") + part for part in parts)).digest()
    return np.random.Generator(np.random.PCG64(int.from_bytes(digest, "big")))
