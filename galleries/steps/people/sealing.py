"""Secrets sealed before they are kept, so that a copy of the tables alone opens nothing.

The key is derived (HKDF, RFC 5869) from the site's own, which does not lie in the tables; the seal is Fernet
(AES-128-CBC with HMAC-SHA256, of the `cryptography` package). With another site key what was sealed is lost.
"""

from __future__ import annotations

import base64

from cryptography.fernet import Fernet, InvalidToken, MultiFernet
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from django.conf import settings
from django.utils.encoding import force_bytes

FOR = b"portal: secrets of second factors"


class Unsealable(Exception):
    """It was sealed under another key, or is no seal."""


def _fernet(site_key: str | bytes, purpose: bytes) -> Fernet:
    derived = HKDF(algorithm=SHA256(), length=32, salt=None, info=purpose).derive(force_bytes(site_key))
    return Fernet(base64.urlsafe_b64encode(derived))


def _keys(purpose: bytes) -> MultiFernet:
    return MultiFernet([_fernet(key, purpose) for key in (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS)])


def seal(text: str, purpose: bytes = FOR) -> str:
    """`purpose`: what was sealed for one is not opened for another."""
    return _keys(purpose).encrypt(text.encode()).decode("ascii")


def unseal(sealed: str, purpose: bytes = FOR) -> str:
    """
    Raises:
        Unsealable: the site's key is another one now.
    """
    try:
        return _keys(purpose).decrypt(sealed.encode()).decode()
    except InvalidToken:
        raise Unsealable from None
