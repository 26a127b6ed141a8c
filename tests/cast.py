"""The people of the tests, by what they may reach: owner, colleague, subject, representation, recipient, stranger.

All names are invented.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.conf import settings
from django.contrib.auth.models import User
from django.db import connection
from django.http import HttpResponseBase
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from galleries.access import Visitor
from galleries.models import Final, Frame, Invite, Look, Sitting, Studio, StudioRole
from galleries.steps.finishing import retoucher_terms
from galleries.steps.people import sessions
from galleries.web.listed import LISTED

SESSION, LANGUAGE = settings.SESSION_COOKIE_NAME, settings.LANGUAGE_COOKIE_NAME


@dataclass
class Cast:
    studio: Studio
    owner: User
    colleague: User
    stranger: User
    sitting: Sitting
    subject: Invite
    representation: Invite
    recipient: Invite

    @property
    def as_owner(self) -> Visitor:
        return Visitor(user=self.owner)

    @property
    def as_subject(self) -> Visitor:
        return Visitor(invite=self.subject)

    @property
    def as_representation(self) -> Visitor:
        return Visitor(invite=self.representation)

    @property
    def as_recipient(self) -> Visitor:
        return Visitor(invite=self.recipient)

    def retoucher(self, *, accepted: bool = True) -> Invite:
        """Somebody who retouches the finals; the terms of today accepted, unless told otherwise."""
        person = self.sitting.invites.create(
            role=Invite.Role.RETOUCHER, name="Odile Brandt", email="odile@brandt.example",
            expires_at=timezone.now() + timedelta(days=30),
        )  # fmt: skip
        if accepted:
            self.accept_terms(person)
        return person

    def retoucher_beside(self) -> Invite:
        """A second one, of whom the first is to see nothing."""
        person = self.sitting.invites.create(
            role=Invite.Role.RETOUCHER, name="Jonne Aas", email="jonne@aas.example",
            expires_at=timezone.now() + timedelta(days=30),
        )  # fmt: skip
        self.accept_terms(person)
        return person

    def accept_terms(self, person: Invite) -> None:
        terms = retoucher_terms.terms_of(self.sitting)
        self.sitting.retoucher_acceptances.create(
            invite=person, name=person.name, wording=terms.wording, text=terms.text
        )

    def client_of(self, person: User | Invite | None) -> Client:
        """A browser that has already come in by the person's own door."""
        client = Client()
        if isinstance(person, User):
            client.force_login(person)
            session = client.session
            session[LISTED] = True
            session.save()
            sessions.begin(person, client.session.session_key or "", address="192.0.2.9", agent="")
        elif person is not None:
            session = client.session
            session["invites"] = {str(person.sitting_id): person.pk}
            session.save()
        return client

    def look(self, title: str = "Linen shirt", **fields: object) -> Look:
        return Look.objects.create(sitting=self.sitting, title=title, position=self.sitting.looks.count(), **fields)

    def final(self, number: int = 1, state: str = Final.State.SHOWN, **frame: Any) -> Final:
        """A final of a frame without bytes, on the list."""
        return Final.objects.create(
            sitting=self.sitting, frame=self.frame(number, **frame), round=self.sitting.rounds.get(), state=state,
            position=number,
        )  # fmt: skip

    def frame(self, number: int = 1, look: Look | None = None, **fields: object) -> Frame:
        """A row without bytes in the store, for whatever does not read pixels."""
        values: dict[str, object] = {
            "sha256": f"{number:064x}",
            "key": f"sittings/{self.sitting.uid.hex}/originals/{number:064x}.jpg",
            "name": f"KAL_{number:04d}.JPG",
            "number": number,
            "bytes": 1000,
            "file_format": "JPEG",
            "width": 4000,
            "height": 6000,
            "captured_at": timezone.now() + timedelta(seconds=number),
        }
        return Frame.objects.create(sitting=self.sitting, look=look, **{**values, **fields})


def make_cast(slug: str = "ansa-veld", stage: str = Sitting.Stage.PROOFING, *, send_at_once: bool = True) -> Cast:
    studio = Studio.objects.first() or Studio.objects.create(
        name="Northlight Rooms", photographer="Tamsin Okonedo-Vale", email="tamsin@northlight.example"
    )
    owner = User.objects.create_user(f"owner-{slug}", email="tamsin@northlight.example", first_name="Tamsin")
    StudioRole.objects.create(account=owner, role=StudioRole.Role.HEAD)
    sitting = Sitting.objects.create(
        slug=slug,
        title="Ansa Veld, spring",
        photographer=owner,
        stage=stage,
        subject_given="Ansa",
        subject_surname="Veld",
        allowance=3,
        send_at_once=send_at_once,
    )
    colleague = User.objects.create_user(f"colleague-{slug}", email="colleague@northlight.example")
    expires = timezone.now() + timedelta(days=30)

    def invite(role: str, name: str, email: str) -> Invite:
        return Invite.objects.create(sitting=sitting, role=role, name=name, email=email, expires_at=expires)

    sitting.rounds.create(number=1)
    return Cast(
        studio=studio,
        owner=owner,
        colleague=colleague,
        stranger=User.objects.create_user(f"stranger-{slug}", email="stranger@elsewhere.example"),
        sitting=sitting,
        subject=invite(Invite.Role.SUBJECT, "Ansa Veld", "ansa@veld.example"),
        representation=invite(Invite.Role.REPRESENTATION, "Ruben Achterberg", "ruben@achterberg.example"),
        recipient=invite(Invite.Role.RECIPIENT, "Casting desk", "desk@elsewhere.example"),
    )


def asked(client: Client, address: str) -> tuple[int, int]:
    """(status, questions to the database)."""
    with CaptureQueriesContext(connection) as seen:
        status = client.get(address).status_code
    return status, len(seen)


def body_of(response: HttpResponseBase) -> bytes:
    """All bytes of an answer, its file closed (`close()` would also end the test's own database connection)."""
    data = b"".join(response.streaming_content) if response.streaming else response.content
    for closer in response._resource_closers:
        closer()
    response._resource_closers.clear()
    return data
