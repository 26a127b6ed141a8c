"""A test letter, sent while its sender waits, and what came of it."""

from __future__ import annotations

import smtplib
import socket
import ssl
from dataclasses import dataclass

from django.conf import settings
from django.utils import translation
from django.utils.translation import gettext as _

from galleries.access import Act, Visitor, one_line, require
from galleries.errors import BadInput
from galleries.models import JournalLine, Studio, Verb
from galleries.steps.people import mail
from galleries.steps.people.composing import compose

ANSWER_LENGTH = 300


@dataclass(frozen=True)
class Tried:
    """`problem`: why it did not go, '' when it went. `answer`: the server's own words, where it said any."""

    to: str
    problem: str = ""
    answer: str = ""


def send_test(by: Visitor) -> Tried:
    """Send a letter to whoever asks, by the way in which all letters go.

    Raises:
        Refused: not this person's to do.
        BadInput: their account has no address.
    """
    require(by, Act.RUN_STUDIO, Studio.current(), _("Mail is tried by whoever runs the studio."))
    to = by.user.email if by.user is not None else ""
    if not to:
        raise BadInput(_("Your account has no address to send a letter to; give one on the page Account."))
    tried = Tried(to)
    try:
        compose("test", to, translation.get_language() or "", settings.BASE_URL).send()
    except (OSError, smtplib.SMTPException) as error:  # the latter is one of the former, by an accident of history
        tried = Tried(to, problem_of(error), answer_of(error))
    server = settings.EMAIL_HOST if mail.goes_out() else settings.MAIL
    verb = Verb.MAIL_REFUSED if tried.problem else Verb.MAIL_TRIED
    JournalLine.write(None, by.who, verb, server, answer=tried.answer)
    return tried


def problem_of(error: Exception) -> str:
    """What went wrong between here and the mail server, in a sentence that says where to look."""
    server = {"host": settings.EMAIL_HOST, "port": settings.EMAIL_PORT}
    if isinstance(error, smtplib.SMTPAuthenticationError):
        return _("The mail server does not take the site's name and password.")
    if isinstance(error, smtplib.SMTPSenderRefused):
        return _("The mail server takes no letters from %s.") % settings.DEFAULT_FROM_EMAIL
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        return _("The mail server takes no letters to your address.")
    if isinstance(error, smtplib.SMTPNotSupportedError):
        return _("The mail server cannot do what it is asked for, encryption perhaps.")
    if isinstance(error, smtplib.SMTPServerDisconnected):
        return _("The mail server hung up.")
    if isinstance(error, ssl.SSLError):
        return _("The mail server and this site could not agree on encryption.")
    if isinstance(error, smtplib.SMTPException):
        return _("The mail server refused the letter.")
    if isinstance(error, socket.gaierror):
        return _("There is no mail server called %(host)s.") % server
    if isinstance(error, TimeoutError):
        return _("The mail server %(host)s did not answer in time at port %(port)s.") % server
    if isinstance(error, ConnectionError):
        return _("Nothing answers at %(host)s, port %(port)s.") % server
    return _("The letter could not be sent.")


def answer_of(error: Exception) -> str:
    """The server's own words with its number, on one line; '' when it said nothing."""
    number: int = 0
    words: bytes | str = str(error)
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        number, words = next(iter(error.recipients.values()), (0, b""))
    elif isinstance(error, smtplib.SMTPResponseException):
        number, words = error.smtp_code, error.smtp_error
    elif isinstance(error, OSError) and error.strerror:
        words = error.strerror
    text = words.decode("utf-8", "replace") if isinstance(words, bytes) else words
    return one_line(f"{number or ''} {text}")[:ANSWER_LENGTH]
