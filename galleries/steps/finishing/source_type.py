"""How a retouched version was made: declared by the photographer, or by the file's own metadata.

It is a statement of fact that every delivered file carries (IPTC digital source type), so a generative edit must be
said, and the people who approve must see it.
"""

from __future__ import annotations

from django.db import transaction
from django.utils.translation import gettext as _

from galleries import stages
from galleries.access import PROGRAM, Act, Visitor, require
from galleries.errors import BadInput
from galleries.imaging.contained import door
from galleries.imaging.errors import ImagingError
from galleries.models import JournalLine, Verb, Version

Kind = Version.Kind
Stated = Version.Stated
# Whole pictures that no camera took are declared as what they are in a headshot: a generative edit.
_SAME = {"trainedAlgorithmicMedia": Kind.GENERATIVE, "compositeSynthetic": Kind.GENERATIVE}


def declare(version: Version, by: Visitor, kind: str) -> None:
    """The photographer says how a version was made.

    Raises:
        Refused: not this person's to say.
        BadInput: no such way of making.
    """
    require(by, Act.RUN, version.final, _("How a retouch was made is the photographer's to say."))
    if kind not in Kind.values:
        raise BadInput(_("Choose how the retouch was made."))
    _write(version, kind, by, Stated.PERSON, by.name)


def read_from_file(version: Version, data: bytes) -> None:
    """Take over what the retoucher's program wrote into the file, unless a person has said it already."""
    if version.kind_stated:
        return
    try:
        code = door.read_rights(data).record.digital_source_type
    except ImagingError:  # HEIF, or metadata that cannot be read: then only a person can say it
        return
    kind = _SAME.get(code, code)
    if kind in Kind.values:
        _write(version, kind, PROGRAM, Stated.FILE)


def _write(version: Version, kind: str, by: Visitor, stated: Stated, said_by: str = "") -> None:
    before = version.kind
    with transaction.atomic():
        rows = Version.objects.filter(pk=version.pk)
        if stated is Stated.FILE:  # a person's word, given meanwhile, stands
            rows = rows.filter(kind_stated=Stated.NOBODY)
        if not rows.update(kind=kind, kind_stated=stated, kind_said_by=said_by[:120]):
            return
        stages.touch(version.final.sitting)
        JournalLine.write(
            version.final.sitting, by.who, Verb.RETOUCH_DECLARED, f"final {version.final.frame.label}", before, kind,
            version=version.number, stated=stated.value, said_by=said_by,
        )  # fmt: skip
    version.refresh_from_db()
