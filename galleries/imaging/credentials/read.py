"""What a file's content credentials say, and whether it is still the file they were made for. For strangers' files:
called in the contained child only."""

from __future__ import annotations

import io
import json
from typing import Any

from galleries.imaging.credentials import library
from galleries.imaging.credentials.origin import digest_in
from galleries.imaging.credentials.reading import Action, CredentialsRead, Ingredient

LONGEST = 120  # signs of a text that a file says
MOST = 40  # actions and ingredients
# Codes of the specification's validation (C2PA 2.4, "Standard status codes"), by what they mean to a reader.
CHANGED = ("assertion.dataHash.mismatch", "assertion.hashedURI.mismatch", "claimSignature.mismatch")
ENDED = ("signingCredential.expired", "claimSignature.outsideValidity")
UNKNOWN = "signingCredential.untrusted"


def read(data: bytes, anchors: str = "") -> CredentialsRead | None:
    """None where the file carries no credentials, or is none of JPEG, TIFF and PNG.

    `anchors`: certificates (PEM) that are known. Of a chain of manifests only the last, this file's own, is told.
    """
    import c2pa

    kind = library.media_type(data)
    if not kind:
        return None
    try:
        with (
            c2pa.Context.from_dict(library.settings(anchors)) as context,
            c2pa.Reader(kind, io.BytesIO(data), context=context) as reader,
        ):
            body = json.loads(reader.json())
    except c2pa.C2paError.ManifestNotFound:
        return None
    except c2pa.C2paError as error:
        fault = f"unreadable: {error}"[:LONGEST]
        return CredentialsRead(False, False, False, (fault,), "", "", "", (), ())
    return _told(body)


def _told(body: dict[str, Any]) -> CredentialsRead:
    active = (body.get("validation_results") or {}).get("activeManifest") or {}
    failures = [str(one.get("code")) for one in active.get("failure") or []]
    successes = {one.get("code") for one in active.get("success") or []}
    own = (body.get("manifests") or {}).get(body.get("active_manifest")) or {}
    signature = own.get("signature_info") or {}
    generator = (own.get("claim_generator_info") or [{}])[0]
    known = (*CHANGED, *ENDED, UNKNOWN)
    return CredentialsRead(
        changed=any(code in CHANGED for code in failures),
        ended=any(code in ENDED for code in failures),
        known="signingCredential.trusted" in successes,
        faults=tuple(dict.fromkeys(code[:LONGEST] for code in failures if code not in known))[:MOST],
        signer=_text(signature.get("issuer")),
        serial=_text(signature.get("cert_serial_number")),
        program=_text(generator.get("name")),
        actions=tuple(_actions(own))[:MOST],
        ingredients=tuple(
            Ingredient(
                _text(one.get("relationship")), _text(one.get("title")), digest_in(str(one.get("instance_id", "")))
            )
            for one in (own.get("ingredients") or [])[:MOST]
        ),
    )


def _actions(own: dict[str, Any]) -> list[Action]:
    return [
        Action(_text(action.get("action")), _text(action.get("digitalSourceType")).rpartition("/")[2])
        for assertion in own.get("assertions") or []
        if str(assertion.get("label", "")).startswith("c2pa.actions")
        for action in (assertion.get("data") or {}).get("actions") or []
    ]


def _text(value: object) -> str:
    return str(value or "")[:LONGEST]
