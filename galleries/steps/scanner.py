"""A search for known malware in what comes in, by the operator's ClamAV, where `PORTAL_SCANNER` names its socket.

The bytes go over the socket in pieces (INSTREAM of clamd(8)): the daemon needs no right to the site's files. Nothing is
let in that it did not look at to the end.
"""

from __future__ import annotations

import io
import logging
import socket
import struct
from contextlib import closing
from pathlib import Path
from typing import IO

from django.conf import settings

from galleries.errors import BadInput
from galleries.told import told
from galleries.words.steps import Code

PIECE = 1 << 18
ANSWER = 4096  # bytes; it is one line
COMMAND = b"zINSTREAM\0"
CLEAN, FOUND, TOO_LARGE = "stream: OK", " FOUND", "size limit exceeded"
log = logging.getLogger(__name__)


def check(source: Path | bytes) -> None:
    """Nothing where no scanner is set.

    Raises:
        BadInput: it found something, or takes no file of this size.
        OSError: it cannot be reached, or does not answer within `PORTAL_SCANNER_SECONDS`: to be tried again.
    """
    if not settings.SCANNER:
        return
    with io.BytesIO(source) if isinstance(source, bytes) else open(source, "rb") as file:
        reply = _asked(file)
    if reply == CLEAN:
        return
    if reply.endswith(FOUND):
        name = reply.removeprefix("stream: ").removesuffix(FOUND)
        log.warning("The scanner found %s in a file that was sent; it was refused.", name)
        raise BadInput(told(Code.MALWARE_FOUND, name=name[:100]))
    if TOO_LARGE in reply:
        log.error("The scanner takes no file of this size: raise StreamMaxLength in its configuration.")
        raise BadInput(told(Code.SCANNER_TOO_SMALL))
    raise ConnectionError(f"The scanner did not look at the file: {reply!r}")


def _asked(file: IO[bytes]) -> str:
    """The scanner's one line about it."""
    with closing(socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)) as line:
        line.settimeout(settings.SCANNER_SECONDS)
        try:
            line.connect(settings.SCANNER)
        except (FileNotFoundError, PermissionError) as error:  # of the socket, not of the file in hand
            raise ConnectionError("The scanner's socket cannot be opened.") from error
        try:
            line.sendall(COMMAND)
            while piece := file.read(PIECE):
                line.sendall(struct.pack(">I", len(piece)) + piece)
            line.sendall(struct.pack(">I", 0))
        except (BrokenPipeError, ConnectionResetError):
            pass  # it heard enough: what it says stands there already
        return _line(line)


def _line(line: socket.socket) -> str:
    reply = b""
    while len(reply) < ANSWER and b"\0" not in reply and (more := line.recv(ANSWER)):
        reply += more
    return reply.split(b"\0", 1)[0].decode(errors="replace").strip()
