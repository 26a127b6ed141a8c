"""Links of letters: each opens once in a browser, which is known from then on; soon after to no other; and they end."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest
from django.conf import settings
from django.core import mail
from django.core.cache import cache
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from galleries.models import Invite, InviteLink, JournalLine, Letter, Opening
from galleries.steps import jobs
from galleries.steps.people import invite as invites
from galleries.steps.people import openings
from tests.cast import SESSION, Cast, make_cast

pytestmark = pytest.mark.django_db
DEVICE = settings.DEVICE_COOKIE_NAME


@pytest.fixture
def cast() -> Cast:
    return make_cast()


def path_of(address: str) -> str:
    return "/" + address.split("/", 3)[3]


def link(cast: Cast) -> str:
    return path_of(invites.new_link(cast.subject))


def is_in(client: Client, cast: Cast) -> bool:
    return client.get(f"/s/{cast.sitting.slug}/sheet").status_code == 200


def later(passed: timedelta = openings.ALSO_WITHIN) -> None:
    """So much time goes by since all that was opened."""
    for opening in Opening.objects.all():
        Opening.objects.filter(pk=opening.pk).update(at=opening.at - passed)


def opened(path: str, **form: str) -> Client:
    client = Client()
    assert client.post(path, form).status_code == 302
    return client


def test_a_visit_opens_nothing_a_press_does_and_then_the_browser_is_known(cast: Cast) -> None:
    path, client = link(cast), Client()
    page = client.get(path)
    assert page.status_code == 200
    assert cast.sitting.title.encode() not in page.content  # whoever finds a link reads no name
    assert not Opening.objects.exists()
    assert DEVICE not in client.cookies
    assert Client(enforce_csrf_checks=True).post(path).status_code == 403
    assert client.post(path)["Location"] == f"/s/{cast.sitting.slug}/"
    assert client.cookies[DEVICE]["httponly"]
    later(timedelta(days=3))
    client.cookies.pop(SESSION)
    assert not is_in(client, cast)
    for again in (path, link(cast)):  # a further link is not used up by a browser that is known
        assert client.get(again).status_code == 302
        assert is_in(client, cast)
    assert Opening.objects.count() == 1
    token = client.cookies[DEVICE].value.split(":")[0]
    assert token not in str(list(Opening.objects.values()))


def test_a_link_opened_elsewhere_is_shut_and_a_fresh_one_goes_to_the_address_on_record(cast: Cast) -> None:
    path = link(cast)
    first, other = opened(path), Client()
    later()
    for answer in (other.get(path), other.post(path)):
        assert answer.status_code == 403
        assert b"already opened on another device" in answer.content
    assert not is_in(other, cast)
    said = other.post(f"{path}/again", {"email": "thief@elsewhere.example"})
    assert said.status_code == 200
    assert cast.subject.email.encode() not in said.content
    jobs.run_waiting(kinds=["letter"])
    (letter,) = mail.outbox
    assert letter.to == [cast.subject.email]
    fresh = "/i/" + str(letter.body).split("/i/")[1].split()[0]
    assert other.post(fresh).status_code == 302
    assert is_in(other, cast)
    assert is_in(first, cast)
    assert other.get(path).status_code == 302  # known by now
    for _press in range(9):
        other.post(f"{path}/again")
        jobs.run_waiting(kinds=["letter"])
    assert Letter.objects.filter(kind="again").count() == 5  # caps.LINK_LETTERS_AN_HOUR


def test_for_an_hour_it_opens_in_the_persons_other_browsers_too(cast: Cast) -> None:
    """A mail program opens a link in a browser of its own; people go on in the one they know."""
    path = link(cast)
    people = [opened(path) for _browser in range(openings.BROWSERS)]
    assert all(is_in(one, cast) for one in people)
    assert Client().post(path).status_code == 403


def test_a_new_link_ends_the_old_ones_and_the_browsers_that_came_by_them_when_asked(cast: Cast) -> None:
    old, new = link(cast), link(cast)
    unused, lost = link(cast), opened(old)
    assert b'name="end"' in Client().get(new).content
    here = opened(new, end="yes")
    assert is_in(here, cast)
    assert not is_in(lost, cast)
    assert lost.get(old).status_code == 404
    assert [Client().post(one).status_code for one in (old, unused, new)] == [404, 404, 404]
    assert here.get(new).status_code == 302
    assert is_in(opened(link(cast)), cast)  # without being asked, nothing ends
    assert is_in(here, cast)


def test_the_studio_ends_earlier_links_when_it_shows_a_new_one(cast: Cast) -> None:
    lost, owner = opened(link(cast)), cast.client_of(cast.owner)
    desk = Client()
    desk.post(path_of(invites.sign_in_link(email=cast.representation.email)))
    at = f"/studio/{cast.sitting.slug}/people/{{}}/link"
    for one in (cast.subject, cast.representation):
        assert owner.post(at.format(one.pk)).status_code == 200
    assert is_in(lost, cast)
    assert b"/s/" in desk.get("/desk").content
    for one in (cast.subject, cast.representation):
        assert cast.client_of(cast.stranger).post(at.format(one.pk), {"end": "1"}).status_code == 404
        assert owner.post(at.format(one.pk), {"end": "1"}).status_code == 200
    assert not is_in(lost, cast)
    assert f"/s/{cast.sitting.slug}/".encode() not in desk.get("/desk").content
    assert not is_in(desk, cast)
    assert list(JournalLine.objects.filter(verb="links ended").values_list("thing", flat=True)) == [
        str(cast.subject), str(cast.representation)
    ]  # fmt: skip
    assert InviteLink.objects.filter(ended_at=None).count() == 2


def test_unused_links_die_with_the_invite_and_known_browsers_come_back_with_it(cast: Cast) -> None:
    used, unused = link(cast), link(cast)
    client = opened(used)
    Invite.objects.filter(pk=cast.subject.pk).update(expires_at=timezone.now() - timedelta(seconds=1))
    assert [client.get(used).status_code, Client().post(unused).status_code] == [404, 404]
    cast.subject.refresh_from_db()
    invites.prolong(cast.subject, 9, cast.as_owner)
    assert client.get(used).status_code == 302
    assert Client().post(unused).status_code == 404


def test_a_press_for_a_letter_opens_nothing_and_is_counted(cast: Cast, settings: Any) -> None:
    settings.DOOR_TRIES = 2
    cache.clear()
    answers = [Client().post(f"/i/{'x' * 32}/again").status_code for _press in range(3)]
    assert answers == [404, 404, 429]
    assert Client().get(f"{link(cast)}/again").status_code == 405
    invites.revoke(cast.subject, cast.as_owner)
    cache.clear()
    assert Client().post(f"{link(cast)}/again").status_code == 404
    assert not Letter.objects.exists()


@pytest.mark.parametrize(
    ("ends", "main"), [(False, "To the start"), (True, "Send me my link again")], ids=["lets in", "ended"]
)
def test_whom_an_invite_still_lets_in_is_led_back_and_who_lost_it_gets_another(
    cast: Cast, ends: bool, main: str
) -> None:
    client = cast.client_of(cast.subject)
    if ends:
        type(cast.subject).objects.update(revoked_at=timezone.now())
    page = client.get(reverse("objection", args=[cast.sitting.slug])).content.decode()
    mains = re.findall(r'class="button main"[^>]*>([^<]*)<', page)
    assert mains == [main]
    assert "Send me my link again" in page  # within reach either way
