"""Rights metadata of a picture: write it, read it back, compare it. Pixels are never re-encoded.

What is written is an allow-list: everything the file carried is dropped first, apart from its profile,
resolution and orientation. XMP, IIM and Exif say the same (Metadata Working Group guidance 2.0); the same
input always gives the same bytes.
"""

from __future__ import annotations

from galleries.imaging.codes import Code
from galleries.imaging.rights import engine, fields, mandatory
from galleries.imaging.rights import strip as container
from galleries.imaging.rights.read import rights_in
from galleries.imaging.rights.record import EMPTY, RightsFound, RightsRecord, shown
from galleries.imaging.rights.xmp import packet
from galleries.told import Told, told

_RESOLUTION = ("Exif.Image.XResolution", "Exif.Image.YResolution", "Exif.Image.ResolutionUnit")
# Exiv2 0.28 takes the length byte 0x1C of a PNG's IIM block for a dataset marker and then reads nothing. The version of
# record 2 (IIM 4.2, dataset 2:00) makes such a block longer; other readers don't mind either way.
_MISREAD_LENGTH = 0x1C
_RECORD_VERSION = "Iptc.Application2.RecordVersion"
_ORIENTATION = "Exif.Image.Orientation"


def write_rights(data: bytes, record: RightsRecord) -> bytes:
    """The same JPEG, TIFF or PNG carrying exactly the record and nothing else.

    Raises BadRights (the record contradicts itself or does not fit), Unsupported, Unreadable.
    """
    tidy = record.tidied()
    tidy.validate()
    return _write(data, tidy)


def strip_metadata(data: bytes) -> bytes:
    """The same picture with pixels, profile, resolution and orientation only."""
    return _write(data, EMPTY)


def read_rights(data: bytes) -> RightsFound:
    """What a JPEG, TIFF or PNG says about its rights; raises Unsupported or Unreadable."""
    return rights_in(data)


def xmp_packet(record: RightsRecord) -> str:
    """The record as an XMP packet, for a sidecar file; raises BadRights."""
    tidy = record.tidied()
    tidy.validate()
    return packet(fields.to_xmp(tidy))


def check(data: bytes, record: RightsRecord) -> list[Told]:
    """Differences between what a file says and what it should say; empty when all agrees.

    Every container is compared on its own: XMP, IIM (to its byte limits) and Exif; data that must not be
    there is named as well.
    """
    tidy, reading = record.tidied(), read_rights(data)
    raw = engine.read(data)
    differences = [
        told(
            Code.RIGHTS_FIELD,
            field=name,
            wanted=shown(getattr(tidy, name)),
            actual=shown(getattr(reading.record, name)),
        )
        for name in tidy.__dataclass_fields__
        if getattr(tidy, name) != getattr(reading.record, name)
    ]
    wanted: dict[str, tuple[str, ...]] = {}
    for key, value in fields.to_iim(tidy):
        wanted[key] = (*wanted.get(key, ()), value)
    wanted.pop("Iptc.Envelope.CharacterSet", None)
    own = {key: values for key, values in raw.iim.items() if not key.startswith("Iptc.Envelope.")}
    actual = {key: values for key, values in own.items() if key != _RECORD_VERSION}
    for key in sorted({*wanted, *actual}):
        if wanted.get(key) != actual.get(key):
            name = f"IIM {key.split('.')[-1]}"
            both = {"wanted": shown(wanted.get(key)), "actual": shown(actual.get(key))}
            differences.append(told(Code.RIGHTS_FIELD, field=name, **both))
    for key, value in fields.to_exif(tidy).items():
        if raw.exif.get(key, "").strip() != value:
            name = f"Exif {key.split('.')[-1]}"
            differences.append(told(Code.RIGHTS_FIELD, field=name, wanted=value, actual=shown(raw.exif.get(key))))
    return [*differences, *reading.disagreements, *reading.private]


def _write(data: bytes, record: RightsRecord) -> bytes:
    kind = container.kind_of(data)
    stripped = container.strip(data)
    properties = fields.to_xmp(record)
    recorded = fields.to_exif(record)
    exif = {**mandatory.exif(kind, stripped, recorded), **_kept_exif(kind, data, stripped), **recorded}
    iim = fields.to_iim(record)
    if kind == "PNG" and sum(5 + len(value.encode()) for _key, value in iim) % 256 == _MISREAD_LENGTH:
        iim = [*iim, (_RECORD_VERSION, "4")]
    if not properties and not exif and not iim:
        return stripped
    written = engine.write(stripped, packet(properties) if properties else "", iim, exif)
    return mandatory.with_digest(written) if iim and kind == "JPEG" else written


def _kept_exif(kind: str, data: bytes, stripped: bytes) -> dict[str, str]:
    """Orientation, and resolution where only Exif holds it; a TIFF keeps both as its own structure."""
    if kind == "TIFF":
        return {}
    exif = engine.read(data).exif
    kept = {_ORIENTATION: exif[_ORIENTATION]} if exif.get(_ORIENTATION, "1") in tuple("2345678") else {}
    if kind == "JPEG" and stripped[2:4] != b"\xff\xe0" and all(exif.get(key) for key in _RESOLUTION):
        kept.update({key: exif[key] for key in _RESOLUTION})
    return kept
