"""The subject's hours to object to a list that the agent closed: what they open, when they end, who hears of it."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pytest
from django.urls import reverse

from galleries.access import Visitor
from galleries.errors import BadInput, Conflict, Refused
from galleries.models import Final, Invite, JournalLine, Letter, Round, Sitting, Studio
from galleries.steps.agreeing import agree, objection
from galleries.steps.people import posting
from galleries.steps.picking import pick
from tests.cast import Cast, make_cast
from tests.steps.clock import MOMENT, NOON, Clock
from tests.web.invitee.sheets import filled

HOURS = timedelta(hours=6)


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    return Clock(monkeypatch)


@pytest.fixture
def cast(db: None, clock: Clock) -> Cast:
    made = make_cast()
    Sitting.objects.update(objection_hours=6, time_zone="Europe/London")
    Studio.objects.update(letters_from=8, letters_until=20)
    made.sitting.refresh_from_db()
    return made


def close(cast: Cast, by: Visitor | None = None, *numbers: int) -> Round:
    if not cast.sitting.frames.exists():
        for number in (1, 2, 3):
            cast.frame(number)
    frames = cast.sitting.frames.filter(number__in=numbers or (1,)).values_list("pk", flat=True)
    agree.close(cast.sitting, frames, by or cast.as_representation)
    return cast.sitting.rounds.latest("number")


def test_it_stands_open_for_the_hours_and_then_holds_by_the_clock(cast: Cast, clock: Clock) -> None:
    assert close(cast).objection_until == NOON + HOURS
    clock.passes(HOURS - MOMENT)
    assert cast.sitting.objection_until == NOON + HOURS
    clock.passes(MOMENT)
    assert cast.sitting.objection_until is None
    with pytest.raises(Refused, match="no time to object any more"):
        objection.object_to_list(cast.sitting, cast.as_subject, "the second one")
    assert (cast.sitting.stage, Round.objects.count()) == ("finishing", 1)


@pytest.mark.parametrize("why", ["no setting", "closed by the photographer", "nobody to object"])
def test_nobody_is_given_time_where_there_is_no_reason(cast: Cast, why: str) -> None:
    if why == "no setting":
        cast.sitting.objection_hours = 0
    if why == "nobody to object":
        Invite.objects.filter(pk=cast.subject.pk).update(revoked_at=NOON)
    assert close(cast, cast.as_owner if "photographer" in why else None).objection_until is None
    assert cast.sitting.objection_until is None


@pytest.mark.parametrize(
    ("closed_at", "until"),
    [  # British summer time is an hour before UTC; letters go from 8 to 20
        (datetime(2027, 1, 10, 22, 30, tzinfo=UTC), datetime(2027, 1, 11, 14, 0, tzinfo=UTC)),
        (datetime(2027, 1, 10, 19, 59, tzinfo=UTC), datetime(2027, 1, 11, 1, 59, tzinfo=UTC)),
        (datetime(2027, 7, 10, 3, 15, tzinfo=UTC), datetime(2027, 7, 10, 13, 0, tzinfo=UTC)),
    ],
)
def test_the_hours_begin_when_the_letter_may_go_out(
    cast: Cast, clock: Clock, closed_at: datetime, until: datetime
) -> None:
    Invite.objects.update(expires_at=closed_at + timedelta(days=30))
    cast.representation.refresh_from_db()
    clock.at = closed_at
    assert close(cast).objection_until == until


def test_an_objection_opens_the_list_for_both_and_is_told_to_all(cast: Cast) -> None:
    cast.sitting.invites.create(
        role="assistant", name="Mirre Solland", email="mirre@solland.example", expires_at=NOON + timedelta(days=9)
    )
    Invite.objects.filter(pk__in=[cast.subject.pk, cast.representation.pk]).update(picks_done_at=NOON)
    close(cast)
    opened = objection.object_to_list(cast.sitting, cast.as_subject, "  The second one, please.\n")
    assert (cast.sitting.stage, opened.number, opened.closed_at) == ("agreeing", 2, None)
    assert (opened.objected_by, opened.reason) == ("Ansa Veld", "The second one, please.")
    assert cast.sitting.objected_round == opened
    assert cast.sitting.objection_until is None
    line = JournalLine.objects.get(verb="objected")
    assert (line.who, line.detail["reason"]) == ("Ansa Veld (subject)", "The second one, please.")
    told = set(Letter.objects.filter(kind="objected").values_list("to", flat=True))
    assert told == {"ruben@achterberg.example", "mirre@solland.example", "tamsin@northlight.example"}
    assert [one.name for one in agree.still_marking(cast.sitting)] == ["Ansa Veld"]
    for by in (cast.as_subject, cast.as_representation):
        by.invite.refresh_from_db()  # type: ignore[union-attr]
        pick.set_mark(by, cast.sitting.frames.get(number=2).pk, kind="pick")


def test_a_list_closed_again_may_be_objected_to_again(cast: Cast, clock: Clock) -> None:
    for turn in (1, 2, 3):
        close(cast, None, turn)
        clock.passes(timedelta(minutes=5))
        objection.object_to_list(cast.sitting, cast.as_subject, f"no {turn}")
    last = close(cast, None, 1, 2)
    assert last.objection_until == NOON + timedelta(minutes=15) + HOURS
    assert list(Round.objects.values_list("number", "reason")) == [(1, ""), (2, "no 1"), (3, "no 2"), (4, "no 3")]
    assert Letter.objects.filter(kind="objected", to=cast.representation.email).count() == 3
    assert Letter.objects.filter(kind="closed", to=cast.subject.email).count() == 4
    assert Final.objects.filter(on_list=True).count() == 2


def test_what_the_photographer_opened_and_closed_is_not_open_to_the_hours_before(cast: Cast) -> None:
    close(cast)
    agree.reopen(cast.sitting, cast.as_owner, "one more")
    assert cast.sitting.objection_until is None
    assert cast.sitting.objected_round is None
    close(cast, cast.as_owner)
    assert cast.sitting.objection_until is None


def test_the_photographer_ends_the_time_by_hand(cast: Cast) -> None:
    close(cast)
    for by in (cast.as_subject, cast.as_representation):
        with pytest.raises(Refused):
            objection.end_time(cast.sitting, by)
    objection.end_time(cast.sitting, cast.as_owner)
    assert cast.sitting.objection_until is None
    assert JournalLine.objects.filter(verb="objection time ended", who="Tamsin (photographer)").count() == 1
    with pytest.raises(Conflict, match="No time to object runs"):
        objection.end_time(cast.sitting, cast.as_owner)
    with pytest.raises(Refused):
        objection.object_to_list(cast.sitting, cast.as_subject, "too late")


def test_an_objection_is_said_in_words_and_by_the_subject(cast: Cast) -> None:
    close(cast)
    for words in ("", " \n ", "x" * 301):
        with pytest.raises(BadInput):
            objection.object_to_list(cast.sitting, cast.as_subject, words)
    for by in (cast.as_representation, cast.as_owner, cast.as_recipient):
        with pytest.raises(Refused):
            objection.object_to_list(cast.sitting, by, "no")
    assert cast.sitting.stage == "finishing"


def test_retouching_may_start_and_what_was_approved_stays(cast: Cast) -> None:
    close(cast)
    Final.objects.update(state="approved")
    Sitting.objects.update(stage="delivered")
    cast.sitting.refresh_from_db()
    objection.object_to_list(cast.sitting, cast.as_subject, "not that one")
    assert Final.objects.get().state == "approved"


def test_the_letters_say_what_was_chosen_until_when_and_the_subjects_words(cast: Cast) -> None:
    close(cast)
    cast.subject.marks.create(frame=cast.sitting.frames.get(number=2), kind="pick", acted_at=NOON)
    texts = {letter.to: posting.written(posting.message(letter, "link")) for letter in Letter.objects.all()}
    mine, agents = texts[cast.subject.email], texts[cast.representation.email]
    assert "On the list: 0001." in mine
    assert "Picked, and not on it: 0002." in mine
    assert "say so until 10 March 2027, 18:00 GMT with “I object”" in mine
    assert "The subject may object until 10 March 2027, 18:00 GMT;" in agents
    assert "I object" not in agents
    objection.object_to_list(cast.sitting, cast.as_subject, "The second one, please.")
    for letter in Letter.objects.filter(kind="objected"):
        text = posting.written(posting.message(letter, "link"))
        assert "Ansa Veld objected to the closed list:" in text
        assert "“The second one, please.”" in text
    objection_over = Letter.objects.get(kind="closed", to=cast.subject.email)
    assert "I object" not in posting.written(posting.message(objection_over, "link"))


def test_the_pages_lead_to_it_and_say_it(cast: Cast) -> None:
    one, two, three, *_rest = filled(cast, 1, 4)
    for frame in (one, two):
        pick.set_mark(cast.as_subject, frame.pk, kind="pick")
    pick.set_mark(cast.as_representation, three.pk, kind="pick")
    subject, agent, studio = (cast.client_of(who) for who in (cast.subject, cast.representation, cast.owner))
    slug = [cast.sitting.slug]
    asking = agent.post(reverse("lists", args=slug), {"frame": [one.pk]}).content.decode()
    assert "has 6 hours to object" in " ".join(asking.split())
    agree.close(cast.sitting, [one.pk], cast.as_representation)
    assert subject.get(reverse("sitting", args=slug)).headers["Location"] == reverse("objection", args=slug)
    page = subject.get(reverse("objection", args=slug)).content.decode()
    groups = [re.findall(r'class="typed" aria-hidden="true">(\w+)<', part) for part in page.split("<section")[1:]]
    assert groups == [[one.label], [two.label], [three.label]]
    for client, name, said in (
        (subject, "sheet", "You may object until"),
        (subject, "finals", "You may object until"),
        (agent, "finals", "The subject may object until"),
        (agent, "lists", "The subject may object until"),
        *((studio, f"studio-{where}", "stands open to the subject") for where in ("sitting", "lists", "finals")),
        (studio, "studio-delivery", "stands open to the subject"),
        (studio, "studio-send-retouches", "stands open to the subject"),
    ):
        assert said in " ".join(client.get(reverse(name, args=slug)).content.decode().split()), name
    assert agent.get(reverse("objection", args=slug)).status_code == 403
    answer = subject.post(reverse("objection", args=slug), {"words": "The <second> one"})
    assert answer.headers["Location"] == reverse("sheet", args=slug)
    for client, name in ((subject, "sheet"), (agent, "lists"), (studio, "studio-lists")):
        page = client.get(reverse(name, args=slug)).content.decode()
        assert "Ansa Veld objected to the closed list, and it is open again: “The &lt;second&gt; one”" in page, name
    cast.sitting.refresh_from_db()
    agree.close(cast.sitting, [two.pk], cast.as_representation)
    assert studio.post(reverse("studio-objection-end", args=slug)).status_code == 302
    assert subject.get(reverse("objection", args=slug)).status_code == 403
    assert subject.get(reverse("sitting", args=slug)).headers["Location"] == reverse("finals", args=slug)


@pytest.mark.parametrize(
    ("zone", "told"),  # as the IANA time zone database names them on that day
    [
        ("Europe/Berlin", "10 March 2027, 19:00 CET"),
        ("America/New_York", "10 March 2027, 14:00 EST"),  # quiet until eight there: the hours begin then
        ("America/Sao_Paulo", "10 March 2027, 15:00 UTC-03"),
        ("Asia/Kolkata", "10 March 2027, 23:30 IST"),
    ],
)
def test_the_hour_is_told_with_its_zone_wherever_it_is_told(cast: Cast, zone: str, told: str) -> None:
    """Somebody on tour reads it by another clock, and the list holds when the hour is over."""
    Sitting.objects.update(time_zone=zone)
    cast.sitting.refresh_from_db()
    close(cast)
    subject, agent, studio = (cast.client_of(who) for who in (cast.subject, cast.representation, cast.owner))
    for client, name in (
        *((subject, name) for name in ("sheet", "finals", "objection")),
        *((agent, name) for name in ("finals", "lists")),
        (studio, "studio-lists"),
    ):
        page = " ".join(client.get(reverse(name, args=[cast.sitting.slug])).content.decode().split())
        assert f"until {told}" in page, name
    for letter in Letter.objects.filter(kind="closed").exclude(invite=None).exclude(invite=cast.recipient):
        assert f"until {told}" in posting.written(posting.message(letter, "link")), letter.to
