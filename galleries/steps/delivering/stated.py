"""What a file says of itself, whoever's it is: where it comes from, and its rights. Nothing of it is kept."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from django.utils import timezone

from galleries.imaging.contained import door
from galleries.imaging.errors import ImagingError
from galleries.steps.delivering import signing
from galleries.words import credentials as words
from galleries.words.rights import rights_sentences
from galleries.words.told import sentence


@dataclass(frozen=True)
class Stated:
    """`sha256` of the file; sentences on its content credentials and its rights. `well`: both could be read;
    `changed`: it is not as it was signed."""

    sha256: str
    origin: list[str]
    rights: list[str]
    well: bool
    changed: bool


def of_file(path: Path) -> Stated:
    """
    Raises:
        OSError: the file cannot be read at all.
    """
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    try:
        told, certificate = signing.reading(path)
        by = words.signed_by(certificate.name, own=certificate.own) if certificate is not None else ""
        origin = words.sentences(told, by)
        rights = rights_sentences(door.read_rights(path), today=timezone.localdate())
    except ImagingError as error:
        return Stated(digest, [], [sentence(error.told)], well=False, changed=False)
    return Stated(digest, origin, rights, well=True, changed=told is not None and told.changed)
