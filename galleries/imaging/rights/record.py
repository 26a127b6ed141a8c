"""What a delivered file says about its rights: the record, its checks, and what was found in a file."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from galleries.imaging.codes import Code
from galleries.imaging.errors import BadRights
from galleries.imaging.rights import vocabulary as vocab
from galleries.told import Told, following, told

ALT_TEXT_LIMIT = 250  # IPTC Photo Metadata Standard: alt text should stay under 250 characters
_CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f\ufffe\uffff\ud800-\udfff]")


@dataclass(frozen=True)
class Party:
    """A person or firm with an optional identifier (PLUS: owner, creator, supplier)."""

    name: str
    identifier: str = ""


@dataclass(frozen=True)
class Licensor:
    """Whom to ask for a licence (PLUS Licensor)."""

    name: str
    email: str = ""
    url: str = ""
    telephone: str = ""
    identifier: str = ""


@dataclass(frozen=True)
class RightsRecord:
    """Everything a delivered picture carries beside its pixels; empty means 'not written'.

    Codes are bare ('DMI-PROHIBITED', 'MR-NON', 'digitalCapture'). `captured_at` without a time zone is
    the camera's own clock. `alteration_constraints` lists what is NOT allowed (PLUS: AL-CRP = no cropping).
    """

    creators: tuple[str, ...] = ()
    copyright_notice: str = ""
    credit_line: str = ""
    title: str = ""
    description: str = ""
    instructions: str = ""
    job_id: str = ""
    usage_terms: str = ""
    marked: bool | None = True
    web_statement: str = ""
    licensors: tuple[Licensor, ...] = ()
    copyright_owners: tuple[Party, ...] = ()
    image_creators: tuple[Party, ...] = ()
    image_suppliers: tuple[Party, ...] = ()
    data_mining: str = ""
    other_constraints: str = ""
    model_release_status: str = "MR-NON"
    model_release_ids: tuple[str, ...] = ()
    minor_age: str = ""
    alteration_constraints: tuple[str, ...] = ()
    license_start: date | None = None
    license_end: date | None = None
    license_id: str = ""
    terms_text: str = ""
    terms_url: str = ""
    persons: tuple[str, ...] = ()
    alt_text: str = ""
    digital_source_type: str = ""
    document_id: str = ""
    original_document_id: str = ""
    image_guid: str = ""
    captured_at: datetime | None = None

    def tidied(self) -> RightsRecord:
        """The same record with outer blanks cut, line ends as \\n and empty list entries dropped."""
        tidy: RightsRecord = _tidy(self)
        return tidy

    def validate(self) -> None:
        """Raise BadRights, naming the field, when the record contradicts itself or cannot be written."""
        problems = problems_of(self)
        if problems:
            raise BadRights.of(following(problems))


EMPTY = RightsRecord(marked=None, model_release_status="")


@dataclass(frozen=True)
class RightsFound:
    """What a file says, reconciled by the Metadata Working Group's order.

    `sources` names per field where the value came from ('Exif', 'XMP', 'IIM'); `disagreements` are
    where the containers differ; `private` names data that a delivered file must not carry;
    `iim_digest` is 'none', 'matches' or 'stale'; `problems` are values that could not be understood;
    `further` is what the file says in other fields of the IPTC standard, by their names, whatever it is about.
    """

    record: RightsRecord
    format: str = ""
    sources: Mapping[str, str] = field(default_factory=dict)
    disagreements: tuple[Told, ...] = ()
    private: tuple[Told, ...] = ()
    iim_digest: str = "none"
    problems: tuple[Told, ...] = ()
    further: tuple[tuple[str, tuple[str, ...]], ...] = ()

    @property
    def empty(self) -> bool:
        """True when the file says nothing about rights at all."""
        return not self.sources


def problems_of(record: RightsRecord) -> list[Told]:
    """Every reason why the record can't be written; empty when it can."""
    problems = [told(Code.RIGHTS_CONTROL, field=name) for name in _with_control_characters(record)]
    coded = (
        ("data_mining", record.data_mining, vocab.DATA_MINING),
        ("model_release_status", record.model_release_status, vocab.MODEL_RELEASE),
        ("minor_age", record.minor_age, vocab.MINOR_AGE),
        ("digital_source_type", record.digital_source_type, vocab.SOURCE_TYPE),
        *(("alteration_constraints", code, vocab.ALTERATION) for code in record.alteration_constraints),
    )
    problems += [
        told(Code.RIGHTS_NO_CODE, value=code, field=name, known=", ".join(known))
        for name, code, known in coded
        if code and code not in known
    ]
    if len(record.alt_text) > ALT_TEXT_LIMIT:
        problems.append(told(Code.RIGHTS_ALT_TEXT, signs=len(record.alt_text), most=ALT_TEXT_LIMIT))
    start, end = record.license_start, record.license_end
    if start and end and end < start:
        problems.append(told(Code.RIGHTS_ENDS_FIRST, ends_day=end.isoformat(), starts_day=start.isoformat()))
    if record.data_mining == "DMI-PROHIBITED-SEECONSTRAINT" and not record.other_constraints:
        problems.append(told(Code.RIGHTS_NO_CONSTRAINT))
    for name in ("web_statement", "terms_url"):
        address = getattr(record, name)
        if address and not re.match(r"https?://[^\s]+$", address):
            problems.append(told(Code.RIGHTS_NO_ADDRESS, field=name, value=address))
    for licensor in record.licensors:
        if not licensor.name:
            problems.append(told(Code.RIGHTS_NAMELESS_LICENSOR))
    return problems


def _tidy(value: Any) -> Any:
    if isinstance(value, str):
        return value.replace("\r\n", "\n").replace("\r", "\n").strip()
    if isinstance(value, tuple):
        return tuple(item for item in map(_tidy, value) if item)
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        changes = {f.name: _tidy(getattr(value, f.name)) for f in dataclasses.fields(value)}
        return dataclasses.replace(value, **changes)
    return value


def _with_control_characters(record: RightsRecord) -> list[str]:
    def bad(value: Any) -> bool:
        if isinstance(value, str):
            return bool(_CONTROL.search(value))
        if isinstance(value, tuple):
            return any(map(bad, value))
        if isinstance(value, (Party, Licensor)):
            return any(bad(getattr(value, f.name)) for f in dataclasses.fields(value))
        return False

    return [f.name for f in dataclasses.fields(record) if bad(getattr(record, f.name))]


def shown(value: object) -> str | None:
    """A value of a record for a sentence; None when there is none."""
    if value in (None, "", ()):
        return None
    return value if isinstance(value, str) else repr(value)
