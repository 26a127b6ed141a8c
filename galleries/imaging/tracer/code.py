"""The code of the invisible tracer: a 32-bit payload as signs spread over a picture, and back from noise.

A payload with 32 bits of redundancy goes through a keyed permutation of 64-bit words, so that two payloads
have nothing in common, and bytes mixed from two copies fit by chance once in 2^32. Each of the eight bytes
becomes one of 256 orthogonal words of 256 signs (Hadamard, soft-decided by one transform; not bi-orthogonal,
since a word and its negative would cancel when two copies are averaged). The key scatters the signs.
"""

from __future__ import annotations

import hashlib
import hmac
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from galleries.imaging.arrays import Floats

BLOCKS, WORD = 8, 256
SYMBOLS = BLOCKS * WORD
PAYLOADS = 1 << 32
_LOUD = 12.0  # noise alone reaches about 8 (the best of 256 bytes in each of 8 blocks)
CHANCE = 1e-6  # the largest chance of a false match that counts as found


def _hadamard(size: int) -> Floats:
    """Sylvester's matrix of `size` (a power of two) orthogonal rows of +1 and -1, as scipy.linalg.hadamard has it;
    that library would hold 20 MB of every process that only asks whose copy a picture is."""
    matrix = np.ones((1, 1))
    while len(matrix) < size:
        matrix = np.block([[matrix, matrix], [matrix, -matrix]])
    return matrix


_HADAMARD: Floats = _hadamard(WORD)


@dataclass(frozen=True)
class Match:
    """A payload that was heard: `strength` 1.0 = the whole tracer; `chance` bounds the odds of a false match."""

    payload: int
    strength: float
    z: float
    chance: float


class Code:
    """The code for one key and one number of places (signs the picture has room for, at least SYMBOLS)."""

    def __init__(self, key: bytes, places: int) -> None:
        if places < SYMBOLS:
            raise ValueError(f"The picture has room for {places} signs; the tracer needs {SYMBOLS}.")
        rng = np.random.default_rng(list(hashlib.sha256(b"tracer places" + key).digest()))
        self.key, self.places = key, places
        self.where: NDArray[np.int64] = rng.permutation(places) % SYMBOLS
        self.sign: Floats = (rng.integers(0, 2, places) * 2 - 1).astype(np.float64)

    def signs(self, payload: int) -> Floats:
        """The ±1 of every place; raises ValueError for a payload outside 32 bits."""
        if not 0 <= payload < PAYLOADS:
            raise ValueError(f"A tracer payload is a number of 32 bits, not {payload}.")
        return self._spread(_permuted(self.key, payload << 32))

    def listen(self, score: Floats, weight: Floats, candidates: Sequence[int] = ()) -> list[Match]:
        """Payloads heard in `score` (sign × tracer energy + noise per place), strongest first.

        `weight` is the energy of the full tracer per place. Without candidates any of 2^32 payloads may come
        out; with candidates fewer could be mistaken, so weaker ones count. Several come out when several
        copies were mixed: each is tested on what the ones before leave unexplained.
        """
        matches: list[Match] = []
        basis: list[Floats] = []
        rest = score
        for _ in range(8):
            tried = self._likely(rest)
            options = [(payload, PAYLOADS) for payload in tried] + [(p, len(candidates)) for p in candidates]
            known = {match.payload for match in matches}
            judged = [self._judge(p, n, rest, weight) for p, n in options if p not in known]
            best = min(judged, key=lambda match: (match.chance, -match.z), default=None)
            if best is None or best.chance > CHANCE:
                break
            basis.append(self.signs(best.payload) * weight)
            design = np.stack(basis, axis=1)
            shares = np.linalg.lstsq(design, score, rcond=None)[0]
            rest = score - design @ shares
            matches.append(best)
        return matches

    def _judge(self, payload: int, out_of: int, score: Floats, weight: Floats) -> Match:
        """Hoeffding: with random signs, P(sum > z × norm) <= exp(-z²/2), whatever the scores are."""
        heard = float(self.signs(payload) @ score)
        norm = float(np.sqrt(score @ score)) or 1.0
        z = heard / norm
        chance = min(1.0, out_of * math.exp(-z * z / 2)) if z > 0 else 1.0
        return Match(payload, heard / (float(weight.sum()) or 1.0), z, chance)

    def _spread(self, word: int) -> Floats:
        flat = np.concatenate([_HADAMARD[word >> 8 * block & 0xFF] for block in range(BLOCKS)])
        return flat[self.where] * self.sign

    def _likely(self, score: Floats) -> list[int]:
        """Payloads whose redundancy fits, made of the likeliest bytes of every block.

        Two bytes a block are tried; three when so much is heard that a mixture of copies is the likely cause.
        """
        sums = np.bincount(self.where, weights=score * self.sign, minlength=SYMBOLS).reshape(BLOCKS, WORD)
        spectrum = sums @ _HADAMARD
        top = np.argsort(-spectrum, axis=1)[:, :3]
        payloads = self._fitting(top[:, :2].tolist())
        heard = float(spectrum.max(axis=1).sum()) / (float(np.sqrt(score @ score)) or 1.0)
        return payloads if payloads or heard < _LOUD else self._fitting(top.tolist())

    def _fitting(self, bytes_of_block: list[list[int]]) -> list[int]:
        words = (
            sum(byte << 8 * block for block, byte in enumerate(choice)) for choice in itertools.product(*bytes_of_block)
        )
        plain = (_unpermuted(self.key, word) for word in words)
        return [word >> 32 for word in plain if word & 0xFFFFFFFF == 0]


def _round(key: bytes, number: int, half: int) -> int:
    digest = hmac.digest(key, b"tracer round %d" % number + half.to_bytes(4, "big"), "sha256")
    return int.from_bytes(digest[:4], "big")


def _permuted(key: bytes, word: int) -> int:
    """A keyed permutation of 64-bit words (Feistel network of four rounds, after Luby and Rackoff 1988)."""
    left, right = word >> 32, word & 0xFFFFFFFF
    for number in range(4):
        left, right = right, left ^ _round(key, number, right)
    return left << 32 | right


def _unpermuted(key: bytes, word: int) -> int:
    left, right = word >> 32, word & 0xFFFFFFFF
    for number in reversed(range(4)):
        left, right = right ^ _round(key, number, left), left
    return left << 32 | right
