"""The list of one's own sessions: what it says, that 'end' ends at the next request, and that it is nobody else's."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.conf import settings
from django.contrib.sessions.models import Session
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from galleries.models import JournalLine, StudioSession
from galleries.steps.keeping import upkeep
from galleries.steps.people import invite as invites
from galleries.steps.people import sessions
from galleries.web.listed import LISTED
from tests.cast import SESSION, Cast, make_cast
from tests.steps.people.test_browsers import PHONE, WINDOWS

pytestmark = pytest.mark.django_db
SECRET, NEW = "a long enough secret", "quite another long one"


@pytest.fixture
def cast() -> Cast:
    cast = make_cast()
    cast.owner.set_password(SECRET)
    cast.owner.save()
    return cast


def signed_in(cast: Cast, agent: str, address: str = "192.0.2.77") -> Client:
    client = Client(headers={"User-Agent": agent}, REMOTE_ADDR=address)
    assert client.post("/sign-in", {"name": cast.owner.username, "password": SECRET}).status_code == 302
    return client


def in_studio(client: Client) -> bool:
    return client.get("/studio/").status_code == 200


def row_of(client: Client) -> StudioSession:
    return StudioSession.objects.get(key_hash=invites.hash_of(client.session.session_key or ""))


def test_the_list_says_where_since_when_and_how_and_holds_no_key(cast: Cast) -> None:
    here, phone = signed_in(cast, WINDOWS), Client(headers={"User-Agent": PHONE}, REMOTE_ADDR="2001:db8:1:2::3")
    phone.post("/" + invites.sign_in_link(user=cast.owner).split("/", 3)[3])
    page = here.get("/account/sessions").content.decode()
    main = page.split("<main", 1)[1]
    for said in ("Firefox on Windows", "192.0.2.0/24", "by password", "this one"):
        assert said in main.split("</li>")[0], said
    for said in ("Safari on iPhone", "2001:db8:1::/48", "by mailed link"):
        assert said in main.split("</li>")[1], said
    assert "this one" not in main.split("</li>")[1]
    assert "In 2 browsers" in here.get("/account").content.decode()
    for client in (here, phone):
        key = client.session.session_key or ""
        assert key not in page
        assert key not in str(list(StudioSession.objects.values()))


def test_one_that_is_ended_is_refused_at_its_next_request(cast: Cast) -> None:
    here, lost, third = (signed_in(cast, WINDOWS) for _ in range(3))
    assert in_studio(lost)
    assert here.post(f"/account/sessions/{row_of(lost).pk}/end")["Location"] == "/account/sessions"
    assert [in_studio(one) for one in (here, lost, third)] == [True, False, True]
    assert lost.post("/account/data", {"first_name": "X"}).status_code == 302
    cast.owner.refresh_from_db()
    assert cast.owner.first_name == "Tamsin"
    line = JournalLine.objects.get(verb="session ended")
    assert (line.who, line.detail) == ("Tamsin (photographer)", {"account": cast.owner.pk, "network": "192.0.2.0/24"})
    assert here.post("/account/sessions/end-others").status_code == 302
    assert [in_studio(one) for one in (here, third)] == [True, False]
    assert JournalLine.objects.get(verb="sessions ended").detail["ended"] == 1
    assert "nowhere else" in here.get("/account/sessions").content.decode()


def test_nobody_sees_or_ends_somebody_elses(cast: Cast) -> None:
    owner, colleague = signed_in(cast, WINDOWS), cast.client_of(cast.colleague)
    row = row_of(owner)
    assert "Firefox" not in colleague.get("/account/sessions").content.decode()
    assert colleague.post(f"/account/sessions/{row.pk}/end").status_code == 404
    assert colleague.post("/account/sessions/end-others").status_code == 302
    for somebody in (Client(), cast.client_of(cast.subject)):
        assert somebody.get("/account/sessions")["Location"].startswith("/sign-in?next=")
        for at in (f"/account/sessions/{row.pk}/end", "/account/sessions/end-others"):
            assert somebody.post(at)["Location"].startswith("/sign-in?next=")
    assert in_studio(owner)


def test_looking_ends_nothing_and_a_form_of_another_site_neither(cast: Cast) -> None:
    owner, other = signed_in(cast, WINDOWS), signed_in(cast, PHONE)
    strict = Client(enforce_csrf_checks=True)
    strict.cookies[SESSION] = owner.session.session_key or ""
    for at in (f"/account/sessions/{row_of(other).pk}/end", "/account/sessions/end-others"):
        assert owner.get(at).status_code == owner.head(at).status_code == 405
        assert strict.post(at).status_code == 403
    owner.get("/account/sessions")
    assert [in_studio(one) for one in (owner, other)] == [True, True]


def test_a_new_password_ends_the_others_and_this_one_keeps_its_row(cast: Cast) -> None:
    here, other = signed_in(cast, WINDOWS), signed_in(cast, PHONE)
    began, key = row_of(here).began_at, here.session.session_key
    assert here.post("/account/password", {"present": SECRET, "new": NEW, "again": NEW}).status_code == 302
    assert here.session.session_key != key
    assert [in_studio(one) for one in (here, other)] == [True, False]
    assert StudioSession.objects.get().began_at == began
    assert row_of(here).browser == "Firefox"


def test_whoever_leaves_stands_on_no_list_and_an_invites_link_does_not_end_a_session(cast: Cast) -> None:
    here, gone = signed_in(cast, WINDOWS), signed_in(cast, PHONE)
    gone.post("/leave")
    assert StudioSession.objects.get() == row_of(here)
    here.get("/" + invites.new_link(cast.subject).split("/", 3)[3])
    assert in_studio(here)
    signed_in_again = here.post("/sign-in", {"name": cast.owner.username, "password": SECRET})
    assert signed_in_again.status_code == 302
    assert in_studio(here)
    assert StudioSession.objects.get() == row_of(here)


def test_a_session_of_an_earlier_release_gets_its_row_and_can_be_ended_before(cast: Cast) -> None:
    old, older = Client(), Client()
    for client in (old, older):
        client.force_login(cast.owner)
    assert in_studio(old)
    assert (row_of(old).way, row_of(old).browser) == ("", "")
    assert "Unknown browser" in old.get("/account/sessions").content.decode()
    here = signed_in(cast, WINDOWS)
    here.post("/account/sessions/end-others")
    assert [in_studio(one) for one in (here, old, older)] == [True, False, False]
    assert JournalLine.objects.get(verb="sessions ended").detail["ended"] == 2


def test_last_seen_is_noted_every_five_minutes_and_old_rows_go_by_the_clock(cast: Cast) -> None:
    client, now = signed_in(cast, WINDOWS), timezone.now()
    row = row_of(client)
    for minutes, noted in ((4, False), (6, True)):
        before = now - timedelta(minutes=minutes)
        StudioSession.objects.update(seen_at=before)
        assert in_studio(client)
        row.refresh_from_db()
        assert (row.seen_at > before) is noted
    upkeep.sweep_sessions()
    assert StudioSession.objects.exists()
    hours = settings.STUDIO_IDLE_HOURS
    StudioSession.objects.update(seen_at=now - timedelta(hours=hours, minutes=11))
    upkeep.sweep_sessions()
    assert not StudioSession.objects.exists()
    assert not in_studio(client)
    assert LISTED not in client.session


def test_the_page_costs_the_same_with_one_session_and_with_twenty(cast: Cast) -> None:
    here, costs = signed_in(cast, WINDOWS), []
    for more in (0, 19):
        for number in range(more):
            sessions.begin(cast.owner, f"key-{number}", address="", agent=PHONE)
        with CaptureQueriesContext(connection) as seen:
            assert here.get("/account/sessions").status_code == 200
        costs.append(len(seen))
    assert costs[0] == costs[1]
    assert Session.objects.count() == 1
