"""What passes by itself: a store, database or mail server out of reach, a full disk. A broken file is no such thing."""

from __future__ import annotations

import errno
import smtplib
import sys
from datetime import timedelta

from django.db import InterfaceError, OperationalError

from galleries.told import Told, told
from galleries.words.steps import Code

FIRST_WAIT, LONGEST_WAIT = 10, 600  # seconds before the next try; doubled each time, and never given up
NO_ROOM = {errno.ENOSPC, errno.EDQUOT}
# Of the system's own errors, those that say nothing about the file in hand.
PASSING = {errno.EIO, errno.ESTALE, errno.EMFILE, errno.ENFILE, errno.EROFS, errno.ENETDOWN, errno.ENETUNREACH}
PASSING |= {errno.EHOSTDOWN, errno.EHOSTUNREACH, errno.ENOTCONN}


def passing(error: BaseException) -> Told | None:
    """What to say of an error that passes by itself, None of any other. Names no address."""
    return told(Code.DISK_FULL) if _is_full(error) else told(Code.OUT_OF_REACH) if _is_away(error) else None


def wait(setbacks: int) -> timedelta:
    """How long to wait after the so-manieth setback, counted from one."""
    return timedelta(seconds=min(LONGEST_WAIT, FIRST_WAIT * 2 ** min(setbacks - 1, 10)))


def _is_full(error: BaseException) -> bool:
    if isinstance(error, OperationalError):  # SQLITE_FULL; PostgreSQL's class 53, disk_full
        cause = error.__cause__
        return getattr(cause, "sqlite_errorname", "") == "SQLITE_FULL" or getattr(cause, "sqlstate", "") == "53100"
    return isinstance(error, OSError) and not isinstance(error, smtplib.SMTPException) and error.errno in NO_ROOM


def _is_away(error: BaseException) -> bool:
    if isinstance(error, smtplib.SMTPResponseException):
        return not 500 <= error.smtp_code < 600  # RFC 5321, 4.2.1: 5yz is refused for good, 4yz may be tried again
    if isinstance(error, smtplib.SMTPException):
        return isinstance(error, smtplib.SMTPServerDisconnected)
    bucket = sys.modules.get("botocore.exceptions")  # not loaded: then no error is one of its own
    if bucket is not None and isinstance(error, bucket.ClientError):
        status = error.response.get("ResponseMetadata", {}).get("HTTPStatusCode", 0)
        return bool(status == 429 or status >= 500)  # RFC 6585 and 9110: too many requests, faults of the server
    if bucket is not None and isinstance(error, bucket.BotoCoreError):
        return True
    if isinstance(error, ConnectionError | TimeoutError | OperationalError | InterfaceError):
        return True
    return isinstance(error, OSError) and error.errno in PASSING
