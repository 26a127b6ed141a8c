"""Where a final comes from, as the manifest of its content credentials says it. No name of a person belongs in it.

Terms: C2PA Technical Specification 2.4 (the version that the library reads by), actions and ingredients; the names of
actions from memory, checked by the library's own validation. Kinds of source: IPTC digital source type.
"""

from __future__ import annotations

import base64
import uuid
from dataclasses import dataclass
from typing import Any

from galleries.imaging.rights.vocabulary import SOURCE_VOCAB

GENERATOR = "Headshot portal"
FRAME_TITLE, VERSION_TITLE = "Camera frame", "Retouched version"
HASH_URI = "ni:///sha-256;"  # RFC 6920: a file named by the digest of its content
_IDS = uuid.UUID("0f6c2f43-3d1f-5a0b-8a53-5d1f1e0c4b77")  # our own name space for instance ids

# What a retouch's kind is called, in the language of all metadata.
RETOUCHED = {
    "humanEdits": "Retouched by a person, without generative tools",
    "algorithmicallyEnhanced": "Enhanced by a program, without generative tools",
    "compositeWithTrainedAlgorithmicMedia": "Edited with a generative tool",
}


@dataclass(frozen=True)
class Origin:
    """`frame`: SHA-256 of the camera's file; `version`: that of the retouched file the final was cut from, or '';
    `source_type`: the code of its digital source type, as declared. The others say what the program did on the way."""

    frame: str
    version: str = ""
    source_type: str = ""
    cropped: bool = False
    resized: bool = False
    straightened: bool = False
    monochrome: bool = False
    bordered: bool = False
    lettered: bool = False


def hash_uri(sha256: str) -> str:
    return HASH_URI + base64.urlsafe_b64encode(bytes.fromhex(sha256)).decode().rstrip("=")


def digest_in(uri: str) -> str:
    """The SHA-256, in hex, of a file named so; '' for any other name."""
    if not uri.startswith(HASH_URI):
        return ""
    try:
        raw = base64.urlsafe_b64decode(uri[len(HASH_URI) :] + "=")
    except ValueError:
        return ""
    return raw.hex() if len(raw) == 32 else ""


def _actions(origin: Origin) -> list[dict[str, Any]]:
    actions: list[dict[str, Any]] = [
        {
            "action": "c2pa.opened",
            "digitalSourceType": SOURCE_VOCAB + "digitalCapture",
            "parameters": {"ingredientIds": ["frame"]},
        }
    ]
    if origin.version:
        actions.append(
            {
                "action": "c2pa.edited",
                "digitalSourceType": SOURCE_VOCAB + origin.source_type,
                "description": RETOUCHED.get(origin.source_type, "Retouched"),
                "parameters": {"ingredientIds": ["version"]},
            }
        )
    done = {
        "c2pa.orientation": origin.straightened,
        "c2pa.cropped": origin.cropped,
        "c2pa.resized": origin.resized,
        "c2pa.adjustedColor": origin.monochrome,
        "c2pa.drawing": origin.bordered,
        "c2pa.addedText": origin.lettered,
    }
    return actions + [{"action": name} for name, was in done.items() if was]


def definition(origin: Origin, media_type: str, seed: str) -> dict[str, Any]:
    """The manifest as the library takes it; `seed` is the digest of all that the file hangs on."""
    ingredients = [
        {"label": "frame", "title": FRAME_TITLE, "instance_id": hash_uri(origin.frame), "relationship": "parentOf"}
    ]
    if origin.version:
        ingredients.append(
            {
                "label": "version",
                "title": VERSION_TITLE,
                "instance_id": hash_uri(origin.version),
                "relationship": "inputTo",
            }
        )
    return {
        "claim_generator_info": [{"name": GENERATOR}],
        "format": media_type,
        "instance_id": f"xmp:iid:{uuid.uuid5(_IDS, seed)}",
        "ingredients": ingredients,
        "assertions": [{"label": "c2pa.actions.v2", "created": True, "data": {"actions": _actions(origin)}}],
    }
