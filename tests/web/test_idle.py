"""Who leaves the studio's machine alone is signed out; who works stays; people invited stay as long as their invite."""

from __future__ import annotations

import time
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.utils import timezone

from galleries.models import Invite
from galleries.steps.people import invite as invites
from galleries.web import idle
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db
HOUR = 3600


@pytest.fixture
def cast() -> Cast:
    return make_cast()


def left_alone(client: Client, seconds: int) -> Client:
    session = client.session
    session[idle.SEEN] = int(time.time()) - seconds
    session.save()
    return client


def test_after_twelve_hours_alone_the_studio_asks_again(cast: Cast, settings: Any) -> None:
    client = cast.client_of(cast.owner)
    assert left_alone(client, 12 * HOUR - 60).get("/studio/").status_code == 200
    assert time.time() - client.session[idle.SEEN] < 60  # whoever works begins anew
    assert left_alone(client, 12 * HOUR + 60).get("/studio/")["Location"] == "/sign-in?next=/studio/"
    assert client.get("/studio/").status_code == 302  # and it is over
    settings.STUDIO_IDLE_HOURS = 1
    client = left_alone(cast.client_of(cast.owner), HOUR + 60)
    assert client.get(f"/studio/{cast.sitting.slug}/").status_code == 302
    client = left_alone(cast.client_of(cast.owner), HOUR + 60)
    assert client.post("/account/data", {}).status_code == 302
    left = left_alone(cast.client_of(cast.owner), HOUR + 60)
    assert left.get("/upkeep/")["Location"].startswith("/upkeep/login/")


def test_a_session_of_an_earlier_release_counts_from_the_last_sign_in(cast: Cast) -> None:
    for hours, status in ((11, 200), (13, 302)):
        client = cast.client_of(cast.owner)
        User.objects.filter(pk=cast.owner.pk).update(last_login=timezone.now() - timedelta(hours=hours))
        assert idle.SEEN not in client.session
        assert client.get("/studio/").status_code == status
        assert idle.SEEN in client.session or status == 302


def test_the_hours_begin_at_the_door(cast: Cast) -> None:
    client = Client()
    client.post("/" + invites.sign_in_link(user=cast.owner).split("/", 3)[3])
    assert time.time() - client.session[idle.SEEN] < 60


def test_somebody_invited_stays_as_long_as_the_invite(cast: Cast, settings: Any) -> None:
    client = left_alone(cast.client_of(cast.subject), 40 * 24 * HOUR)
    sheet = f"/s/{cast.sitting.slug}/sheet"
    assert client.get(sheet).status_code == 200
    assert settings.SESSION_COOKIE_AGE == settings.INVITE_DAYS * 24 * HOUR
    Invite.objects.filter(pk=cast.subject.pk).update(expires_at=timezone.now() - timedelta(seconds=1))
    assert client.get(sheet).status_code == 404
