"""Log lines to another machine as well: one datagram each (RFC 5426), in the form of RFC 5424.

What leaves is what the console gets, without secrets and people, and of each line of the journal its number, verb and
digest: whoever changes the tables later cannot change what was sent.
"""

from __future__ import annotations

import logging
import os
import socket
from datetime import UTC, datetime
from logging.handlers import SysLogHandler
from typing import Any

from django.core.exceptions import ImproperlyConfigured

from portal.logs import Line

MOST = 8000  # bytes of a line; RFC 5426 asks receivers for 2048, and networks carry no datagram much longer


def address(given: str) -> tuple[str, int]:
    """'192.0.2.7:514' or '[2001:db8::7]:514'.

    Raises:
        ImproperlyConfigured: it is neither.
    """
    host, _, port = given.rpartition(":")
    if not host.strip("[]") or not port.isdigit() or not 0 < int(port) < 65536:
        raise ImproperlyConfigured(f"PORTAL_SYSLOG is {given!r}; use address:port, as in 192.0.2.7:514.")
    return host.strip("[]"), int(port)


def handler(given: str) -> dict[str, Any]:
    """For `LOGGING`."""
    return {
        "class": "portal.syslog.Sender",
        "address": address(given),
        "formatter": "syslog",
        "filters": ["without tokens"],
    }


class Sender(SysLogHandler):
    append_nul = False

    def __init__(self, address: tuple[str, int]) -> None:
        super().__init__(address=address, facility=SysLogHandler.LOG_DAEMON)


class Form(Line):
    """`1 TIMESTAMP HOSTNAME APP-NAME PROCID MSGID - MSG`; the handler puts `<PRI>` before it."""

    def format(self, record: logging.LogRecord) -> str:
        at = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
        head = f"1 {at} {_token(socket.gethostname(), 255)} portal {os.getpid()} {_token(record.name, 32)} - "
        message = " | ".join(part.strip() for part in super().format(record).splitlines())
        plain = "".join(sign if sign.isprintable() else " " for sign in message)
        return head + plain.encode()[:MOST].decode(errors="ignore")


def _token(text: str, most: int) -> str:
    """PRINTUSASCII, or '-'."""
    return "".join(sign for sign in text if "!" <= sign <= "~")[:most] or "-"
