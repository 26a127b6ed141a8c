"""Codes that a person types: those an app shows (TOTP, RFC 6238), and those of recovery. No tables here."""

from __future__ import annotations

import hmac
import secrets
from datetime import datetime

import pyotp

DIGITS = 6
SECRET_LENGTH = 32  # of 5 bits each: the 160 bits that RFC 4226 (4, R6) recommends
EITHER_SIDE = 1  # half minutes by which the phone's clock may be wrong (RFC 6238, 5.2)
RECOVERY_CODES = 10
# 24 of 32 signs: 120 bits, so that a plain hash of them is no weaker than they are (as of tokens; a password's is).
_SIGNS = "abcdefghijkmnpqrstuvwxyz23456789"  # without l, o, 0 and 1
_GROUPS, _GROUP = 4, 6


def new_secret() -> str:
    """In base 32, as apps take it."""
    return pyotp.random_base32(SECRET_LENGTH)


def address_for_app(secret: str, account: str, studio: str) -> str:
    """The otpauth:// address that the picture holds."""
    return pyotp.TOTP(secret, digits=DIGITS).provisioning_uri(name=account, issuer_name=studio)


def step_of(secret: str, code: str, at: datetime) -> int | None:
    """The half minute since 1970 for which `code` stands, when that is now or next to now; else None."""
    app = pyotp.TOTP(secret, digits=DIGITS)
    now, half_minute = app.timecode(at), None
    for step in range(now - EITHER_SIDE, now + EITHER_SIDE + 1):
        if hmac.compare_digest(app.generate_otp(step).encode(), code.encode()):
            half_minute = step
    return half_minute


def new_recovery_code() -> str:
    """Four groups of six small letters and digits, with hyphens between."""
    return "-".join("".join(secrets.choice(_SIGNS) for _sign in range(_GROUP)) for _group in range(_GROUPS))


def typed(code: str) -> str:
    """A code as it is compared: without the spaces and hyphens that make it readable, in small letters."""
    return "".join(sign for sign in code.casefold() if sign.isalnum())


def is_of_app(code: str) -> bool:
    """Is it such as an app shows? (`code` as `typed` gives it)"""
    return len(code) == DIGITS and code.isascii() and code.isdigit()
