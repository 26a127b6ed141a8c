"""Sign-ins and failures in the journal: who and when, from which network, and nothing that opens anything."""

from __future__ import annotations

import pytest
from django.test import Client

from galleries.models import JournalLine
from galleries.steps.people import invite as invites
from galleries.steps.people import sign_ins
from tests.cast import Cast, make_cast
from tests.web.studio.test_second_factor import SECRET, halfway, set_up

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    cast = make_cast()
    cast.owner.set_password(SECRET)
    cast.owner.save()
    return cast


def test_who_came_in_and_who_did_not_stands_in_the_journal(cast: Cast) -> None:
    right = {"name": cast.owner.username, "password": SECRET}
    client = Client()
    client.post("/sign-in", {**right, "password": "guess"}, REMOTE_ADDR="192.0.2.77")
    client.post("/sign-in", {"name": "my secret by mistake", "password": "x"}, REMOTE_ADDR="2001:db8:1:2::3")
    assert client.post("/sign-in", right, REMOTE_ADDR="192.0.2.77").status_code == 302
    wrong, unknown, came = JournalLine.objects.exclude(verb="new device").order_by("pk")
    assert (wrong.verb, wrong.who, wrong.thing) == ("sign-in failed", "nobody", cast.owner.username)
    assert wrong.detail == {"account": cast.owner.pk, "network": "192.0.2.0/24"}
    assert (unknown.thing, unknown.detail) == ("", {"network": "2001:db8:1::/48"})
    assert (came.verb, came.who) == ("signed in", "Tamsin (photographer)")
    assert came.detail == {"account": cast.owner.pk, "network": "192.0.2.0/24", "second_factor": False}
    page = client.get("/account").content.decode()
    assert "tried to sign in, in vain" in page
    # A colleague reads nothing of it.
    assert "in vain" not in cast.client_of(cast.colleague).get("/account").content.decode()


def test_link_and_second_factor_are_noted_too_and_no_token_is(cast: Cast) -> None:
    link = invites.sign_in_link(user=cast.colleague)
    Client().post("/" + link.split("/", 3)[3])
    _secret, made = set_up(cast.owner)
    client = halfway(cast.owner)
    client.post("/sign-in/second", {"code": "000000"})
    client.post("/sign-in/second", {"code": made[0]})
    verbs = list(JournalLine.objects.exclude(verb="new device").order_by("pk").values_list("verb", flat=True))
    assert verbs == ["signed in", "second factor set", "sign-in failed", "recovery code used", "signed in"]
    kept = str(list(JournalLine.objects.values()))
    for secret in (link.rsplit("/", 1)[1], made[0], SECRET, "000000"):
        assert secret not in kept


@pytest.mark.parametrize(
    ("address", "short"),
    [
        ("203.0.113.9", "203.0.113.0/24"),
        ("2001:db8::1", "2001:db8::/48"),
        ("fe80::1%eth0", "fe80::/48"),
        ("", ""),
        ("unix:", ""),
    ],
)
def test_an_address_is_kept_in_short(address: str, short: str) -> None:
    assert sign_ins.shortened(address) == short
