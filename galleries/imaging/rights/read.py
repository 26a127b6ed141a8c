"""Reads what a picture says about its rights and settles differences by the Metadata Working Group's order.

Order [Metadata Working Group, Guidelines for Handling Image Metadata 2.0]: Exif first, then XMP unless the
stored IIM digest is stale (somebody changed IIM later), then IIM.
"""

from __future__ import annotations

import hashlib
import re
import struct
from datetime import date, datetime
from typing import Any

from galleries.imaging.codes import Code
from galleries.imaging.errors import Unreadable
from galleries.imaging.rights import engine, fields
from galleries.imaging.rights import strip as container
from galleries.imaging.rights.further import further
from galleries.imaging.rights.private import private_data
from galleries.imaging.rights.record import EMPTY, Licensor, Party, RightsFound, shown
from galleries.imaging.rights.vocabulary import bare
from galleries.told import Told, told

_EXIV2_PREFIX = {"Iptc4xmpCore": "iptc", "Iptc4xmpExt": "iptcExt"}


class _Reader:
    """Collects values, their sources and what does not fit together, for one file."""

    def __init__(self, raw: engine.RawMetadata, digest: str) -> None:
        self.raw, self.stale = raw, digest == "stale"
        self.values: dict[str, Any] = {}
        self.sources: dict[str, str] = {}
        self.disagreements: list[Told] = []
        self.problems: list[Told] = []

    def settle(self, name: str, claims: dict[str, Any], limit: int = 0) -> None:
        """Choose among what the containers say about one field, and note where they differ."""
        claims = {source: value for source, value in claims.items() if value}
        order = ("Exif", "IIM", "XMP") if self.stale else ("Exif", "XMP", "IIM")
        chosen = next((source for source in order if source in claims), None)
        if chosen is None:
            return
        self.values[name], self.sources[name] = claims[chosen], chosen
        if chosen == "IIM" and _agree(claims.get("XMP"), claims["IIM"], "IIM", limit):
            self.values[name], self.sources[name] = claims["XMP"], "XMP"  # the same text, not cut
        for source, value in claims.items():
            if source != chosen and not _agree(claims[chosen], value, source, limit):
                here = {"source": chosen, "value": shown(claims[chosen])}
                there = {"other_source": source, "other_value": shown(value)}
                self.disagreements.append(told(Code.RIGHTS_DIFFER, field=name, **here, **there))

    def texts(self, name: str) -> tuple[str, ...]:
        return tuple(t.strip() for t in self.raw.xmp.get(_key(name), ()) if t.strip())

    def day(self, name: str, xmp: str) -> None:
        for text in self.texts(xmp)[:1]:
            try:
                self.values[name], self.sources[name] = date.fromisoformat(text[:10]), "XMP"
            except ValueError:
                self.problems.append(told(Code.RIGHTS_DATE, field=name, value=text))

    def structures(self, xmp: str) -> list[dict[str, str]]:
        """The entries of a Seq, Bag or single structure: part name → text."""
        entries: dict[int, dict[str, str]] = {}
        pattern = re.compile(re.escape(_key(xmp)) + r"(?:\[(\d+)\])?/([^/\[]+)\Z")
        for key, texts in self.raw.xmp.items():
            match = pattern.match(key)
            if match and texts:
                entries.setdefault(int(match[1] or 1), {})[match[2]] = texts[0].strip()
        return [entries[index] for index in sorted(entries)]


def rights_in(data: bytes) -> RightsFound:
    """What the file says; see `rights.read_rights`."""
    kind = container.kind_of(data)
    raw = engine.read(data)
    digest = iim_digest(kind, data)
    reader = _Reader(raw, digest)
    for spec in fields.TEXT_FIELDS:
        _read_text(reader, spec)
    marked = reader.texts(fields.MARKED)
    if marked:
        reader.values["marked"], reader.sources["marked"] = marked[0].lower() == "true", "XMP"
    for name, xmp in fields.DATE_FIELDS.items():
        reader.day(name, xmp)
    for name, xmp in fields.PARTY_FIELDS.items():
        parties = tuple(Party(part.get(f"{xmp}Name", ""), part.get(f"{xmp}ID", "")) for part in reader.structures(xmp))
        reader.settle(name, {"XMP": parties})
    reader.settle(
        "licensors",
        {
            "XMP": tuple(
                Licensor(**{name: part.get(xmp, "") for name, xmp in fields.LICENSOR_PARTS.items()})
                for part in reader.structures(fields.LICENSOR)
            )
        },
    )
    _read_capture(reader)
    record = EMPTY.__class__(**{**EMPTY.__dict__, **reader.values})
    return RightsFound(
        record,
        kind,
        reader.sources,
        tuple(reader.disagreements),
        private_data(raw),
        digest,
        tuple(reader.problems),
        further(raw),
    )


def iim_digest(kind: str, data: bytes) -> str:
    """'none', 'matches' or 'stale': the MD5 of the IIM block stored beside it (Photoshop resource 0x0425)."""
    resources = _photoshop_resources(_photoshop_block(kind, data))
    stored, block = resources.get(0x0425), resources.get(0x0404)
    if kind == "TIFF":
        block = container.tiff_entries(data)[1].get(33723, (0, 0, b""))[2] or block
    if stored is None or block is None or stored == b"\x00" * 16:
        return "none"
    padded = (block, block.rstrip(b"\x00"))  # a TIFF of four-byte words pads the block
    return "matches" if stored in [hashlib.md5(b, usedforsecurity=False).digest() for b in padded] else "stale"


def _read_text(reader: _Reader, spec: fields.TextField) -> None:
    raw = reader.raw
    xmp = tuple(bare(text, spec.vocabulary) if spec.vocabulary else text for text in reader.texts(spec.xmp))
    iim = tuple(text.strip() for text in raw.iim.get(spec.iim, ()) if text.strip())
    exif_text = raw.exif.get(spec.exif, "").strip() if spec.exif else ""
    if spec.many:
        claims: dict[str, Any] = {"Exif": fields.split_artists(exif_text), "XMP": xmp, "IIM": iim}
    else:
        claims = {"Exif": exif_text, "XMP": xmp[0] if xmp else "", "IIM": iim[0] if iim else ""}
    if spec.name == "image_guid" and claims["XMP"]:
        claims.pop("Exif")  # the camera's own number is another name for the picture, not a contradiction
    reader.settle(spec.name, claims, spec.limit)


def _read_capture(reader: _Reader) -> None:
    raw = reader.raw
    claims: dict[str, Any] = {}
    stamp = raw.exif.get(fields.EXIF_DATE, "").strip()
    iso = re.sub(r"^(\d{4}):(\d\d):(\d\d) ", r"\1-\2-\3T", stamp)
    fraction = raw.exif.get(fields.EXIF_SUBSEC, "").strip()
    iso += f".{fraction[:6].ljust(6, '0')}" if fraction.isdigit() else ""
    for source, text in (
        ("Exif", iso + raw.exif.get(fields.EXIF_OFFSET, "").strip()),
        ("XMP", "".join(reader.texts(fields.CAPTURED)[:1])),
    ):
        if not text:
            continue
        try:
            claims[source] = datetime.fromisoformat(text)
        except ValueError:
            if source == "XMP" or stamp.strip(" 0:"):
                reader.problems.append(told(Code.RIGHTS_CAPTURE_DATE, source=source, value=text))
    days = raw.iim.get(fields.IIM_DATE, ())
    if days and not claims:
        try:
            time = "".join(raw.iim.get(fields.IIM_TIME, ())[:1])
            claims["IIM"] = datetime.fromisoformat(f"{days[0]}T{time}" if time else days[0])
        except ValueError:
            reader.problems.append(told(Code.RIGHTS_CAPTURE_DATE, source="IIM", value=days[0]))
    reader.settle("captured_at", claims)


def _agree(first: Any, second: Any, source: str, limit: int) -> bool:
    """Whether two containers agree, allowing IIM its byte limit and clocks without a zone or fraction."""
    if isinstance(first, datetime) and isinstance(second, datetime):
        return first.replace(tzinfo=None, microsecond=0) == second.replace(tzinfo=None, microsecond=0)
    if source == "IIM" and limit and first is not None:
        if isinstance(first, tuple):
            first = tuple(fields.cut_bytes(text, limit) for text in first)
        else:
            first = fields.cut_bytes(first, limit)
    return bool(first == second)


def _key(name: str) -> str:
    prefix, _, local = name.partition(":")
    return f"Xmp.{_EXIV2_PREFIX.get(prefix, prefix)}.{local}"


def _photoshop_block(kind: str, data: bytes) -> bytes:
    if kind == "TIFF":
        return container.tiff_entries(data)[1].get(34377, (0, 0, b""))[2]
    if kind == "JPEG":
        head = b"Photoshop 3.0\x00"
        try:
            return b"".join(
                segment[4 + len(head) :]
                for marker, segment in container.jpeg_segments(data)
                if marker == 0xED and segment[4:].startswith(head)
            )
        except Unreadable:
            return b""  # a picture that breaks off may still tell its rights
    return b""


def _photoshop_resources(block: bytes) -> dict[int, bytes]:
    resources, at = {}, 0
    while block[at : at + 4] == b"8BIM" and at + 12 <= len(block):
        number = struct.unpack_from(">H", block, at + 4)[0]
        at += 6 + (block[at + 6] + 2) // 2 * 2
        if at + 4 > len(block):
            break
        size = struct.unpack_from(">I", block, at)[0]
        resources[number] = block[at + 4 : at + 4 + size]
        at += 4 + (size + 1) // 2 * 2
    return resources
