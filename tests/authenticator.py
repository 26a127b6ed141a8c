"""A passkey's device in a few lines, for the server's side without a browser: it answers as W3C Web Authentication
(level 3, 5.8.1, 6.1 and 6.5.4) and RFC 9052 lay it out, by the `cryptography` package. The one browser test tries the
same with Chromium's own."""

from __future__ import annotations

import hashlib
import json
import secrets
import struct
from base64 import urlsafe_b64decode, urlsafe_b64encode
from dataclasses import dataclass, field
from typing import Any

from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.hashes import SHA256

PRESENT, HOLDS_KEY = 0x01, 0x40


def b64(data: bytes) -> str:
    return urlsafe_b64encode(data).rstrip(b"=").decode()


def _cbor(value: Any) -> bytes:
    """What of RFC 8949 a device's answer needs."""

    def head(kind: int, number: int) -> bytes:
        if number < 24:
            return bytes([kind << 5 | number])
        return bytes([kind << 5 | 24, number]) if number < 256 else bytes([kind << 5 | 25]) + struct.pack(">H", number)

    if isinstance(value, int):
        return head(0, value) if value >= 0 else head(1, -1 - value)
    if isinstance(value, bytes):
        return head(2, len(value)) + value
    if isinstance(value, str):
        return head(3, len(value)) + value.encode()
    return head(5, len(value)) + b"".join(_cbor(key) + _cbor(one) for key, one in value.items())


@dataclass
class Device:
    """One device with one key, at `origin`; what it says can be bent for the tests."""

    origin: str
    rp_id: str
    count: int = 0
    key: ec.EllipticCurvePrivateKey = field(default_factory=lambda: ec.generate_private_key(ec.SECP256R1()))
    id: bytes = field(default_factory=lambda: secrets.token_bytes(32))

    def _client_data(self, kind: str, challenge: str) -> bytes:
        return json.dumps(
            {"type": f"webauthn.{kind}", "challenge": challenge, "origin": self.origin, "crossOrigin": False}
        ).encode()

    def _data(self, flags: int, more: bytes = b"") -> bytes:
        return hashlib.sha256(self.rp_id.encode()).digest() + struct.pack(">BI", flags, self.count) + more

    def enrolled(self, question: dict[str, Any], algorithm: int = -7) -> dict[str, Any]:
        """The answer to a question for a new key (COSE key: EC2, ES256 on P-256; attestation 'none')."""
        numbers = self.key.public_key().public_numbers()
        x, y = (number.to_bytes(32, "big") for number in (numbers.x, numbers.y))
        public = _cbor({1: 2, 3: algorithm, -1: 1, -2: x, -3: y})
        held = bytes(16) + struct.pack(">H", len(self.id)) + self.id + public
        told = {"fmt": "none", "attStmt": {}, "authData": self._data(PRESENT | HOLDS_KEY, held)}
        client_data = self._client_data("create", question["publicKey"]["challenge"])
        return self._answer({"clientDataJSON": b64(client_data), "attestationObject": b64(_cbor(told))})

    def signed(self, question: dict[str, Any], kind: str = "get", flags: int = PRESENT) -> dict[str, Any]:
        """The answer to a question for a signature; the count of signatures goes up."""
        self.count += 1
        client_data, data = self._client_data(kind, question["publicKey"]["challenge"]), self._data(flags)
        signature = self.key.sign(data + hashlib.sha256(client_data).digest(), ec.ECDSA(SHA256()))
        return self._answer(
            {"clientDataJSON": b64(client_data), "authenticatorData": b64(data), "signature": b64(signature)}
        )

    def _answer(self, response: dict[str, str]) -> dict[str, Any]:
        name = b64(self.id)
        return {"id": name, "rawId": name, "type": "public-key", "response": response, "clientExtensionResults": {}}


def unb64(text: str) -> bytes:
    return urlsafe_b64decode(text + "=" * (-len(text) % 4))
