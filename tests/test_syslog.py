"""Lines that leave for another machine: RFC 5424's form by its grammar (section 6), a datagram each (RFC 5426)."""

from __future__ import annotations

import json
import logging
import re
import socket
import sys
from collections.abc import Iterator
from typing import Any

import pytest
from django.core.exceptions import ImproperlyConfigured

from galleries.models import JournalLine, Verb
from portal import syslog
from portal.logs import WithoutTokens
from tests.cast import make_cast

# HEADER SP STRUCTURED-DATA SP MSG, of the standard's ABNF; the version is 1.
MESSAGE = re.compile(
    r"<(?P<pri>\d{1,3})>1 (?P<at>\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{1,6}Z) (?P<host>[!-~]{1,255})"
    r" (?P<app>[!-~]{1,48}) (?P<process>[!-~]{1,128}) (?P<id>[!-~]{1,32}) - (?P<said>.*)"
)


@pytest.fixture
def receiver() -> Iterator[socket.socket]:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as line:
        line.bind(("127.0.0.1", 0))
        line.settimeout(20)
        yield line


@pytest.fixture
def log(receiver: socket.socket) -> Iterator[logging.Logger]:
    """A logger that sends as the site's do with PORTAL_SYSLOG set."""
    made = syslog.handler(f"127.0.0.1:{receiver.getsockname()[1]}")
    assert (made["class"], made["filters"]) == ("portal.syslog.Sender", ["without tokens"])
    sender = syslog.Sender(made["address"])
    sender.setFormatter(syslog.Form("{levelname} {message}", style="{"))
    sender.addFilter(WithoutTokens())
    log = logging.getLogger("galleries.journal")
    log.addHandler(sender)
    before, level = log.propagate, log.level
    log.setLevel("INFO")
    yield log
    log.removeHandler(sender)
    log.propagate = before
    log.setLevel(level)
    sender.close()


def arrived(receiver: socket.socket) -> re.Match[str]:
    found = MESSAGE.fullmatch(receiver.recv(65536).decode())
    assert found is not None
    return found


@pytest.mark.parametrize(("level", "severity"), [("info", 6), ("warning", 4), ("error", 3), ("critical", 2)])
def test_a_line_has_the_form_of_the_standard(
    receiver: socket.socket, log: logging.Logger, level: str, severity: int
) -> None:
    getattr(log, level)("Something of %s went wrong", "frame 7")
    found = arrived(receiver)
    assert int(found["pri"]) == 3 * 8 + severity  # facility daemon; RFC 5424, tables 1 and 2
    assert (found["app"], found["id"]) == ("portal", "galleries.journal")
    assert found["said"].endswith("Something of frame 7 went wrong")


def test_nobody_writes_a_line_of_their_own_into_it_and_no_secret_leaves(
    receiver: socket.socket, log: logging.Logger
) -> None:
    log.warning("Bad Request: /i/%s\n<13>1 2026-01-01T00:00:00Z forged - - - - in\x1b[2J", "a" * 32)
    found = arrived(receiver)
    assert "a" * 8 not in found["said"]
    assert "\x1b" not in found["said"]
    receiver.settimeout(0.2)
    with pytest.raises(TimeoutError):
        receiver.recv(65536)


def test_a_long_traceback_is_one_datagram(receiver: socket.socket, log: logging.Logger) -> None:
    def deeper(levels: int) -> None:
        if not levels:
            raise ValueError("“somebody” " * 5000)
        deeper(levels - 1)

    try:
        deeper(60)
    except ValueError:
        log.error("broke", exc_info=sys.exc_info())
    found = arrived(receiver)
    assert "Traceback" in found["said"]
    assert len(found["said"].encode()) <= syslog.MOST


@pytest.mark.django_db(transaction=True)
def test_of_each_line_of_the_journal_number_verb_and_digest_leave_and_no_name(
    receiver: socket.socket, log: logging.Logger, settings: Any
) -> None:
    settings.SYSLOG = "set"
    cast = make_cast()
    line = JournalLine.write(cast.sitting, "Ansa Veld (subject)", Verb.FRAME_ADDED, "Ansa_0412.JPG", sha256="7")
    said = arrived(receiver)["said"]
    again = JournalLine.objects.get(pk=line.pk)
    assert f"line {line.pk}: {Verb.FRAME_ADDED.value}" in said
    assert again.digest() in said  # as it is read back, so that both can be compared later
    assert "Ansa" not in said
    again.who = "somebody else"
    assert again.digest() not in said
    assert json.dumps(again.detail) == '{"sha256": "7"}'


@pytest.mark.parametrize("given", ["192.0.2.7", ":514", "192.0.2.7:syslog", "192.0.2.7:0", "192.0.2.7:70000"])
def test_what_is_no_address_stops_the_start(given: str) -> None:
    with pytest.raises(ImproperlyConfigured, match="PORTAL_SYSLOG"):
        syslog.handler(given)


def test_an_address_of_ipv6_stands_in_brackets() -> None:
    assert syslog.address("[2001:db8::7]:6514") == ("2001:db8::7", 6514)
