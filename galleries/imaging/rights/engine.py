"""The one door to the Exiv2 library: its state is global and not thread safe, so every call takes the lock.

Exiv2 may write into the very buffer it was given (seen with TIFF), so callers hand over bytes that nobody
else holds.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import exiv2

from galleries.imaging.codes import Code
from galleries.imaging.errors import BadRights, Unreadable

_LOCK = threading.Lock()
exiv2.XmpParser.initialize()
exiv2.LogMsg.setLevel(exiv2.LogMsg.Level.mute)  # odd files are reported by us, in sentences


@dataclass(frozen=True)
class RawMetadata:
    """Everything a file carries, as text: Exif and XMP by Exiv2 key, IIM by key with repeats."""

    exif: Mapping[str, str] = field(default_factory=dict)
    iim: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    xmp: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


def read(data: bytes) -> RawMetadata:
    """All metadata of a picture; raises Unreadable when the container can't be read."""
    with _LOCK:
        try:
            image = exiv2.ImageFactory.open(data)
            image.readMetadata()
            exif = {datum.key(): _exif_text(datum) for datum in image.exifData()}
            iim: dict[str, tuple[str, ...]] = {}
            for datum in image.iptcData():
                iim[datum.key()] = (*iim.get(datum.key(), ()), _readable(datum.toString()))
            xmp = {datum.key(): tuple(map(_readable, _xmp_texts(datum))) for datum in image.xmpData()}
            return RawMetadata(exif, iim, xmp)
        except exiv2.Exiv2Error as error:
            raise Unreadable(Code.RIGHTS_UNREADABLE, reason=_reason(error)) from error


def write(data: bytes, packet: str, iim: Sequence[tuple[str, str]], exif: Mapping[str, str]) -> bytes:
    """A stripped picture with the given XMP packet, IIM datasets and Exif tags added; pixels untouched."""
    with _LOCK:
        try:
            image = exiv2.ImageFactory.open(data)
            image.readMetadata()
            for key, value in exif.items():
                image.exifData()[key] = _exif_value(key, value)
            for key, value in iim:
                entry = exiv2.Value.create(exiv2.IptcDataSets.dataSetType(*_dataset(key)))
                entry.read(value)
                image.iptcData().add(exiv2.IptcKey(key), entry)
            if packet:
                image.setXmpPacket(packet)
                image.writeXmpFromPacket(True)
            image.writeMetadata()
            return _content(image)
        except exiv2.Exiv2Error as error:
            raise BadRights(Code.RIGHTS_UNWRITABLE, reason=_reason(error)) from error


def _content(image: exiv2.Image) -> bytes:
    source = image.io()
    source.open()
    try:
        return bytes(source.mmap())
    finally:
        source.munmap()
        source.close()


def _dataset(key: str) -> tuple[int, int]:
    parsed = exiv2.IptcKey(key)
    return parsed.tag(), parsed.record()


def _exif_value(key: str, text: str) -> exiv2.Value:
    value = exiv2.Value.create(exiv2.ExifKey(key).defaultTypeId())
    value.read(text)
    return value


def _exif_text(datum: exiv2.Exifdatum) -> str:
    return "" if datum.size() > 65536 else _readable(datum.toString())  # a long text is not a rights statement


def _xmp_texts(datum: exiv2.Xmpdatum) -> tuple[str, ...]:
    value = datum.value()
    if isinstance(value, exiv2.LangAltValue):
        texts = dict(value)
        return (texts["x-default"],) if "x-default" in texts else tuple(texts.values())[:1]
    if isinstance(value, exiv2.XmpArrayValue):
        return tuple(value.toString(index) for index in range(value.count()))
    if isinstance(value, exiv2.XmpTextValue) and value.xmpArrayType() != exiv2.XmpValue.XmpArrayType.xaNone:
        return ()
    return (str(value.toString()),)


def _readable(text: str) -> str:
    """Text that is no UTF-8 (older IIM and Exif) taken as Windows-1252, the usual code page of its time."""
    try:
        text.encode()
    except UnicodeEncodeError:
        return text.encode("utf-8", "surrogateescape").decode("cp1252", "replace")
    return text


def _reason(error: exiv2.Exiv2Error) -> str:
    return str(getattr(error, "message", error)).rstrip(".")[:200]  # the library's own words, for whoever looks closer
