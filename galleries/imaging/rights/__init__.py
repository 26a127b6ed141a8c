"""Rights metadata of a picture: written, read back, compared. What other rooms may use is named here."""

from galleries.imaging.rights.record import EMPTY, Licensor, Party, RightsFound, RightsRecord
from galleries.imaging.rights.write import check, read_rights, strip_metadata, write_rights, xmp_packet

__all__ = [
    "EMPTY",
    "Licensor",
    "Party",
    "RightsFound",
    "RightsRecord",
    "check",
    "read_rights",
    "strip_metadata",
    "write_rights",
    "xmp_packet",
]
