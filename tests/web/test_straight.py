"""The straight way of small pictures, polls and marks says yes only where the whole way would, at each request anew."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.conf import settings
from django.contrib.sessions.models import Session
from django.core import signing
from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from galleries.access import Visitor
from galleries.models import DeliverySize, Frame, Invite, JournalLine, Look, Mark, Sitting
from galleries.models.compiled import Compiled
from galleries.steps.delivering import sizes
from galleries.steps.people import invite as invites
from galleries.steps.picking import pick
from galleries.web import passes
from galleries.web.invitee import marks_of_all, showing
from tests.cast import Cast, asked, body_of, make_cast
from tests.web.invitee.sheets import proved

pytestmark = pytest.mark.django_db
PASS, SESSION = settings.PASS_COOKIE_NAME, settings.SESSION_COOKIE_NAME
NO_PAGE = {"Accept": "application/json"}  # a page is dear to make


@pytest.fixture
def cast() -> Cast:
    cast = make_cast()
    proved(cast, 1, cast.look())
    return cast


def picture(cast: Cast) -> str:
    frame = cast.sitting.frames.get()
    return f"/files/proof/{frame.pk}/small/{frame.proofs.get().pk}.jpg"


def poll(cast: Cast) -> str:
    cast.sitting.refresh_from_db()
    return f"/s/{cast.sitting.slug}/changes?since={cast.sitting.change}"


def talk(cast: Cast) -> str:
    return f"/s/{cast.sitting.slug}/frame/{cast.sitting.frames.get().pk}"


def with_pass(cast: Cast, person: Invite) -> Client:
    """A browser whose sheet was opened, which is when it is given its pass."""
    client = cast.client_of(person)
    assert client.get(f"/s/{cast.sitting.slug}/sheet").status_code == 200
    assert client.cookies[PASS]["httponly"]
    return client


@pytest.mark.parametrize("who", ["subject", "representation"])
def test_a_small_picture_and_a_poll_without_news_are_one_question(cast: Cast, who: str) -> None:
    client = with_pass(cast, getattr(cast, who))
    assert asked(client, picture(cast)) == (200, 1)
    assert asked(client, poll(cast)) == (204, 1)
    Sitting.objects.update(change=7)
    assert client.get(f"/s/{cast.sitting.slug}/changes?since=6").json()["change"] == 7


def test_the_answer_is_that_of_the_whole_way(cast: Cast) -> None:
    straight, whole = with_pass(cast, cast.subject), cast.client_of(cast.subject)
    sizes.load()
    frame = cast.sitting.frames.get()
    pick.remark(cast.as_subject, frame.pk, "The jacket?")
    for who, note, alone in ((cast.as_subject, "Mine.", True), (cast.as_representation, "Ours.", None)):
        pick.set_mark(who, frame.pk, note=note, for_studio=alone)
    for address in (picture(cast), poll(cast), talk(cast)):
        long = whole.get(address)
        del whole.cookies[PASS]
        short = straight.get(address)
        assert (short.status_code, body_of(short)) == (long.status_code, body_of(long))
        # There are no words in it to choose a language for; and no length of nothing (RFC 9110, 8.6: none with a 204).
        beside = {"Vary", "Content-Language"} | ({"Content-Length"} if long.status_code == 204 else set())
        assert dict(short.headers) == {name: value for name, value in long.headers.items() if name not in beside}


def test_what_is_said_of_a_frame_is_a_few_questions_and_each_hears_what_is_for_them(cast: Cast) -> None:
    frame = cast.sitting.frames.get()
    pick.set_mark(cast.as_subject, frame.pk, note="Not this ear.", for_studio=True)
    pick.set_mark(cast.as_representation, frame.pk, note="For the drama.")
    for who, heard in (("subject", ["For the drama."]), ("representation", [])):
        client = with_pass(cast, getattr(cast, who))
        address = talk(cast)
        assert asked(client, address) == (200, 4)
        assert [note["text"] for note in client.get(address).json()["notes"]] == heard
    assert "Not this ear." in cast.client_of(cast.owner).get(talk(cast)).content.decode()
    other = make_cast("another")
    for person in (other.subject, other.owner, cast.recipient, None):
        assert cast.client_of(person).get(talk(cast), headers=NO_PAGE).status_code in {403, 404}
    stranger = with_pass(cast, cast.subject)
    assert stranger.get(talk(cast).replace(cast.sitting.slug, other.sitting.slug)).status_code == 404


def test_crops_follow_the_reading_the_sizes_and_the_language(cast: Cast) -> None:
    client = with_pass(cast, cast.subject)
    assert client.get(talk(cast)).json()["crops"] == []
    sizes.load()
    crops = client.get(talk(cast)).json()["crops"]
    assert len(crops) > 2
    assert all(crop["known"] for crop in crops)
    client.cookies[settings.LANGUAGE_COOKIE_NAME] = "de"
    assert [crop["title"] for crop in client.get(talk(cast)).json()["crops"]] != [crop["title"] for crop in crops]
    client.cookies[settings.LANGUAGE_COOKIE_NAME] = "en"
    DeliverySize.objects.filter(title=crops[0]["title"]).update(title="Ours")
    assert client.get(talk(cast)).json()["crops"][0]["title"] == "Ours"
    Frame.objects.update(reading=None)
    assert not any(crop["known"] for crop in client.get(talk(cast)).json()["crops"])
    DeliverySize.objects.update(retired=True)
    assert client.get(talk(cast)).json()["crops"] == []


def revoked(cast: Cast, person: Invite) -> None:
    invites.revoke(person, cast.as_owner)


def first_one_revoked(cast: Cast, person: Invite) -> None:
    """The invite that theirs was passed on from, by itself."""
    first = Invite.objects.create(
        sitting=cast.sitting, role=person.role, name="F.", email="first@veld.example", revoked_at=timezone.now(),
        expires_at=person.expires_at,
    )  # fmt: skip
    Invite.objects.filter(pk=person.pk).update(passed_from=first)


TAKEN: dict[str, Callable[[Cast, Invite], object]] = {
    "revoked": revoked,
    "run out": lambda cast, person: Invite.objects.filter(pk=person.pk).update(expires_at=timezone.now()),
    "the first one revoked": first_one_revoked,
    "sessions ended": lambda cast, person: Invite.objects.filter(pk=person.pk).update(shut_before=timezone.now()),
    "left": lambda cast, person: Session.objects.all().delete(),
    "session run out": lambda cast, person: Session.objects.update(expire_date=timezone.now() - timedelta(1)),
    "another role": lambda cast, person: Invite.objects.filter(pk=person.pk).update(role=Invite.Role.RECIPIENT),
    "planning again": lambda cast, person: Sitting.objects.update(stage=Sitting.Stage.PLANNING),
    "archived": lambda cast, person: Sitting.objects.update(stage=Sitting.Stage.ARCHIVED),
    "a holding sitting": lambda cast, person: Sitting.objects.update(is_holding=True),
    "a minor": lambda cast, person: Sitting.objects.update(subject_is_minor=True),
    "invite of another sitting": lambda cast, person: Invite.objects.filter(pk=person.pk).update(
        sitting=make_cast("another").sitting, email="moved@veld.example"
    ),
}
OF_PICTURES: dict[str, Callable[[Cast, Invite], object]] = {
    "hidden": lambda cast, person: Frame.objects.update(hidden=True),
    "look hidden": lambda cast, person: Look.objects.update(hidden=True),
}


def struck(cast: Cast, person: Invite) -> None:
    Sitting.objects.update(strikes_hide=True)
    frame = cast.sitting.frames.get()
    Mark.objects.create(invite=cast.subject, frame=frame, kind=Mark.Kind.STRIKE, acted_at=timezone.now())


FROM_THE_AGENT: dict[str, Callable[[Cast, Invite], object]] = {
    "frame kept": lambda cast, person: Frame.objects.update(kept_by_subject=True),
    "look kept": lambda cast, person: Look.objects.update(kept_from_representation=True),
    "struck": struck,
}


@pytest.mark.parametrize("who", ["subject", "representation"])
def test_what_is_taken_back_is_taken_back_at_the_next_request(cast: Cast, who: str) -> None:
    person = getattr(cast, who)
    client = with_pass(cast, person)
    shown, news, said = picture(cast), poll(cast), talk(cast)
    kept = {name: client.cookies[name].value for name in (PASS, SESSION)}
    for of_pictures, changes in ((False, TAKEN), (True, OF_PICTURES), (True, FROM_THE_AGENT)):
        for name, change in changes.items():
            with transaction.atomic():
                client.cookies.load(kept)
                assert asked(client, shown) == (200, 1), name
                assert asked(client, news) == (204, 1), name
                change(cast, person)
                still = changes is FROM_THE_AGENT and who == "subject"  # it is kept from the agent, not from them
                assert (client.get(shown).status_code == 200) is still, name
                assert (client.get(said, headers=NO_PAGE).status_code == 200) is still, name
                assert of_pictures or client.get(news, headers=NO_PAGE).status_code in {403, 404}, name
                transaction.set_rollback(True)


def test_a_pass_says_nothing_beside_another_session_or_none(cast: Cast) -> None:
    client = with_pass(cast, cast.subject)
    other = make_cast("another")
    for person in (None, other.subject, other.owner, cast.stranger, cast.recipient):
        thief = cast.client_of(person)
        thief.cookies[PASS] = client.cookies[PASS].value
        assert thief.get(picture(cast)).status_code == 404
        assert thief.get(poll(cast), headers=NO_PAGE).status_code in {403, 404}
        assert thief.get(talk(cast), headers=NO_PAGE).status_code in {403, 404}
    mine = client.cookies[PASS].value
    for forged in (mine[:-1] + ("A" if mine[-1] != "A" else "B"), "", "a:b:c", "\0", signing.dumps([[1, 0.0]])):
        client.cookies[PASS] = forged
        status, questions = asked(client, picture(cast))
        assert (status, questions > 1) == (200, True), "their session lets them in, the whole way"


def posted(client: Client, cast: Cast, kind: str = "pick", **more: str) -> tuple[int, int]:
    """(status, questions to the database) of a mark on the sitting's frame, as a page sends it."""
    act = {"frame": cast.sitting.frames.get().pk, "kind": kind, "act": f"a-{kind}"}
    with CaptureQueriesContext(connection) as seen:
        answer = client.post(
            f"/s/{cast.sitting.slug}/marks", json.dumps([act]), content_type="application/json",
            headers={**NO_PAGE, **more},
        )  # fmt: skip
    return answer.status_code, len(seen)


STRAIGHT_MARK = 11  # questions at most, savepoints of the test's own transaction among them; the whole way has more


def test_a_mark_goes_the_straight_way_and_is_as_the_whole_way_stores_it(cast: Cast) -> None:
    straight, whole = with_pass(cast, cast.subject), cast.client_of(cast.representation)
    address, frame = f"/s/{cast.sitting.slug}/marks", cast.sitting.frames.get()
    bodies = []
    for client, person in ((straight, cast.subject), (whole, cast.representation)):
        before = Sitting.objects.get(pk=cast.sitting.pk).change
        assert posted(client, cast, "alternate")[0] == 200
        mark = Mark.objects.get(invite=person)
        assert (mark.frame, mark.kind, mark.act, mark.revision) == (frame, "alternate", "a-alternate", 1)
        assert mark.by == person
        line = JournalLine.objects.latest("pk")
        assert (line.sitting, line.sitting_slug) == (cast.sitting, cast.sitting.slug)
        assert (line.who, line.verb, line.after) == (Visitor(invite=person).who, "marked", "alternate")
        assert Sitting.objects.get(pk=cast.sitting.pk).change == before + 1
        answer = client.post(address, "[]", content_type="application/json", headers=NO_PAGE)
        bodies.append(answer.json() | {"change": 0})
    assert bodies[0] == bodies[1]
    assert posted(straight, cast)[1] <= STRAIGHT_MARK < posted(cast.client_of(cast.subject), cast, "strike")[1]


@pytest.mark.parametrize("who", ["subject", "representation"])
def test_no_mark_goes_the_straight_way_once_its_right_is_taken_back(cast: Cast, who: str) -> None:
    person = getattr(cast, who)
    client = with_pass(cast, person)
    kept = {name: client.cookies[name].value for name in (PASS, SESSION)}
    closed = {"closed": lambda cast, person: Sitting.objects.update(stage=Sitting.Stage.FINISHING)}
    for changes in (TAKEN, OF_PICTURES, FROM_THE_AGENT, closed):
        for name, change in changes.items():
            with transaction.atomic():
                client.cookies.load(kept)
                change(cast, person)
                still = changes is FROM_THE_AGENT and who == "subject"
                posted(client, cast)
                assert Mark.objects.filter(invite=person, kind="pick").exists() is still, name
                transaction.set_rollback(True)


def test_a_mark_without_the_forms_token_is_refused_whatever_pass_comes_with_it(cast: Cast) -> None:
    cookies = {name: morsel.value for name, morsel in with_pass(cast, cast.subject).cookies.items()}
    client, token = Client(enforce_csrf_checks=True), "a" * 32
    client.cookies.load(cookies | {settings.CSRF_COOKIE_NAME: token})
    assert posted(client, cast)[0] == 403
    assert posted(client, cast, **{"X-CSRFToken": "b" * 32})[0] == 403
    assert posted(client, cast, **{"X-CSRFToken": token, "Origin": "https://elsewhere.example"})[0] == 403
    assert not Mark.objects.exists()
    status, questions = posted(client, cast, **{"X-CSRFToken": token})
    assert (status, questions <= STRAIGHT_MARK) == (200, True)
    assert Mark.objects.count() == 1


def test_a_frame_of_elsewhere_and_what_cannot_be_read_are_told_as_ever(cast: Cast) -> None:
    client, other = with_pass(cast, cast.subject), make_cast("another")
    strange = other.frame(1, other.look())
    address = f"/s/{cast.sitting.slug}/marks"
    acts = [{"frame": strange.pk, "kind": "pick", "act": "x"}, {"frame": "1", "kind": "pick", "act": "y"}]
    answer = client.post(address, json.dumps(acts), content_type="application/json", headers=NO_PAGE)
    assert [one["kind_of_error"] for one in answer.json()["answers"]] == ["Missing", "Missing"]
    for body in ("{", "7", '[{"frame": 1}, 5]'):
        answer = client.post(address, body, content_type="application/json", headers=NO_PAGE)
        assert answer.status_code == 400, body
    client.cookies[settings.LANGUAGE_COOKIE_NAME] = "de"
    answer = client.post(address, json.dumps(acts), content_type="application/json", headers=NO_PAGE)
    assert "frame" not in answer.json()["answers"][0]["error"]
    assert not Mark.objects.exists()


def test_a_pass_is_short_lived_and_given_anew(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    client = with_pass(cast, cast.subject)
    now = time.time()
    monkeypatch.setattr(signing.time, "time", lambda: now + passes.SECONDS + 2)
    first = client.cookies[PASS].value
    assert asked(client, picture(cast))[1] > 1
    assert client.cookies[PASS].value != first
    assert asked(client, picture(cast)) == (200, 1)


def test_strangers_are_given_none(cast: Cast) -> None:
    client = cast.client_of(None)
    client.get(picture(cast))
    client.get("/studio/")
    assert PASS not in client.cookies


def test_a_value_that_does_not_stand_by_itself_is_named() -> None:
    ask = Compiled(lambda number: Frame.objects.filter(number=number + 1).values_list("pk"))
    with pytest.raises(ValueError, match=r"places \[0\]"):
        ask(5)


def told(client: Client, cast: Cast, since: int) -> tuple[dict[str, object], int]:
    """(what a page is told that stands at `since`, questions to the database)."""
    with CaptureQueriesContext(connection) as seen:
        answer = client.get(f"/s/{cast.sitting.slug}/changes?since={since}")
    assert answer.status_code == 200
    body: dict[str, object] = answer.json()
    return body, len(seen)


def mark(cast: Cast, person: Invite, kind: str) -> None:
    pick.set_mark(Visitor(invite=person), cast.sitting.frames.get().pk, kind=kind)


def test_news_is_what_the_whole_way_tells_and_what_all_said_is_asked_for_once_a_moment(cast: Cast) -> None:
    subject, agent = with_pass(cast, cast.subject), with_pass(cast, cast.representation)
    frame = str(cast.sitting.frames.get().pk)
    mark(cast, cast.representation, "alternate")
    cast.sitting.refresh_from_db()
    first, questions = told(subject, cast, 0)
    whole = json.loads(json.dumps(showing.state(cast.as_subject, cast.sitting)))
    assert first | {"now": 0} == whole | {"now": 0}
    assert first["theirs"] == {frame: [[cast.representation.pk, "alternate"]]}
    assert first["sides"] == {frame: {"representation": "alternate"}}
    # Somebody else, in the same moment; their own mark is not among the others'.
    second, fewer = told(agent, cast, 0)
    assert (second["theirs"], second["mine"]) == ({}, {frame: ["alternate", 1, "", False]})
    assert fewer == questions - 2

    # One's own word and a frame that goes are told at once; the others' once more when what one has is as new.
    mark(cast, cast.subject, "pick")
    mine, _questions = told(subject, cast, 0)
    assert (mine["mine"], mine["change"]) == ({frame: ["pick", 1, "", False]}, first["change"])
    after, _questions = told(agent, cast, int(str(first["change"])))
    assert after["theirs"] == {frame: [[cast.subject.pk, "pick"]]}
    assert int(str(after["change"])) > int(str(first["change"]))
    Frame.objects.update(hidden=True)
    gone, _questions = told(agent, cast, 0)
    assert (gone["frames"], gone["theirs"], gone["mine"]) == ([], {}, {})


def test_each_of_a_crowd_hears_what_the_whole_way_tells_them(cast: Cast) -> None:
    """Put together from what is kept for all: without their own, only of frames that are theirs to see."""
    look = cast.sitting.looks.get()
    for number in range(2, 7):
        proved(cast, number, look)
    until = cast.subject.expires_at
    more = [
        cast.sitting.invites.create(role=role, name=name, email=f"{name}@veld.example", expires_at=until)
        for role, name in ((Invite.Role.REPRESENTATION, "Second"), (Invite.Role.SUBJECT, "Parent"))
    ]
    people = [cast.subject, cast.representation, *more]
    kinds = ("pick", "alternate", "strike", "")
    for nth, frame in enumerate(cast.sitting.frames.order_by("pk")):
        for place, person in enumerate(people):
            if (nth + place) % 4:
                pick.set_mark(Visitor(invite=person), frame.pk, kind=kinds[(nth * 3 + place) % 4])
    Frame.objects.filter(number=6).update(kept_by_subject=True)
    cast.sitting.refresh_from_db()
    for person in [*people, *people]:  # the second time from what the first put together
        news, _questions = told(with_pass(cast, person), cast, 0)
        whole = json.loads(json.dumps(showing.state(Visitor(invite=person), cast.sitting)))
        assert news | {"now": 0} == whole | {"now": 0}, person
        assert len(whole["theirs"]) >= 2
        rows = marks_of_all.marks_for(Visitor(invite=person), cast.sitting)
        mine, theirs = showing.marks_of(Visitor(invite=person), cast.sitting)
        assert rows is not None
        assert (rows.mine, rows.theirs) == (mine, dict(theirs))


def test_news_of_all_is_asked_for_again_after_a_moment(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    agent = with_pass(cast, cast.representation)
    mark(cast, cast.subject, "pick")
    first, _questions = told(agent, cast, 0)
    mark(cast, cast.subject, "")
    assert told(agent, cast, 0)[0]["theirs"] == first["theirs"] != {}
    monkeypatch.setattr(marks_of_all, "MOMENT", 0)
    assert told(agent, cast, 0)[0]["theirs"] == {}
