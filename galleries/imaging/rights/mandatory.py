"""What a file must carry beside what the record says, so that others read it without complaint.

Exif tags that CIPA DC-008 (Exif 2.32, 4.6.8 'tag support levels') marks as mandatory for compressed and uncompressed
RGB pictures, and the digest of the IIM block that the Metadata Working Group's guidance 2.0 asks for beside it (image
resource 0x0425) [std, from memory]. Everything is told from the file itself: it states nothing about anybody.
"""

from __future__ import annotations

import hashlib
import struct

from galleries.imaging.containers import jpeg
from galleries.imaging.errors import BadProfile
from galleries.imaging.rights import strip as container

_VERSION, _FLASHPIX = "48 50 51 50", "48 49 48 48"  # '0232' and '0100'
_SRGB, _UNCALIBRATED = "1", "65535"
_COMPONENTS = {1: "1 0 0 0", 3: "1 2 3 0"}  # Y alone; Y, Cb, Cr
_UNITS = {1: "2", 2: "3"}  # JFIF's inch and centimetre as Exif counts them
_PROFILE = 34675  # its tag in a TIFF
_APP13, _LEAD, _DIGEST = 0xED, b"Photoshop 3.0\0", 0x0425
_LONGEST = 0xFFFF  # of a segment, its length counted


def exif(kind: str, stripped: bytes, record: dict[str, str]) -> dict[str, str]:
    """The tags that must stand beside `record`'s; none where the record has none or the kind of file asks for none."""
    if not record:
        return {}
    if kind == "JPEG":
        return _of_jpeg(stripped)
    if kind == "TIFF" and any(key.startswith("Exif.Photo.") for key in record):
        icc = container.tiff_entries(stripped)[1].get(_PROFILE, (0, 0, b""))[2]
        return {"Exif.Photo.FlashpixVersion": _FLASHPIX, "Exif.Photo.ColorSpace": _space(icc)}
    return {}


def _of_jpeg(stripped: bytes) -> dict[str, str]:
    parts = jpeg.read_parts(stripped)
    tags = {
        **_resolution(stripped),
        "Exif.Image.YCbCrPositioning": "1",
        "Exif.Photo.ExifVersion": _VERSION,
        "Exif.Photo.FlashpixVersion": _FLASHPIX,
        "Exif.Photo.ColorSpace": _space(parts.icc),
        "Exif.Photo.PixelXDimension": str(parts.width),
        "Exif.Photo.PixelYDimension": str(parts.height),
    }
    if parts.components in _COMPONENTS:
        tags["Exif.Photo.ComponentsConfiguration"] = _COMPONENTS[parts.components]
    return tags


def _resolution(stripped: bytes) -> dict[str, str]:
    """As the JFIF header says; 72 an inch, Exif's word for unknown, where it says none."""
    unit, across, down = "2", 72, 72
    if stripped[2:4] == b"\xff\xe0":
        said_unit, said_across, said_down = struct.unpack_from(">BHH", stripped, 13)
        if said_unit in _UNITS and said_across and said_down:
            unit, across, down = _UNITS[said_unit], said_across, said_down
    return {
        "Exif.Image.XResolution": f"{across}/1",
        "Exif.Image.YResolution": f"{down}/1",
        "Exif.Image.ResolutionUnit": unit,
    }


def _space(icc: bytes) -> str:
    """Exif knows sRGB and 'uncalibrated'; a file without a profile is taken as sRGB everywhere."""
    # Loaded here: who writes sidecars or reads rights pays for no pixels.
    from galleries.imaging.colour import convert

    try:
        same = not icc or (icc[16:20] == b"RGB " and convert.same_colours(icc, convert.srgb_profile()))
    except BadProfile:
        same = False
    return _SRGB if same else _UNCALIBRATED


def with_digest(data: bytes) -> bytes:
    """The JPEG with the digest of its IIM block beside it; unchanged where there is no block.

    JPEG only: in a TIFF the same resource makes Exiv2 write the IIM block a second time, where readers don't expect it.
    """
    at = 2
    for marker, segment in container.jpeg_segments(data):
        if marker == _APP13 and segment[4:].startswith(_LEAD):
            (size,) = struct.unpack_from(">I", segment, 4 + len(_LEAD) + 8)
            start = 4 + len(_LEAD) + 12
            resource = _resource(segment[start : start + size])
            if len(segment) - 2 + len(resource) > _LONGEST:
                return data
            grown = struct.pack(">BBH", 0xFF, _APP13, len(segment) - 2 + len(resource)) + segment[4:] + resource
            return data[:at] + grown + data[at + len(segment) :]
        at += len(segment)
    return data


def _resource(block: bytes) -> bytes:
    digest = hashlib.md5(block, usedforsecurity=False).digest()
    return struct.pack(">4sHHI", b"8BIM", _DIGEST, 0, len(digest)) + digest
