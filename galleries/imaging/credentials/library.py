"""The library (c2pa-python) as this house uses it: nothing is fetched, nothing is drawn, both said twice."""

from __future__ import annotations

from typing import Any

# By the content, as `containers` and the encoder name them.
MEDIA_TYPES = {"JPEG": "image/jpeg", "TIFF": "image/tiff", "PNG": "image/png"}

# What a certificate may be for (extended key usage): e-mail protection, document signing (RFC 9336), C2PA's own.
PURPOSES = ("1.3.6.1.5.5.7.3.4", "1.3.6.1.5.5.7.3.36", "1.3.6.1.4.1.62558.2.1")


def settings(anchors: str = "") -> dict[str, Any]:
    """`anchors`: certificates (PEM) whose signatures are known. Revocation and manifests elsewhere are not asked for:
    no address that stands in a file is ever called."""
    return {
        "core": {"allowed_network_hosts": []},
        "verify": {
            "remote_manifest_fetch": False,
            "ocsp_fetch": False,
            "verify_trust": True,
            "verify_timestamp_trust": False,
            "verify_after_sign": True,
        },
        "trust": {"trust_config": "\n".join(PURPOSES) + "\n", **({"trust_anchors": anchors} if anchors else {})},
        "builder": {"thumbnail": {"enabled": False}},
    }


def media_type(data: bytes) -> str:
    """Of what is begun like a JPEG, TIFF or PNG; '' for anything else."""
    if data[:3] == b"\xff\xd8\xff":
        return MEDIA_TYPES["JPEG"]
    if data[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        return MEDIA_TYPES["TIFF"]
    return MEDIA_TYPES["PNG"] if data[:8] == b"\x89PNG\r\n\x1a\n" else ""
