"""The tracer's code: every payload comes back, noise says nothing, mixtures give up their parts."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from galleries.imaging.tracer.code import CHANCE, SYMBOLS, Code, _permuted, _unpermuted

PLACES = 2500
PAYLOAD = st.integers(0, 2**32 - 1)
WEIGHT = np.ones(PLACES)


@given(st.integers(0, 2**64 - 1), st.binary(max_size=20))
def test_the_permutation_has_an_inverse(word: int, key: bytes) -> None:
    assert _unpermuted(key, _permuted(key, word)) == word
    assert 0 <= _permuted(key, word) < 2**64


@settings(max_examples=30, deadline=None)
@given(PAYLOAD, st.integers(0, 1000))
def test_a_payload_comes_back_through_noise(payload: int, seed: int) -> None:
    code = Code(b"key", PLACES)
    noise = np.random.default_rng(seed).normal(0, 2.0, PLACES)  # twice as loud as the mark
    (match,) = code.listen(code.signs(payload) + noise, WEIGHT)
    assert match.payload == payload
    assert match.chance < CHANCE
    assert 0.7 < match.strength < 1.3


@settings(max_examples=20, deadline=None)
@given(PAYLOAD, st.integers(0, 1000))
def test_half_the_picture_is_enough(payload: int, seed: int) -> None:
    code = Code(b"key", PLACES)
    left = np.random.default_rng(seed).random(PLACES) < 0.5
    (match,) = code.listen(code.signs(payload) * left, WEIGHT * left)
    assert match.payload == payload
    assert match.strength == pytest.approx(1.0)


def test_noise_and_other_keys_say_nothing() -> None:
    rng = np.random.default_rng(3)
    code, other = Code(b"key", PLACES), Code(b"another", PLACES)
    for _ in range(60):
        assert code.listen(rng.normal(0, 1, PLACES), WEIGHT, range(50)) == []
        heavy = rng.standard_cauchy(PLACES)  # a few places shout
        assert code.listen(heavy, WEIGHT, range(50)) == []
        assert code.listen(other.signs(int(rng.integers(2**32))), WEIGHT, range(50)) == []


def test_the_bound_on_chance_is_hoeffdings() -> None:
    """P(sum of signs × scores > z × norm) <= exp(-z²/2) (Hoeffding 1963), times the payloads tried."""
    code = Code(b"key", PLACES)
    match = code._judge(5, 1, code.signs(5) + np.random.default_rng(0).normal(0, 8, PLACES), WEIGHT)
    assert match.chance == pytest.approx(math.exp(-(match.z**2) / 2))
    rng, z = np.random.default_rng(1), 2.0
    score = rng.exponential(1, PLACES)
    sums = (rng.integers(0, 2, (4000, PLACES)) * 2 - 1) @ score / np.sqrt(score @ score)
    assert (sums > z).mean() < math.exp(-z * z / 2)


@settings(max_examples=15, deadline=None)
@given(st.lists(PAYLOAD, min_size=4, max_size=4, unique=True))
def test_mixed_copies_name_all_and_nobody_else(payloads: list[int]) -> None:
    code = Code(b"key", PLACES)
    noise = np.random.default_rng(1).normal(0, 0.3, PLACES)
    two = (code.signs(payloads[0]) + code.signs(payloads[1])) / 2 + noise
    assert {m.payload for m in code.listen(two, WEIGHT)} == set(payloads[:2])
    three = sum(code.signs(p) for p in payloads[:3]) / 3 + noise
    assert {m.payload for m in code.listen(three, WEIGHT, payloads)} == set(payloads[:3])


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="room for 100 signs"):
        Code(b"key", 100)
    for payload in (-1, 2**32):
        with pytest.raises(ValueError, match="32 bits"):
            Code(b"key", SYMBOLS).signs(payload)
