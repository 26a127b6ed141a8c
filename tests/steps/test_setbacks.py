"""What passes by itself is told from what does not, error by error."""

from __future__ import annotations

import errno
import smtplib
import sqlite3
from datetime import timedelta

import pytest
from botocore.exceptions import ClientError, EndpointConnectionError
from django.db import InterfaceError, OperationalError, ProgrammingError

from galleries.steps import setbacks
from galleries.words.steps import Code


def caused(error: Exception, **said: str) -> Exception:
    cause = sqlite3.OperationalError("disk") if "sqlite_errorname" in said else Exception("server")
    for name, value in said.items():
        setattr(cause, name, value)
    error.__cause__ = cause
    return error


def answered(status: int) -> ClientError:
    return ClientError({"ResponseMetadata": {"HTTPStatusCode": status}}, "PutObject")


@pytest.mark.parametrize(
    ("error", "code"),
    [
        # SMTP: 4yz passes, 5yz does not (RFC 5321, 4.2.1)
        (smtplib.SMTPResponseException(421, b""), Code.OUT_OF_REACH),
        (smtplib.SMTPResponseException(499, b""), Code.OUT_OF_REACH),
        (smtplib.SMTPResponseException(500, b""), None),
        (smtplib.SMTPResponseException(599, b""), None),
        (smtplib.SMTPResponseException(600, b""), Code.OUT_OF_REACH),  # no reply at all, by the standard
        (smtplib.SMTPServerDisconnected(), Code.OUT_OF_REACH),
        (smtplib.SMTPNotSupportedError(), None),
        # HTTP of a store (RFC 6585, RFC 9110)
        (answered(429), Code.OUT_OF_REACH), (answered(428), None), (answered(404), None), (answered(499), None),
        (answered(500), Code.OUT_OF_REACH), (answered(599), Code.OUT_OF_REACH),
        (ClientError({}, "PutObject"), None),
        (EndpointConnectionError(endpoint_url="http://store.example"), Code.OUT_OF_REACH),
        # the database
        (InterfaceError("closed"), Code.OUT_OF_REACH), (ProgrammingError("no such table"), None),
        (OperationalError("locked"), Code.OUT_OF_REACH),
        (caused(OperationalError(), sqlite_errorname="SQLITE_FULL"), Code.DISK_FULL),
        (caused(OperationalError(), sqlite_errorname="SQLITE_BUSY"), Code.OUT_OF_REACH),
        (caused(OperationalError(), sqlstate="53100"), Code.DISK_FULL),  # PostgreSQL's disk_full
        (caused(OperationalError(), sqlstate="53200"), Code.OUT_OF_REACH),
        # the system
        (OSError(errno.ENOSPC, ""), Code.DISK_FULL), (OSError(errno.EDQUOT, ""), Code.DISK_FULL),
        (OSError(errno.EIO, ""), Code.OUT_OF_REACH), (OSError(errno.EROFS, ""), Code.OUT_OF_REACH),
        (OSError(errno.EMFILE, ""), Code.OUT_OF_REACH), (OSError(errno.EHOSTUNREACH, ""), Code.OUT_OF_REACH),
        (TimeoutError(), Code.OUT_OF_REACH), (ConnectionResetError(), Code.OUT_OF_REACH),
        (PermissionError(errno.EACCES, ""), None), (IsADirectoryError(errno.EISDIR, ""), None),
        (OSError("no number"), None),
        (KeyError("x"), None), (MemoryError(), None),
    ],
)  # fmt: skip
def test_each_error_passes_or_does_not_and_names_no_address(error: BaseException, code: Code | None) -> None:
    said = setbacks.passing(error)
    assert (said.code if said else None) == code
    assert not (said and said.data)


@pytest.mark.parametrize(
    ("count", "seconds"), [(1, 10), (2, 20), (3, 40), (6, 320), (7, 600), (8, 600), (11, 600), (30_000, 600)]
)
def test_each_wait_is_twice_the_one_before_up_to_ten_minutes(count: int, seconds: int) -> None:
    assert setbacks.wait(count) == timedelta(seconds=seconds)
