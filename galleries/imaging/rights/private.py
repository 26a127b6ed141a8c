"""Names what a file carries that a delivered one must not: places, serial numbers, owners, maker notes."""

from __future__ import annotations

import re

from galleries.imaging.rights.engine import RawMetadata

_PRIVATE: tuple[tuple[str, str], ...] = (
    (r"Exif\.GPSInfo\.|Xmp\.exif\.GPS|LocationCreatedGPS|.*GPSL(at|ong)itude", "a GPS position"),
    (r"Exif\..*Serial|Xmp\.(aux|exifEX)\..*Serial", "a serial number"),
    (r"Exif\..*Owner|Xmp\.(aux|exifEX)\..*Owner|Exif\.Image\.HostComputer", "the name of the camera's owner"),
    (r"Exif\.Photo\.MakerNote|Exif\.MakerNote", "maker notes"),
    (r"Exif\.(Thumbnail|Image2|Image3)\.|Xmp\.xmp\.Thumbnails", "a thumbnail"),
    (
        r"Xmp\.photoshop\.(City|State|Country)|Xmp\.iptc\.(Location|CountryCode)|Xmp\.iptcExt\.Location"
        r"|Iptc\.Application2\.(City|SubLocation|ProvinceState|CountryCode|CountryName|LocationName|LocationCode)",
        "the name of a place",
    ),
    (r"Xmp\.xmpMM\.History|Xmp\.photoshop\.History|Xmp\.crs\.", "the history of its editing"),
)


def private_data(raw: RawMetadata) -> tuple[str, ...]:
    """What is there, in words, in a fixed order; empty for a clean file."""
    keys = [*raw.exif, *raw.iim, *raw.xmp]
    return tuple(words for pattern, words in _PRIVATE if any(re.match(pattern, key) for key in keys))
