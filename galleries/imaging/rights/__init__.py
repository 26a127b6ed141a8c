"""Rights metadata of a picture: written, read back, compared. What other rooms may use is named here.

What writes and reads files brings a library of 11 MB along, which decoders need and pages of the site do not: it is
loaded when somebody asks for it.
"""

from typing import TYPE_CHECKING, Any

from galleries.imaging.rights.record import EMPTY, Licensor, Party, RightsFound, RightsRecord

if TYPE_CHECKING:
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


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(name)
    from galleries.imaging.rights import write

    return getattr(write, name)
