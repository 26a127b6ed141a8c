"""Small sound pictures whose metadata lie, one fault a file, and small files whose container lies.

The classes of fault are those of the files in the test folders of Exiv2 (0.27.6: test/data, tests/bugfixes), libexif
(0.6.24: test/testdata) and Pillow (12.0.0: Tests/images); every file is made here, none of theirs is copied. The
folders themselves go through by `python -m tests.benchmarks malformed FOLDER`. Layouts after CIPA DC-008 (Exif),
TIFF 6.0, ISO 16684-1 (XMP), IIM 4.2, ICC.1, W3C PNG and ISO/IEC 23008-12 (HEIF).
"""

from __future__ import annotations

import struct
import zlib
from functools import cache

from tests.bombs import chunk
from tests.imaging.core_pictures import heif, painted, saved

ORIENTATION, DATE, EXIF_IFD, GPS_IFD, MAKER_NOTE, EXPOSURE = 0x0112, 0x9003, 0x8769, 0x8825, 0x927C, 0x829A
SHORT, LONG, ASCII, RATIONAL, UNDEFINED, DOUBLE = 3, 4, 2, 5, 7, 12
XMP_HEAD, LONG_XMP_HEAD = b"http://ns.adobe.com/xap/1.0/\0", b"http://ns.adobe.com/xmp/extension/\0"


@cache
def sound(kind: str) -> bytes:
    return heif(painted(96, 64)) if kind == "HEIF" else saved(painted(96, 64), kind)


def segment(marker: int, body: bytes, length: int | None = None) -> bytes:
    """A JPEG with one more segment after its start; `length` is what it says of itself."""
    claim = len(body) + 2 if length is None else length
    data = sound("JPEG")
    return data[:2] + struct.pack(">BBH", 0xFF, marker, claim) + body + data[2:]


def entry(tag: int, kind: int, count: int, value: int | bytes) -> bytes:
    raw = value if isinstance(value, bytes) else struct.pack("<I", value)
    return struct.pack("<HHI", tag, kind, count) + raw.ljust(4, b"\0")[:4]


def directory(*entries: bytes, count: int | None = None, following: int = 0) -> bytes:
    claim = len(entries) if count is None else count
    return struct.pack("<H", claim) + b"".join(entries) + struct.pack("<I", following)


def exif(body: bytes, first: int = 8, order: bytes = b"II*\0") -> bytes:
    """A JPEG with this EXIF: the TIFF head, then `body`, which begins at offset 8."""
    return segment(0xE1, b"Exif\0\0" + order + struct.pack("<I", first) + body)


def resources(body: bytes, number: int = 0x0404, length: int | None = None) -> bytes:
    """A JPEG with one image resource, by default the one that holds IIM datasets."""
    claim = len(body) if length is None else length
    block = b"8BIM" + struct.pack(">H", number) + b"\0\0" + struct.pack(">I", claim) + body + bytes(len(body) % 2)
    return segment(0xED, b"Photoshop 3.0\0" + block)


def dataset(record: int, number: int, body: bytes, length: bytes | None = None) -> bytes:
    return bytes([0x1C, record, number]) + (struct.pack(">H", len(body)) if length is None else length) + body


def xmp(packet: bytes) -> bytes:
    return segment(0xE1, XMP_HEAD + packet)


def profile(*tags: tuple[bytes, int, int], count: int | None = None, size: int | None = None) -> bytes:
    """An RGB profile's head and table of tags; what the tags point at is zeros."""
    claim = len(tags) if count is None else count
    head = struct.pack(">I4sI4s4s4s", 0, b"lcms", 0x02400000, b"mntr", b"RGB ", b"XYZ ").ljust(36, b"\0") + b"acsp"
    body = head.ljust(128, b"\0") + struct.pack(">I", claim) + b"".join(struct.pack(">4sII", *tag) for tag in tags)
    body += bytes(200)
    return struct.pack(">I", len(body) if size is None else size) + body[4:]


def icc(body: bytes, number: int = 1, of: int = 1) -> bytes:
    return segment(0xE2, b"ICC_PROFILE\0" + bytes([number, of]) + body)


def png(*chunks: bytes) -> bytes:
    """A sound PNG with these chunks between its head and its pixels."""
    data = sound("PNG")
    return data[:33] + b"".join(chunks) + data[33:]


def tiff(*more: bytes, following: int = 0, **instead: int) -> bytes:
    """8 × 8 pixels of grey with further entries; `strips`, `sizes`: where and how long the pixels are said to be."""
    entries = [
        entry(256, SHORT, 1, 8), entry(257, SHORT, 1, 8), entry(258, SHORT, 1, 8), entry(259, SHORT, 1, 1),
        entry(262, SHORT, 1, 1), entry(273, LONG, instead.get("strip_count", 1), instead.get("strips", 400)),
        entry(277, SHORT, 1, 1), entry(278, SHORT, 1, 8), entry(279, LONG, 1, instead.get("sizes", 64)),
    ]  # fmt: skip
    table = directory(*entries, *more, following=following)
    return (b"II*\0" + struct.pack("<I", 8) + table).ljust(400, b"\0") + bytes(range(64)) + bytes(64)


def _exifs() -> dict[str, bytes]:
    turned = entry(ORIENTATION, SHORT, 1, 6)
    return {
        "a directory cut off in an entry": exif(directory(turned, count=3)[:20]),
        "a directory beyond the end": exif(b"", first=0x7FFFFFFF),
        "a directory at the last byte": exif(directory(turned), first=25),
        "a directory inside the head": exif(directory(turned), first=2),
        "a directory at zero": exif(directory(turned), first=0),
        "a directory that follows itself": exif(directory(turned, following=8)),
        "two directories in a ring": exif(directory(turned, following=26) + directory(turned, following=8)),
        "a detail directory that is the first one": exif(directory(entry(EXIF_IFD, LONG, 1, 8))),
        "a place directory that points at itself": exif(directory(entry(GPS_IFD, LONG, 1, 8))),
        "65,535 entries said": exif(directory(turned, count=0xFFFF)),
        "no entry": exif(directory()),
        "a count whose bytes pass 32 bits": exif(directory(entry(EXPOSURE, DOUBLE, 0x2000_0001, 8))),
        "a count of all there is": exif(directory(entry(0x010F, ASCII, 0xFFFF_FFFF, 8))),
        "a count of nothing": exif(directory(entry(ORIENTATION, SHORT, 0, 6))),
        "a value whose end passes 32 bits": exif(directory(entry(0x010F, ASCII, 32, 0xFFFF_FFF0))),
        "a type that is none": exif(directory(entry(ORIENTATION, 200, 1, 6), entry(0x010F, 0, 4, b"abcd"))),
        "an orientation in words": exif(directory(entry(ORIENTATION, ASCII, 4, b"six\0"))),
        "an orientation as a fraction": exif(directory(entry(ORIENTATION, RATIONAL, 1, 26)) + struct.pack("<II", 6, 1)),
        "an orientation of 65,535": exif(directory(entry(ORIENTATION, SHORT, 1, 0xFFFF))),
        "a time as a number": exif(directory(entry(EXIF_IFD, LONG, 1, 26)) + directory(entry(DATE, SHORT, 1, 7))),
        "a time that is none": exif(directory(entry(0x0132, ASCII, 20, 26)) + b"9999:99:99 99:99:99\0"),
        "a name without an end": exif(directory(entry(0x010F, ASCII, 9, 26)) + b"\xff\xfe\xc3(abcd"),
        "a fraction over nothing": exif(
            directory(entry(EXIF_IFD, LONG, 1, 26)) + directory(entry(EXPOSURE, RATIONAL, 1, 44)) + bytes(8)
        ),
        "a maker's note longer than the file": exif(
            directory(entry(EXIF_IFD, LONG, 1, 26)) + directory(entry(MAKER_NOTE, UNDEFINED, 0x7FFF_FFFF, 44))
        ),
        "a maker's note whose directory is itself": exif(
            directory(entry(0x010F, ASCII, 6, 44), entry(EXIF_IFD, LONG, 1, 50)).ljust(36, b"\0")
            + b"Nikon\0"
            + directory(entry(MAKER_NOTE, UNDEFINED, 64, 68))
            + b"Nikon\0\2\x10\0\0II*\0\x08\0\0\0"
            + directory(entry(0x0011, LONG, 1, 8), following=8).ljust(46, b"\0")
        ),
        "a small picture longer than the file": exif(
            directory(turned, following=26) + directory(entry(513, LONG, 1, 56), entry(514, LONG, 1, 0xFFFF_FF00))
        ),
        "an order of bytes that is none": exif(directory(turned), order=b"IM*\0"),
        "the other order of bytes": exif(directory(turned), order=b"MM\0*"),
        "only its name": segment(0xE1, b"Exif\0\0"),
        "two that differ": _after(exif(directory(turned)), exif(directory(entry(ORIENTATION, SHORT, 1, 3)))),
    }


def _after(one: bytes, two: bytes) -> bytes:
    """The first segment of `two` put before those of `one`."""
    (length,) = struct.unpack_from(">H", two, 4)
    return one[:2] + two[2 : 4 + length] + one[2:]


def _packets() -> dict[str, bytes]:
    rdf = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">%s</rdf:RDF></x:xmpmeta>'
    dc = b'<rdf:Description xmlns:dc="http://purl.org/dc/elements/1.1/">%s</rdf:Description>'
    extended = b"0" * 32 + struct.pack(">II", 0xFFFF_FFFF, 0xFFFF_FF00) + b"<x/>"
    return {
        "nothing in it": xmp(b""),
        "cut off in a tag": xmp((rdf % (dc % b"<dc:title>Ansa"))[:-60]),
        "bytes that are no text": xmp(rdf % (dc % b"<dc:title>\xff\xfe\xc3(</dc:title>")),
        "zeros in its text": xmp(rdf % (dc % b"<dc:title>\0\0</dc:title>")),
        "another code said than written": xmp(b'<?xml version="1.0" encoding="UTF-16"?>' + rdf % b""),
        "a prefix that is not declared": xmp(rdf % b"<rdf:Description><dc:title>x</dc:title></rdf:Description>"),
        "a document type with entities": xmp(
            b'<!DOCTYPE x [<!ENTITY a "b">]>' + rdf % (dc % b"<dc:title>&a;</dc:title>")
        ),
        "an entity of a file": xmp(
            b'<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]>' + rdf % (dc % b"<dc:title>&a;</dc:title>")
        ),
        "the same attribute twice": xmp(rdf % b'<rdf:Description rdf:about="" rdf:about=""/>'),
        "a list where a text stands": xmp(
            rdf % (dc % b"<dc:title><rdf:Bag><rdf:Bag><rdf:li/></rdf:Bag></rdf:Bag></dc:title>")
        ),
        "2,000 deep": xmp(rdf % (dc % (b"<dc:a><rdf:Description>" * 2000))),
        "a second part of four gigabytes": segment(0xE1, LONG_XMP_HEAD + extended),
    }


def _iims() -> dict[str, bytes]:
    utf8 = dataset(1, 90, b"\x1b%G")
    return {
        "a length of 4 bytes that lies": resources(dataset(2, 120, b"x", b"\x80\x04\xff\xff\xff\xff")),
        "a length of 32,767 bytes": resources(dataset(2, 120, b"x", b"\xff\xff")),
        "a length of no bytes": resources(dataset(2, 120, b"x", b"\x80\x00")),
        "a dataset cut off in its head": resources(dataset(2, 120, b"caption") + b"\x1c\x02"),
        "a dataset longer than the block": resources(dataset(2, 80, b"abc", b"\x40\x00")),
        "no mark before a dataset": resources(b"\0" + dataset(2, 80, b"abc")),
        "text that is not of its code": resources(utf8 + dataset(2, 80, b"\xff\xfe\xc3(")),
        "a day that is none": resources(dataset(2, 55, b"20269999") + dataset(2, 60, b"999999+9999")),
        "a thousand of one kind": resources(dataset(2, 25, b"word") * 1000),
        "a resource longer than its segment": resources(b"abc", length=0xFFFF_FFFF),
        "a digest of the wrong length": resources(b"abc", number=0x0425),
        "a resource without a name": segment(0xED, b"Photoshop 3.0\08BIM\x04"),
    }


def _profiles() -> dict[str, bytes]:
    far = (b"rTRC", 0xFFFF_FF00, 0x200)
    return {
        "piece 2 of 1": icc(profile(), 2, 1),
        "piece 0 of 0": icc(profile(), 0, 0),
        "one piece of 255": icc(profile(), 1, 255),
        "no byte of it": icc(b""),
        "its size a lie": icc(profile(size=0xFFFF_FFFF)),
        "four thousand million tags": icc(profile(count=0xFFFF_FFFF)),
        "a tag past its end": icc(profile(far)),
        "a tag upon its head": icc(profile((b"rTRC", 0, 128), (b"wtpt", 4, 20))),
        "no tag of those it needs": icc(profile((b"wtpt", 144, 20))),
        "text instead of it": icc(b"this is no profile " * 20),
    }


def _pngs() -> dict[str, bytes]:
    raw = b"Raw profile type exif\0"
    wrong = chunk(b"tEXt", b"Title\0x")
    return {
        "a profile without a name": png(chunk(b"iCCP", b"x" * 90)),
        "a profile that cannot be inflated": png(chunk(b"iCCP", b"a\0\0" + b"\xff" * 40)),
        "a profile that is text": png(chunk(b"iCCP", b"a\0\0" + zlib.compress(b"text" * 50))),
        "EXIF that is none": png(chunk(b"eXIf", b"\xff" * 40)),
        "EXIF in a ring": png(chunk(b"eXIf", b"II*\0\x08\0\0\0" + directory(entry(EXIF_IFD, LONG, 1, 8), following=8))),
        "text whose code is no code": png(chunk(b"iTXt", b"XML:com.adobe.xmp\0\1\7\0\0" + b"\xff" * 20)),
        "text without its parts": png(chunk(b"iTXt", b"XML:com.adobe.xmp\0\1")),
        "packed text cut off": png(chunk(b"zTXt", b"a\0\0" + zlib.compress(b"a" * 5000)[:-6])),
        "a raw profile of a length that lies": png(
            chunk(b"zTXt", raw + b"\0" + zlib.compress(b"\nexif\n 4294967295\n00"))
        ),
        "a raw profile that is no number": png(chunk(b"tEXt", raw + b"\nexif\n -1\nzz\n")),
        "a sum that is wrong beside the pixels": png(wrong[:-1] + bytes([wrong[-1] ^ 1])),
        "a density of three bytes": png(chunk(b"pHYs", b"abc")),
        "colours of nothing": png(chunk(b"gAMA", bytes(4)), chunk(b"cHRM", bytes(32))),
        "a time that is none": png(chunk(b"tIME", b"\xff" * 7)),
        "a palette longer than it may be": png(chunk(b"PLTE", bytes(3 * 300))),
        "a chunk of two gigabytes": png(struct.pack(">I", 0x7FFF_FFFF) + b"tEXtabc"),
    }


def _tiffs() -> dict[str, bytes]:
    return {
        "directories in a ring": tiff(following=8),
        "a directory beyond the end after it": tiff(following=0x7FFF_FFF0),
        "a profile beyond the end": tiff(entry(34675, UNDEFINED, 3000, 0x7FFF_0000)),
        "a packet beyond the end": tiff(entry(700, 1, 0xFFFF_FFFF, 40)),
        "IIM as long numbers": tiff(entry(33723, LONG, 0x4000_0001, 40)),
        "a detail directory that is the first one": tiff(entry(EXIF_IFD, LONG, 1, 8)),
        "sub-directories in a ring": tiff(entry(330, LONG, 1, 8)),
        "pixels beyond the end": tiff(strips=0x7FFF_0000),
        "pixels longer than the file": tiff(sizes=0x7FFF_FFFF),
        "a thousand million strips": tiff(strip_count=0x3FFF_FFFF),
    }


def _heifs() -> dict[str, bytes]:
    data, small = sound("HEIF"), painted(96, 64)
    place = data.index(b"iloc")
    return {
        "EXIF that is none": heif(small, exif=b"\xff" * 60),
        "EXIF in a ring": heif(
            small, exif=b"Exif\0\0II*\0\x08\0\0\0" + directory(entry(EXIF_IFD, LONG, 1, 8), following=8)
        ),
        "a packet that is none": heif(small, xmp=b"<x:xmpmeta" + b"\xff" * 30),
        "a box longer than the file": data[: place - 4] + struct.pack(">I", 0x7FFF_FFFF) + data[place:],
        "a box of no length": data[: place - 4] + bytes(4) + data[place:],
        "a box shorter than its head": data[: place - 4] + struct.pack(">I", 4) + data[place:],
        "a picture that lies elsewhere": data[: place + 12] + b"\xff" * 12 + data[place + 24 :],
    }


def _others() -> dict[str, bytes]:
    return {
        "a segment of length 0": segment(0xE1, b"Exif\0\0", 0),
        "a segment of length 1": segment(0xE1, b"Exif\0\0", 1),
        "a segment shorter than it is": segment(0xE1, b"Exif\0\0" + bytes(40), 10),
        "a segment longer than the file": segment(0xE1, b"Exif\0\0", 0xFFFF),
        "a table of further pictures that lies": segment(0xE2, b"MPF\0II*\0\x08\0\0\0" + directory(count=500)),
        "WebP with a chunk that lies": b"RIFF\xff\xff\xff\xffWEBPVP8X\xff\xff\xff\x7f" + bytes(40),
    }


# The pixels are sound and only what stands beside them lies: such a picture is never lost over it.
BESIDE = ("EXIF", "XMP", "IIM")


def files() -> dict[str, bytes]:
    """By the kind of metadata or container, and what is wrong with it."""
    kinds = {
        "EXIF": _exifs(), "XMP": _packets(), "IIM": _iims(), "ICC": _profiles(), "PNG": _pngs(), "TIFF": _tiffs(),
        "HEIF": _heifs(), "JPEG": _others(),
    }  # fmt: skip
    return {f"{kind}, {what}": data for kind, by_fault in kinds.items() for what, data in by_fault.items()}
