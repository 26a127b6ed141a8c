"""Which field of a rights record stands where: XMP property, IIM dataset with its byte limit, Exif tag.

Sources: IPTC Photo Metadata Standard 2025.1 and its technical reference (names, IIM ids, byte limits),
IIM 4.2, PLUS LDF 2.0.1, Exif 2.32; the tests compare this table with the published technical reference.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from galleries.imaging.rights import vocabulary as vocab
from galleries.imaging.rights.record import Licensor, Party, RightsRecord
from galleries.imaging.rights.xmp import Bag, Lang, Seq, Value


@dataclass(frozen=True)
class TextField:
    """A field of texts. `shape`: 'text', 'lang', 'seq', 'bag'; `limit`: IIM bytes; `vocabulary`: its URI."""

    name: str
    xmp: str
    shape: str = "text"
    iim: str = ""
    iim_id: str = ""
    limit: int = 0
    exif: str = ""
    vocabulary: str = ""

    @property
    def many(self) -> bool:
        """Whether the field holds a list."""
        return self.shape in ("seq", "bag")


_IIM = "Iptc.Application2."
TEXT_FIELDS: tuple[TextField, ...] = (
    TextField("creators", "dc:creator", "seq", _IIM + "Byline", "2:80", 32, "Exif.Image.Artist"),
    TextField("copyright_notice", "dc:rights", "lang", _IIM + "Copyright", "2:116", 128, "Exif.Image.Copyright"),
    TextField("credit_line", "photoshop:Credit", "text", _IIM + "Credit", "2:110", 32),
    TextField("title", "dc:title", "lang", _IIM + "ObjectName", "2:05", 64),
    TextField(
        "description",
        "dc:description",
        "lang",
        _IIM + "Caption",
        "2:120",
        2000,
        "Exif.Image.ImageDescription",
    ),
    TextField("instructions", "photoshop:Instructions", "text", _IIM + "SpecialInstructions", "2:40", 256),
    TextField("job_id", "photoshop:TransmissionReference", "text", _IIM + "TransmissionReference", "2:103", 32),
    TextField("usage_terms", "xmpRights:UsageTerms", "lang"),
    TextField("web_statement", "xmpRights:WebStatement"),
    TextField("data_mining", "plus:DataMining", vocabulary=vocab.PLUS_VOCAB),
    TextField("other_constraints", "plus:OtherConstraints", "lang"),
    TextField("model_release_status", "plus:ModelReleaseStatus", vocabulary=vocab.PLUS_VOCAB),
    TextField("model_release_ids", "plus:ModelReleaseID", "bag"),
    TextField("minor_age", "plus:MinorModelAgeDisclosure", vocabulary=vocab.PLUS_VOCAB),
    TextField("alteration_constraints", "plus:ImageAlterationConstraints", "bag", vocabulary=vocab.PLUS_VOCAB),
    TextField("license_id", "plus:LicenseID"),
    TextField("terms_text", "plus:TermsAndConditionsText", "lang"),
    TextField("terms_url", "plus:TermsAndConditionsURL"),
    TextField("persons", "Iptc4xmpExt:PersonInImage", "bag"),
    TextField("alt_text", "Iptc4xmpCore:AltTextAccessibility", "lang"),
    TextField("digital_source_type", "Iptc4xmpExt:DigitalSourceType", vocabulary=vocab.SOURCE_VOCAB),
    TextField("document_id", "xmpMM:DocumentID"),
    TextField("original_document_id", "xmpMM:OriginalDocumentID"),
    TextField("image_guid", "Iptc4xmpExt:DigImageGUID", exif="Exif.Photo.ImageUniqueID"),
)
DATE_FIELDS: Mapping[str, str] = {
    "license_start": "plus:LicenseStartDate",
    "license_end": "plus:LicenseEndDate",
}
PARTY_FIELDS: Mapping[str, str] = {
    "copyright_owners": "plus:CopyrightOwner",
    "image_creators": "plus:ImageCreator",
    "image_suppliers": "plus:ImageSupplier",
}
LICENSOR = "plus:Licensor"
LICENSOR_PARTS: Mapping[str, str] = {
    "identifier": "plus:LicensorID",
    "name": "plus:LicensorName",
    "telephone": "plus:LicensorTelephone1",
    "email": "plus:LicensorEmail",
    "url": "plus:LicensorURL",
}
CAPTURED = "photoshop:DateCreated"
MARKED = "xmpRights:Marked"
IIM_DATE, IIM_TIME = _IIM + "DateCreated", _IIM + "TimeCreated"
EXIF_DATE, EXIF_SUBSEC = "Exif.Photo.DateTimeOriginal", "Exif.Photo.SubSecTimeOriginal"
EXIF_OFFSET = "Exif.Photo.OffsetTimeOriginal"
_GUID = re.compile(r"[0-9a-f]{32}\Z")  # Exif's ImageUniqueID holds exactly this


def to_xmp(record: RightsRecord) -> dict[str, Value]:
    """The record's XMP properties in a fixed order; the record is taken as tidied and valid."""
    properties: dict[str, Value] = {}
    for spec in TEXT_FIELDS:
        value = getattr(record, spec.name)
        if not value:
            continue
        if spec.many:
            items = [spec.vocabulary + item for item in value]
            properties[spec.xmp] = Seq(items) if spec.shape == "seq" else Bag(items)
        else:
            properties[spec.xmp] = Lang(value) if spec.shape == "lang" else spec.vocabulary + value
    if record.marked is not None:
        properties[MARKED] = "True" if record.marked else "False"
    for name, xmp in PARTY_FIELDS.items():
        parties: tuple[Party, ...] = getattr(record, name)
        if parties:
            properties[xmp] = Seq([_full({f"{xmp}ID": p.identifier, f"{xmp}Name": p.name}) for p in parties])
    if record.licensors:
        properties[LICENSOR] = Seq([_licensor(licensor) for licensor in record.licensors])
    for name, xmp in DATE_FIELDS.items():
        if getattr(record, name):
            properties[xmp] = getattr(record, name).isoformat()
    if record.captured_at:
        properties[CAPTURED] = _iso(record.captured_at)
    return properties


def to_iim(record: RightsRecord) -> list[tuple[str, str]]:
    """The record's IIM datasets, UTF-8 marked, each cut to its byte limit on a character boundary."""
    datasets: list[tuple[str, str]] = []
    for spec in TEXT_FIELDS:
        value = getattr(record, spec.name)
        if spec.iim and value:
            datasets += [(spec.iim, cut_bytes(text, spec.limit)) for text in (value if spec.many else (value,))]
    taken = record.captured_at
    if taken:
        datasets.append((IIM_DATE, taken.strftime("%Y-%m-%d")))
        if taken.tzinfo:  # IIM's time demands a zone; a camera clock without one is not given a false one
            offset = taken.strftime("%z")
            datasets.append((IIM_TIME, f"{taken:%H:%M:%S}{offset[:3]}:{offset[3:5]}"))
    return [("Iptc.Envelope.CharacterSet", "\x1b%G"), *datasets] if datasets else []


def to_exif(record: RightsRecord) -> dict[str, str]:
    """The record's Exif tags."""
    tags: dict[str, str] = {}
    if record.description:
        tags["Exif.Image.ImageDescription"] = record.description
    if record.creators:
        tags["Exif.Image.Artist"] = join_artists(record.creators)
    if record.copyright_notice:
        tags["Exif.Image.Copyright"] = record.copyright_notice
    taken = record.captured_at
    if taken:
        tags[EXIF_DATE] = taken.strftime("%Y:%m:%d %H:%M:%S")
        if taken.microsecond:
            tags[EXIF_SUBSEC] = f"{taken.microsecond:06d}".rstrip("0")
        if taken.tzinfo:
            offset = taken.strftime("%z")
            tags[EXIF_OFFSET] = f"{offset[:3]}:{offset[3:5]}"
    if _GUID.match(record.image_guid):
        tags["Exif.Photo.ImageUniqueID"] = record.image_guid
    if any(key.startswith("Exif.Photo.") for key in tags):
        tags["Exif.Photo.ExifVersion"] = "48 50 51 50"  # '0232'
    return tags


def cut_bytes(text: str, limit: int) -> str:
    """The longest start of a text that takes at most `limit` bytes in UTF-8, never half a character."""
    return text.encode()[:limit].decode(errors="ignore").rstrip() if len(text.encode()) > limit else text


def join_artists(names: tuple[str, ...]) -> str:
    """Several creators in Exif's one field: '; ' between, names with ; quoted (Metadata Working Group)."""
    return "; ".join('"' + n.replace('"', '""') + '"' if ";" in n or n.startswith('"') else n for n in names)


def split_artists(text: str) -> tuple[str, ...]:
    """The inverse of `join_artists`."""
    entries = re.findall(r'\s*("(?:[^"]|"")*"|[^;]*)\s*(?:;|$)', text)
    names = (
        n[1:-1].replace('""', '"') if n.startswith('"') and n.endswith('"') and len(n) > 1 else n.strip()
        for n in entries
    )
    return tuple(name for name in names if name)


def _licensor(licensor: Licensor) -> dict[str, str]:
    return _full({xmp: getattr(licensor, part) for part, xmp in LICENSOR_PARTS.items()})


def _full(parts: Mapping[str, str]) -> dict[str, str]:
    return {name: text for name, text in parts.items() if text}


def _iso(moment: datetime) -> str:
    text = moment.isoformat()
    return re.sub(r"(\.\d*?)0+(?=$|[+-])", r"\1", text) if moment.microsecond else text
