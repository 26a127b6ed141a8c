"""Content credentials written into a file that this program has just made.

The key never passes into the library: it hands out what is to be signed and takes the signature.
"""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Callable
from dataclasses import dataclass

from galleries.imaging.codes import Code
from galleries.imaging.credentials import library
from galleries.imaging.credentials.origin import Origin, definition
from galleries.imaging.errors import BadCredentials

# Segments that a JPEG splits the manifest into, and the directory entry of a TIFF: beside what is measured.
SPARE = 512


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


# A PNG of one grey pixel (ISO/IEC 15948): as little as the library takes for a picture.
_NOTHING = b"\x89PNG\r\n\x1a\n" + b"".join(
    (
        _chunk(b"IHDR", struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0)),
        _chunk(b"IDAT", zlib.compress(b"\0\0")),
        _chunk(b"IEND", b""),
    )
)


@dataclass(frozen=True)
class Signer:
    """`chain`: certificates in PEM, the signer's own first; `signature`: bytes → 64 of ES256, r then s (RFC 7518 3.4);
    `anchors`: certificates in PEM that the chain leads to."""

    chain: str
    anchors: str
    signature: Callable[[bytes], bytes]


def sign(data: bytes, origin: Origin, seed: str, signer: Signer) -> bytes:
    """The file with its credentials inside; its pixels and other metadata are what they were. `seed`: see `definition`.

    Not the same bytes a second time: the format salts what it hashes, so that nothing can be guessed from it.
    Raises `BadCredentials`.
    """
    import c2pa

    kind = library.media_type(data)
    target = io.BytesIO()
    try:
        author = c2pa.Signer.from_callback(signer.signature, c2pa.C2paSigningAlg.ES256, signer.chain)
        with (
            author,
            c2pa.Context.from_dict(library.settings(signer.anchors)) as context,
            c2pa.Builder(definition(origin, kind, seed), context=context) as builder,
        ):
            builder.sign(author, kind, io.BytesIO(data), target)
    except c2pa.C2paError as error:
        raise BadCredentials(Code.CREDENTIALS_UNWRITABLE, reason=str(error)[:300]) from error
    return target.getvalue()


def room(origin: Origin, seed: str, signer: Signer) -> int:
    """Bytes that the credentials take in a file at most, measured on one of nothing else."""
    return len(sign(_NOTHING, origin, seed, signer)) - len(_NOTHING) + SPARE
