"""Codes that a person types, against the standards' own examples."""

from __future__ import annotations

import base64
from datetime import UTC, datetime, timedelta

import pytest

from galleries.steps.people import codes, sealing

# RFC 6238, appendix B: the secret and the codes for SHA-1. Theirs have 8 digits, an app's the last 6 of them
# (RFC 4226, 5.3: the number modulo 10 to the power of the digits).
SECRET = base64.b32encode(b"12345678901234567890").decode()
VECTORS = [
    (59, "94287082"),
    (1111111109, "07081804"),
    (1111111111, "14050471"),
    (1234567890, "89005924"),
    (2000000000, "69279037"),
    (20000000000, "65353130"),
]


@pytest.mark.parametrize(("seconds", "code"), VECTORS)
def test_codes_are_those_of_rfc_6238(seconds: int, code: str) -> None:
    at = datetime.fromtimestamp(seconds, UTC)
    assert codes.step_of(SECRET, code[-6:], at) == seconds // 30
    # The phone's clock may be half a minute off, and no more (5.2).
    for off, opens in ((-60, False), (-30, True), (30, True), (60, False)):
        if seconds + off < 30:
            continue
        found = codes.step_of(SECRET, code[-6:], at + timedelta(seconds=off))
        assert found == (seconds // 30 if opens else None)


@pytest.mark.parametrize("wrong", ["", "28708", "2870822", "287083", "٢٨٧٠٨٢"])
def test_nothing_else_opens(wrong: str) -> None:
    assert codes.step_of(SECRET, wrong, datetime.fromtimestamp(59, UTC)) is None


def test_a_new_secret_has_the_bits_of_rfc_4226() -> None:
    made = {codes.new_secret() for _number in range(20)}
    assert len(made) == 20
    assert {len(base64.b32decode(one)) for one in made} == {20}  # 160 bits, RFC 4226, 4, R6


def test_recovery_codes_are_long_and_read_as_they_are_typed() -> None:
    made = [codes.new_recovery_code() for _number in range(50)]
    assert len({*made}) == 50
    for one in made:
        assert not {*one} & {*"lo01"}
        plain = codes.typed(one)
        assert len(plain) == 24
        assert codes.typed(f"  {one.upper().replace('-', ' ')} ") == plain
        assert not codes.is_of_app(plain)
    # OWASP ASVS 5.0, 6.5.2 (from memory): a plain hash will do from 112 bits on.
    assert 24 * 5 >= 112
    assert len({*codes._SIGNS}) == 2**5
    assert codes.is_of_app(codes.typed("123 456"))
    assert not codes.is_of_app("١٢٣٤٥٦")


def test_what_is_sealed_opens_with_the_sites_key_alone(settings: object) -> None:
    sealed = sealing.seal(SECRET)
    assert SECRET not in sealed
    assert sealing.seal(SECRET) != sealed
    assert sealing.unseal(sealed) == SECRET
    before = settings.SECRET_KEY  # type: ignore[attr-defined]
    settings.SECRET_KEY = "another key of the site, long enough"  # type: ignore[attr-defined]
    with pytest.raises(sealing.Unsealable):
        sealing.unseal(sealed)
    settings.SECRET_KEY_FALLBACKS = [before]  # type: ignore[attr-defined]
    assert sealing.unseal(sealed) == SECRET
    with pytest.raises(sealing.Unsealable):
        sealing.unseal("no seal")
