"""A test letter says what the mail server answered, in words. Numbers of answers: RFC 5321, 4.2.3, and RFC 4954, 6."""

from __future__ import annotations

import smtplib
import socket
import ssl
from typing import Any

import pytest
from django.core import mail as outgoing
from django.core.mail.backends.locmem import EmailBackend

from galleries.errors import BadInput
from galleries.models import JournalLine
from galleries.steps.people import mail_test
from tests.cast import make_cast

REFUSED = {"tamsin@northlight.example": (550, b"5.1.1 no such box")}


@pytest.mark.parametrize(
    ("error", "says", "answer"),
    [
        (smtplib.SMTPAuthenticationError(535, b"5.7.8 no"), "name and password", "535 5.7.8 no"),
        (smtplib.SMTPSenderRefused(553, b"not\nyours", "a@b.example"), "takes no letters from", "553 not yours"),
        (smtplib.SMTPRecipientsRefused(REFUSED), "to your address", "550 5.1.1 no such box"),
        (smtplib.SMTPNotSupportedError("STARTTLS not supported"), "encryption perhaps", "STARTTLS not supported"),
        (smtplib.SMTPServerDisconnected("closed"), "hung up", "closed"),
        (smtplib.SMTPDataError(554, b"\xff spam"), "refused the letter", "554 \ufffd spam"),
        (ssl.SSLError(1, "wrong version number"), "agree on encryption", "wrong version number"),
        (socket.gaierror(-2, "Name or service not known"), "no mail server called", "Name or service not known"),
        (TimeoutError("timed out"), "did not answer in time", "timed out"),
        (ConnectionRefusedError(111, "Connection refused"), "Nothing answers at", "Connection refused"),
        (OSError(101, "Network is unreachable"), "could not be sent", "Network is unreachable"),
    ],
)
def test_each_trouble_has_its_sentence(error: Exception, says: str, answer: str) -> None:
    assert says in mail_test.problem_of(error)
    assert mail_test.answer_of(error) == answer


def test_an_endless_answer_is_cut() -> None:
    assert len(mail_test.answer_of(smtplib.SMTPDataError(554, b"no " * 5000))) == mail_test.ANSWER_LENGTH


@pytest.mark.django_db
def test_the_letter_goes_to_whoever_asks_by_the_way_of_all_letters(settings: Any) -> None:
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    settings.BASE_URL = "https://proofs.northlight.example"
    cast = make_cast()
    assert mail_test.send_test(cast.as_owner) == mail_test.Tried("tamsin@northlight.example")
    (sent,) = outgoing.outbox
    assert sent.to == ["tamsin@northlight.example"]
    assert sent.reply_to == [cast.studio.email]
    assert "https://proofs.northlight.example" in sent.body
    assert JournalLine.objects.get().verb == "mail tried"


@pytest.mark.django_db
def test_a_refusal_is_told_and_written_down(settings: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"

    def refuse(_self: EmailBackend, _messages: object) -> int:
        raise smtplib.SMTPAuthenticationError(535, b"5.7.8 no")

    monkeypatch.setattr(EmailBackend, "send_messages", refuse)
    tried = mail_test.send_test(make_cast().as_owner)
    assert (tried.answer, "name and password" in tried.problem) == ("535 5.7.8 no", True)
    assert JournalLine.objects.get().verb == "mail refused"


@pytest.mark.django_db
def test_without_an_address_there_is_nowhere_to_send_it() -> None:
    cast = make_cast()
    cast.owner.email = ""
    with pytest.raises(BadInput, match="no address"):
        mail_test.send_test(cast.as_owner)
