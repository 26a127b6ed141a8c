"""The doors: links become sessions, tokens stay out of addresses, tries are counted."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.contrib.auth.hashers import PBKDF2PasswordHasher
from django.core.cache import cache
from django.core.mail import EmailMultiAlternatives
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from galleries.models import AccountLetter, Final, Invite, SignInLink, Sitting
from galleries.steps import jobs
from galleries.steps.people import account_letters, wishes
from galleries.steps.people import invite as invites
from galleries.steps.picking import pick
from tests.cast import SESSION, make_cast
from tests.web.invitee.sheets import proved

pytestmark = pytest.mark.django_db

TOKEN = re.compile(rb'name="csrfmiddlewaretoken" value="[^"]+"')


@pytest.fixture
def cast():
    return make_cast()


def path_of(address):
    return "/" + address.split("/", 3)[3]


def test_a_link_is_exchanged_for_a_session_and_left_behind(cast):
    client = Client()
    path = path_of(invites.new_link(cast.subject))
    response = client.post(path)
    assert response.status_code == 302
    assert response["Location"] == f"/s/{cast.sitting.slug}/"
    assert path.rsplit("/", 1)[1] not in response["Location"]
    assert client.session["invites"] == {str(cast.sitting.pk): cast.subject.pk}
    cookie = response.cookies[SESSION]
    assert cookie["httponly"]
    assert cookie["samesite"] == "Lax"


def test_the_session_gets_a_new_name_when_somebody_comes_in(cast):
    client = Client()
    client.get("/sign-in")
    session = client.session
    session["x"] = 1
    session.save()
    before = session.session_key
    client.cookies[SESSION] = before
    client.post(path_of(invites.new_link(cast.subject)))
    assert client.session.session_key != before


def test_one_browser_can_hold_links_of_two_sittings(cast):
    other = make_cast("another")
    client = Client()
    for person in (cast.subject, other.subject):
        client.post(path_of(invites.new_link(person)))
    assert client.get("/").status_code == 200
    assert len(client.session["invites"]) == 2


def test_a_wrong_link_says_so_and_too_many_shut_the_door(cast, settings):
    settings.DOOR_TRIES = 3
    client = Client()
    answers = [client.get(f"/i/{'x' * 31}{number}").status_code for number in range(5)]
    assert answers == [404, 404, 404, 429, 429]
    assert client.post(path_of(invites.new_link(cast.subject))).status_code == 302  # a right link still opens


def test_sign_in_and_its_refusals(cast, settings):
    settings.DOOR_TRIES = 2
    cast.owner.set_password("a long enough secret")
    cast.owner.save()
    client = Client()
    wrong = client.post("/sign-in", {"name": cast.owner.username, "password": "guess"})
    unknown = client.post("/sign-in", {"name": "nobody", "password": "guess"})
    assert wrong.status_code == unknown.status_code == 400
    assert b"do not go together" in wrong.content
    assert client.post("/sign-in", {"name": "nobody", "password": "guess"}).status_code == 429
    cache.clear()  # a minute later
    right = client.post(
        "/sign-in", {"name": cast.owner.username, "password": "a long enough secret", "next": "https://evil.example/"}
    )
    assert right["Location"] == "/studio/"


def test_one_account_is_not_guessed_at_from_many_addresses(cast, settings):
    settings.DOOR_TRIES = 2
    cast.owner.set_password("a long enough secret")
    cast.owner.save()
    for name in (cast.owner.username, "nobody"):
        answers = [
            Client()
            .post("/sign-in", {"name": spelt, "password": "a long enough secret!"}, REMOTE_ADDR=f"192.0.2.{number}")
            .status_code
            for number, spelt in enumerate((name, name.upper(), f" {name}"))
        ]
        assert answers == [400, 400, 429], name
        cache.delete_many(f"tries:sign-in:192.0.2.{number}" for number in range(3))
    right = {"name": cast.owner.username, "password": "a long enough secret"}
    assert Client().post("/sign-in", right, REMOTE_ADDR="192.0.2.77").status_code == 429  # a right one counts too


def test_a_wrong_password_costs_the_same_whoever_is_named(cast, monkeypatch):
    """The password's hash is worked out equally often; no clock is read, which a busy machine would make a liar."""
    cast.owner.set_password("a long enough secret")
    cast.owner.save()
    cast.colleague.set_password("a long enough secret")
    cast.colleague.is_active = False
    cast.colleague.save()
    made, encode = [], PBKDF2PasswordHasher.encode

    def counted(self, password, salt, iterations=None):
        made.append(iterations or self.iterations)
        return encode(self, password, salt, iterations)

    monkeypatch.setattr(PBKDF2PasswordHasher, "encode", counted)
    costs = {}
    for name in (cast.owner.username, cast.colleague.username, cast.stranger.username, "nobody at all"):
        made.clear()
        assert Client().post("/sign-in", {"name": name, "password": "guess"}).status_code == 400
        costs[name] = list(made)
    assert set(map(len, costs.values())) == {1}, costs
    assert len({cost for (cost,) in costs.values()}) == 1, costs


def test_a_look_whether_a_link_leads_anywhere_opens_nothing_and_tells_nothing(cast):
    path, client = path_of(invites.new_link(cast.subject)), Client()
    answers = [client.head(at) for at in (path, f"/i/{'x' * 32}")]
    assert [(one.status_code, dict(one.cookies)) for one in answers] == [(200, {}), (200, {})]
    cast.subject.refresh_from_db()
    assert cast.subject.first_opened_at is None
    assert cast.subject.links.get().last_used_at is None
    assert client.get(path).status_code == 200
    assert client.post(path).status_code == 302


def test_too_many_tries_are_a_page_of_the_house_that_says_when_to_come_back(cast, settings):
    """RFC 6585, 4 (429) and RFC 9110, 10.2.3 (Retry-After)."""
    settings.DOOR_TRIES = 1
    client = Client()
    client.post("/sign-in", {"name": "nobody", "password": "guess"})
    page = client.post("/sign-in", {"name": "nobody", "password": "guess"})
    assert page.status_code == 429
    assert 0 < int(page["Retry-After"]) <= 60
    assert cast.studio.name.encode() in page.content
    assert b"Too many tries" in page.content
    told = client.post("/sign-in", {"name": "nobody"}, headers={"Accept": "application/json"})
    assert (told.status_code, told["Retry-After"]) == (429, page["Retry-After"])
    assert "Wait a minute" in told.json()["error"]


def test_somebody_with_one_sitting_can_leave_from_its_pages(cast):
    client = cast.client_of(cast.subject)
    assert client.get("/")["Location"] == f"/s/{cast.sitting.slug}/"
    page = client.get(f"/s/{cast.sitting.slug}/plan").content
    assert b'action="/leave"' in page
    assert b'action="/leave"' not in cast.client_of(cast.owner).get(f"/s/{cast.sitting.slug}/plan").content


def test_a_sign_in_link_needs_a_press_and_works_once(cast):
    path = path_of(invites.sign_in_link(user=cast.owner))
    scanner = Client()
    assert scanner.get(path).status_code == 200
    assert SignInLink.objects.get().used_at is None
    client = Client()
    assert client.post(path)["Location"] == "/studio/"
    assert client.session["_auth_user_id"] == str(cast.owner.pk)
    assert Client().post(path).status_code == 404


def test_an_agents_desk_shows_their_sittings_and_nobody_elses(cast):
    other = make_cast("another")
    Invite.objects.filter(pk=other.representation.pk).update(email="someone@elsewhere.example")
    client = Client()
    client.post(path_of(invites.sign_in_link(email="ruben@achterberg.example")))
    page = client.get("/desk")
    assert page.status_code == 200
    assert f"/s/{cast.sitting.slug}/".encode() in page.content
    assert b"/s/another/" not in page.content
    assert b"0 of 3" in page.content
    pick.set_mark(cast.as_representation, cast.frame(1).pk, kind="pick")
    assert b"1 of 3" in client.get("/desk").content
    assert Client().get("/desk").status_code == 302


def test_the_desk_shows_picks_as_pictures_and_what_presses_first(cast):
    """Overdue, then the day that is nearest, then what has no day; one act each."""
    today = timezone.localdate()
    late, soon = make_cast("late"), make_cast("soon")
    for one, days, title in ((cast, None, "No day"), (late, -2, "Late"), (soon, 3, "Soon")):
        deadline = None if days is None else today + timedelta(days=days)
        Sitting.objects.filter(pk=one.sitting.pk).update(deadline=deadline, title=title)
    frames = [proved(late, number, late.look()) for number in (1, 2)]
    hidden = proved(late, 3, late.look())
    for frame in (*frames, hidden):
        pick.set_mark(late.as_representation, frame.pk, kind="pick")
    type(hidden).objects.filter(pk=hidden.pk).update(hidden=True)
    pick.set_mark(late.as_subject, proved(late, 4, late.look()).pk, kind="pick")
    pick.say_done(soon.as_representation, soon.sitting)
    client = Client()
    client.post(path_of(invites.sign_in_link(email="ruben@achterberg.example")))
    page = client.get("/desk").content.decode()
    rows = re.findall(r'<li class="desk-row".*?</h2>.*?class="button[^>]*>\s*([^<]*?)<', page, re.DOTALL)
    assert [one.strip() for one in rows] == ["Pick", "Compare both lists", "Pick"]
    assert [page.index(one) for one in (">Late<", ">Soon<", ">No day<")] == sorted(
        page.index(one) for one in (">Late<", ">Soon<", ">No day<")
    )
    assert "2 days overdue" in page
    assert "3 days left" in page
    assert re.findall(r'alt="Frame (\w+)"', page) == [frame.label for frame in frames]


def test_once_the_list_is_closed_the_desk_shows_what_is_on_it_and_nothing_that_is_kept_back(cast):
    kept, one, two, left_out = [proved(cast, number, cast.look()) for number in (1, 2, 3, 4)]
    pick.set_mark(cast.as_representation, left_out.pk, kind="pick")
    for place, frame in enumerate((kept, two, one)):
        Final.objects.create(sitting=cast.sitting, frame=frame, round=cast.sitting.rounds.get(), position=place)
    type(kept).objects.filter(pk=kept.pk).update(kept_by_subject=True)
    client = Client()
    client.post(path_of(invites.sign_in_link(email="ruben@achterberg.example")))
    assert re.findall(r'alt="Frame (\w+)"', client.get("/desk").content.decode()) == [left_out.label]
    Sitting.objects.filter(pk=cast.sitting.pk).update(stage="finishing")
    assert re.findall(r'alt="Frame (\w+)"', client.get("/desk").content.decode()) == [two.label, one.label]


def test_an_agent_with_two_links_in_one_browser_has_a_desk_and_no_second_list(cast):
    other = make_cast("another")
    client = Client()
    for person in (cast.representation, other.representation):
        client.post(path_of(invites.new_link(person)))
    assert client.get("/")["Location"] == "/desk"
    page = client.get("/desk").content.decode()
    for one in (cast, other):
        assert f'href="/s/{one.sitting.slug}/"' in page
        assert 'href="/desk"' in client.get(f"/s/{one.sitting.slug}/plan").content.decode()
    assert 'href="/desk"' not in cast.client_of(cast.subject).get(f"/s/{cast.sitting.slug}/plan").content.decode()
    assert cast.client_of(cast.subject).get("/desk")["Location"] == "/sign-in/link"


def test_the_desk_leaves_other_peoples_invites_of_the_same_browser_alone(cast):
    """A browser may hold the subject's invite of another sitting too: the agent's desk neither shows it nor notes that
    its holder was here, and a session that names an invite under a sitting of another opens neither."""
    other, third = make_cast("another"), make_cast("third")
    Invite.objects.filter(pk__in=[other.representation.pk, third.representation.pk]).update(email="ruben@away.example")
    client = cast.client_of(cast.representation)
    session = client.session
    session["desk"] = cast.representation.email
    session["invites"] = {
        str(cast.sitting.pk): other.subject.pk,  # crossed
        str(other.sitting.pk): other.subject.pk,
        str(third.sitting.pk): third.recipient.pk,
    }
    session.save()
    page = client.get("/desk")
    assert b"/s/another/" not in page.content
    assert b"/s/third/" not in page.content
    assert not Invite.objects.filter(pk__in=[other.subject.pk, third.recipient.pk]).exclude(last_seen_at=None).exists()
    assert client.session["invites"][str(cast.sitting.pk)] == cast.representation.pk
    assert client.get(f"/s/{cast.sitting.slug}/sheet").status_code == 200


def test_the_answer_to_a_wish_for_a_link_tells_nothing(cast, mailoutbox):
    known = Client().post("/sign-in/link", {"email": "tamsin@northlight.example"})
    unknown = Client().post("/sign-in/link", {"email": "nobody@elsewhere.example"})
    assert known.status_code == unknown.status_code == 200
    said = [TOKEN.sub(b"", answer.content) for answer in (known, unknown)]
    assert said[0] == said[1]
    assert not mailoutbox  # nothing goes while the asker waits
    jobs.run_waiting(kinds=["wish"])
    (letter,) = mailoutbox
    assert letter.to == ["tamsin@northlight.example"]


def test_a_wish_for_a_link_costs_the_same_whoever_has_the_address(cast):
    """The statements that are asked of the database while the asker waits; no clock is read."""
    asked = {}
    for email in ("tamsin@northlight.example", "ruben@achterberg.example", "ansa@veld.example", "nobody@else.example"):
        with CaptureQueriesContext(connection) as seen:
            Client().post("/sign-in/link", {"email": email})
        asked[email] = [re.sub(r"'[^']*'|\b\d+\b|s\d+_x\d+", "?", one["sql"]) for one in seen]
    first, *others = asked.values()
    assert first
    assert all(one == first for one in others)


def test_a_wish_that_could_not_be_sent_is_tried_again_with_one_link_that_works(cast, mailoutbox, monkeypatch):
    with monkeypatch.context() as broken:
        broken.setattr(EmailMultiAlternatives, "send", lambda *_args, **_more: 1 / 0)
        Client().post("/sign-in/link", {"email": "tamsin@northlight.example"})
        jobs.run_waiting(kinds=["wish"])
    assert not SignInLink.objects.exists()
    account_letters.send_due()  # as the clock does
    jobs.run_waiting(kinds=["wish"])
    assert len(mailoutbox) == 1
    assert SignInLink.objects.count() == 1
    account_letters.send_due()
    jobs.run_waiting(kinds=["wish"])
    assert len(mailoutbox) == 1
    AccountLetter.objects.update(created_at=timezone.now() - wishes.KEPT)
    wishes.forget()
    assert not AccountLetter.objects.exists()


def test_leaving_ends_the_session_and_clears_what_the_browser_kept(cast):
    client = cast.client_of(cast.subject)
    response = client.post("/leave")
    assert response["Clear-Site-Data"] == '"cache", "storage"'
    assert "invites" not in client.session
    assert client.get("/leave").status_code == 405


def test_forms_without_a_token_are_refused(cast):
    client = Client(enforce_csrf_checks=True)
    assert client.post("/sign-in", {"name": "a", "password": "b"}).status_code == 403
    assert client.post("/leave").status_code == 403


def test_headers_of_every_page(cast):
    response = Client().get("/sign-in")
    policy = response["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert response["X-Frame-Options"] == "DENY"
    assert response["Referrer-Policy"] == "same-origin"
    assert "no-store" in response["Cache-Control"]
