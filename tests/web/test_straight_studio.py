"""The studio's small pictures by the straight way: one question, and what is taken back is so at the next request."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.conf import LazySettings, settings
from django.contrib.auth.models import User
from django.contrib.sessions.backends.db import SessionStore
from django.contrib.sessions.models import Session
from django.core import signing
from django.db import connection, transaction
from django.http import HttpRequest, HttpResponse
from django.test import Client, RequestFactory
from django.utils import timezone

from galleries import storage
from galleries.models import Frame, Sitting, StudioSession
from galleries.steps import derived
from galleries.web.straight import StraightWay
from tests.cast import Cast, asked, body_of, make_cast
from tests.web.invitee.sheets import picture as painted
from tests.web.invitee.sheets import proved

pytestmark = pytest.mark.django_db
PASS, SESSION = settings.PASS_COOKIE_NAME, settings.SESSION_COOKIE_NAME


@pytest.fixture
def cast() -> Cast:
    cast = make_cast()
    cast.sitting.colleagues.add(cast.colleague)
    frame = proved(cast, 1, cast.look())
    for side in (derived.DESK_SIDE, derived.VIEW_SIDE):
        place = derived.view_place(cast.sitting, frame.sha256, side)
        storage.put(place.store, place.key, painted(60, 90))
    return cast


def pictures(cast: Cast) -> list[str]:
    frame = cast.sitting.frames.get()
    views = [f"/files/view/{frame.pk}.jpg{of}" for of in ("?of=desk", "")]
    return [f"/files/proof/{frame.pk}/small/{frame.proofs.get().pk}.jpg", *views]


def with_pass(cast: Cast, user: User) -> Client:
    client = cast.client_of(user)
    assert client.get(pictures(cast)[0]).status_code == 200
    assert client.cookies[PASS]["httponly"]
    return client


@pytest.mark.parametrize("who", ["owner", "colleague"])
def test_a_small_picture_is_one_question_and_the_answer_that_of_the_whole_way(cast: Cast, who: str) -> None:
    straight, whole = with_pass(cast, getattr(cast, who)), cast.client_of(getattr(cast, who))
    for address in pictures(cast):
        assert asked(straight, address) == (200, 1)
        long = whole.get(address)
        del whole.cookies[PASS]
        short = straight.get(address)
        assert (short.status_code, body_of(short)) == (long.status_code, body_of(long))
        beside = {"Vary", "Content-Language"}
        assert dict(short.headers) == {name: value for name, value in long.headers.items() if name not in beside}
    Frame.objects.update(hidden=True)  # from people invited, not from the studio
    assert asked(straight, pictures(cast)[0]) == (200, 1)


def given_away(cast: Cast, user: User) -> None:
    Sitting.objects.update(photographer=cast.stranger)
    cast.sitting.colleagues.clear()


TAKEN: dict[str, Callable[[Cast, User], object]] = {
    "no sitting of theirs any more": given_away,
    "account shut": lambda cast, user: User.objects.filter(pk=user.pk).update(is_active=False),
    "another password": lambda cast, user: User.objects.filter(pk=user.pk).update(password="md5$other$0"),
    "session ended": lambda cast, user: StudioSession.objects.filter(account=user).delete(),
    "session gone": lambda cast, user: Session.objects.all().delete(),
    "session run out": lambda cast, user: Session.objects.update(expire_date=timezone.now() - timedelta(1)),
    "session of another account": lambda cast, user: StudioSession.objects.update(account=cast.stranger),
}


@pytest.mark.parametrize("who", ["owner", "colleague"])
def test_what_is_taken_back_is_taken_back_at_the_next_request(cast: Cast, who: str) -> None:
    user = getattr(cast, who)
    client = with_pass(cast, user)
    kept = {name: client.cookies[name].value for name in (PASS, SESSION)}
    for name, change in TAKEN.items():
        for address in pictures(cast)[:2]:
            with transaction.atomic():
                client.cookies.load(kept)
                assert asked(client, address) == (200, 1), name
                change(cast, user)
                assert client.get(address).status_code == 404, name
                transaction.set_rollback(True)


def test_a_pass_says_nothing_beside_another_session_nor_of_another_kind(cast: Cast) -> None:
    other = make_cast("another")
    given = with_pass(cast, cast.owner).cookies[PASS].value
    for person in (None, cast.stranger, other.owner, other.subject, cast.recipient):
        thief = cast.client_of(person)
        thief.cookies[PASS] = given
        for address in pictures(cast):
            assert thief.get(address).status_code == 404
    guest = cast.client_of(cast.subject)
    guest.cookies[PASS] = given
    small, desk, view = pictures(cast)
    assert guest.get(small).status_code == 200, "by their own invite, the whole way"
    assert [guest.get(address).status_code for address in (desk, view)] == [404, 404]
    owner = cast.client_of(cast.owner)
    for forged in (given[:-1] + ("A" if given[-1] != "A" else "B"), guest.cookies[PASS].value, signing.dumps([1, "x"])):
        owner.cookies[PASS] = forged
        status, questions = asked(owner, small)
        assert (status, questions > 1) == (200, True)


def test_none_is_given_where_everybody_needs_a_second_factor(cast: Cast, settings: LazySettings) -> None:
    settings.SECOND_FACTOR_REQUIRED = True
    client = cast.client_of(cast.owner)
    client.get(pictures(cast)[0])
    assert PASS not in client.cookies


def test_a_connection_is_looked_at_before_the_whole_way_though_nothing_was_asked_on_this(cast: Cast) -> None:
    """One that the database ended meanwhile would be an error page: Django asks once a request, unless it is told."""
    looked_at: list[bool] = []

    def whole(request: HttpRequest) -> HttpResponse:
        looked_at.append(connection.health_check_done)  # type: ignore[attr-defined]
        request.session = SessionStore()
        return HttpResponse()

    for address in pictures(cast):
        StraightWay(whole)(RequestFactory().get(address))
    assert looked_at == [False] * 3
