"""Names what a file carries that a delivered one must not: places, serial numbers, owners, maker notes."""

from __future__ import annotations

import re

from galleries.imaging.codes import Code
from galleries.imaging.rights.engine import RawMetadata
from galleries.told import Told, told

_PRIVATE: tuple[tuple[str, Code], ...] = (
    (r"Exif\.GPSInfo\.|Xmp\.exif\.GPS|LocationCreatedGPS|.*GPSL(at|ong)itude", Code.PRIVATE_POSITION),
    (r"Exif\..*Serial|Xmp\.(aux|exifEX)\..*Serial", Code.PRIVATE_SERIAL),
    (r"Exif\..*Owner|Xmp\.(aux|exifEX)\..*Owner|Exif\.Image\.HostComputer", Code.PRIVATE_OWNER),
    (r"Exif\.Photo\.MakerNote|Exif\.MakerNote", Code.PRIVATE_MAKER_NOTES),
    (r"Exif\.(Thumbnail|Image2|Image3)\.|Xmp\.xmp\.Thumbnails", Code.PRIVATE_THUMBNAIL),
    (
        r"Xmp\.photoshop\.(City|State|Country)|Xmp\.iptc\.(Location|CountryCode)|Xmp\.iptcExt\.Location"
        r"|Iptc\.Application2\.(City|SubLocation|ProvinceState|CountryCode|CountryName|LocationName|LocationCode)",
        Code.PRIVATE_PLACE,
    ),
    (r"Xmp\.xmpMM\.History|Xmp\.photoshop\.History|Xmp\.crs\.", Code.PRIVATE_HISTORY),
)


def private_data(raw: RawMetadata) -> tuple[Told, ...]:
    """What is there, in a fixed order; empty for a clean file."""
    keys = [*raw.exif, *raw.iim, *raw.xmp]
    return tuple(told(code) for pattern, code in _PRIVATE if any(re.match(pattern, key) for key in keys))
