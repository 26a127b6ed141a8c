"""Letters over SMTP to a real server (aiosmtpd, its own implementation of RFC 5321)."""

from __future__ import annotations

import re
from collections.abc import Iterator
from email import message_from_bytes, policy
from email.message import EmailMessage
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session
from django.utils import timezone

from galleries.models import Invite, Letter
from galleries.steps import jobs
from galleries.steps.people import letters, openings, posting
from tests.cast import make_cast
from tests.servers import free_port

pytestmark = [pytest.mark.services, pytest.mark.django_db]


class Postbox:
    """Keeps what arrives; turns away one address, as a real server would."""

    def __init__(self) -> None:
        self.letters: list[tuple[Envelope, EmailMessage]] = []

    async def handle_RCPT(
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        if address.startswith("nobody@"):
            return "550 No such person here"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        content = envelope.content
        assert isinstance(content, bytes)
        message: Any = message_from_bytes(content, policy=policy.default)
        self.letters.append((envelope, message))
        return "250 Message accepted for delivery"


@pytest.fixture
def postbox(settings: Any) -> Iterator[Postbox]:
    box, port = Postbox(), free_port()
    controller = Controller(box, hostname="127.0.0.1", port=port)
    controller.start()
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", port
    yield box
    controller.stop()


def test_an_invitation_arrives_once_with_a_link_that_opens(postbox: Postbox) -> None:
    cast = make_cast()
    letters.invite_by_letter(cast.subject, cast.as_owner)
    jobs.run_waiting(cast.sitting, ["letter"])
    jobs.run_waiting(cast.sitting, ["letter"])
    assert len(postbox.letters) == 1
    envelope, message = postbox.letters[0]
    assert envelope.rcpt_tos == [cast.subject.email]
    assert message["To"] == cast.subject.email
    assert message["Reply-To"] == cast.studio.email
    assert message["Subject"]
    body = message.get_body(("plain",))
    assert body is not None
    link = re.search(r"/i/([A-Za-z0-9_-]{20,})", body.get_content())
    assert link is not None
    assert openings.open_link(link.group(1), "a browser") == cast.subject


def test_a_name_in_any_script_survives_the_headers(postbox: Postbox) -> None:
    cast = make_cast()
    cast.sitting.title = "Łucja Żółć, 春の写真"
    cast.sitting.save()
    Invite.objects.filter(pk=cast.subject.pk).update(name="Łucja Żółć")
    cast.subject.refresh_from_db()
    letters.invite_by_letter(cast.subject, cast.as_owner)
    jobs.run_waiting(cast.sitting, ["letter"])
    _envelope, message = postbox.letters[0]
    body = message.get_body(("plain",))
    assert body is not None
    assert "Łucja Żółć" in message["Subject"] + body.get_content()


def test_a_server_that_refuses_leaves_the_letter_to_be_sent(postbox: Postbox) -> None:
    cast = make_cast()
    Invite.objects.filter(pk=cast.subject.pk).update(email="nobody@veld.example")
    cast.subject.refresh_from_db()
    letter = letters.invite_by_letter(cast.subject, cast.as_owner)
    jobs.run_waiting(cast.sitting, ["letter"])
    assert postbox.letters == []
    assert Letter.objects.get(pk=letter.pk).sent_at is None
    job = cast.sitting.jobs.get(kind="letter")
    assert job.state == "failed"
    assert "550" in job.reason or "Recipients" in job.reason


def test_no_address_can_smuggle_a_header(postbox: Postbox) -> None:
    cast = make_cast()
    cast.sitting.title = "Spring\r\nBcc: thief@elsewhere.example"
    letter = Letter(sitting=cast.sitting, kind="invitation", to=cast.subject.email, invite=cast.subject)
    letter.created_at = timezone.now()
    message = posting._to_go(letter).message()
    assert message["Bcc"] is None
    assert "\n" not in str(message["Subject"])
