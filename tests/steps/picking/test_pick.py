"""Marks: each person's own, safe to send twice, in any order."""

from __future__ import annotations

import itertools
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from galleries.access import Visitor
from galleries.errors import BadInput, Missing, Refused
from galleries.models import Frame, Invite, JournalLine, Mark, Sitting, Standing
from galleries.steps.picking import pick
from tests.cast import make_cast

pytestmark = pytest.mark.django_db

COUNTER = itertools.count()


def test_two_people_marking_one_frame_do_not_disturb_each_other():
    cast = make_cast()
    frame = cast.frame(1)
    pick.set_mark(cast.as_subject, frame.pk, kind="pick", note="this is me")
    pick.set_mark(cast.as_representation, frame.pk, kind="strike")
    assert pick.marks_by(cast.subject)[frame.pk].kind == "pick"
    assert pick.marks_by(cast.subject)[frame.pk].note == "this is me"
    assert pick.marks_by(cast.representation)[frame.pk].kind == "strike"


def test_a_mark_and_a_note_change_apart_and_every_change_is_in_the_journal():
    cast = make_cast()
    frame = cast.frame(1)
    pick.set_mark(cast.as_subject, frame.pk, kind="alternate")
    pick.set_mark(cast.as_subject, frame.pk, note="softer jaw")
    answer = pick.set_mark(cast.as_subject, frame.pk, kind="")
    assert (answer.kind, answer.note, answer.revision) == ("", "softer jaw", 3)
    assert JournalLine.objects.filter(verb="marked").count() == 3


def test_the_same_act_sent_twice_is_one_act():
    cast = make_cast()
    frame = cast.frame(1)
    for _ in range(3):
        answer = pick.set_mark(cast.as_subject, frame.pk, kind="pick", act="a1")
    assert answer.revision == 1
    assert JournalLine.objects.filter(verb="marked").count() == 1


def test_an_older_intent_that_arrives_late_does_not_win():
    cast = make_cast()
    frame = cast.frame(1)
    now = timezone.now()
    pick.set_mark(cast.as_subject, frame.pk, kind="strike", act="phone", acted_at=now)
    answer = pick.set_mark(cast.as_subject, frame.pk, kind="pick", act="laptop", acted_at=now - timedelta(minutes=5))
    assert answer.kind == "strike"


def test_a_clock_that_runs_ahead_cannot_win_for_ever():
    cast = make_cast()
    frame = cast.frame(1)
    pick.set_mark(cast.as_subject, frame.pk, kind="pick", act="a", acted_at=timezone.now() + timedelta(days=400))
    assert pick.set_mark(cast.as_subject, frame.pk, kind="strike", act="b").kind == "strike"


@pytest.fixture
def set_back(monkeypatch):
    """From the call on, the server's clock stands ten minutes back."""

    def turn():
        real = timezone.now
        monkeypatch.setattr(timezone, "now", lambda: real() - timedelta(minutes=10))

    return turn


@pytest.mark.parametrize("device", ["right", "as the server", "none"])
def test_a_server_clock_set_back_drops_no_mark(set_back, device):
    cast = make_cast()
    frame = cast.frame(1)
    right = timezone.now()
    first = pick.set_mark(cast.as_subject, frame.pk, kind="pick", act="a", acted_at=right)
    set_back()
    if device == "none":
        assert pick.set_mark(cast.as_subject, frame.pk, kind="strike").kind == "strike"
        return
    at = right + timedelta(seconds=1) if device == "right" else timezone.now()
    seen = first.revision if device == "as the server" else None
    answer = pick.set_mark(cast.as_subject, frame.pk, kind="strike", act="b", acted_at=at, seen=seen)
    assert answer.kind == "strike"
    stale = pick.set_mark(cast.as_subject, frame.pk, kind="pick", act="c", acted_at=at - timedelta(hours=1), seen=1)
    assert stale.kind == "strike"  # it had not seen the strike, and is older


def test_a_note_that_changed_meanwhile_is_shown_and_not_overwritten():
    cast = make_cast()
    frame = cast.frame(1)
    first = pick.set_mark(cast.as_subject, frame.pk, note="from the phone")
    pick.set_mark(cast.as_subject, frame.pk, note="from the laptop", seen=first.revision)
    answer = pick.set_mark(cast.as_subject, frame.pk, note="from the phone, later", seen=first.revision)
    assert answer.conflict
    assert answer.note == Mark.objects.get().note == "from the laptop"


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    acts=st.lists(
        st.tuples(st.sampled_from(["pick", "alternate", "strike", ""]), st.integers(0, 500)),
        min_size=1,
        max_size=6,
        unique_by=lambda act: act[1],
    ),
    data=st.data(),
)
def test_whatever_the_order_of_arrival_the_latest_intent_stands(acts, data):
    cast = make_cast(slug=f"s{next(COUNTER)}")
    frame = cast.frame(1)
    start = timezone.now() - timedelta(hours=1)
    sent = [
        {"frame": frame.pk, "kind": kind, "act": f"{second}", "at": (start + timedelta(seconds=second)).isoformat()}
        for kind, second in acts
    ]
    arrived = data.draw(st.permutations(sent))
    pick.take_acts(cast.as_subject, arrived)
    pick.take_acts(cast.as_subject, arrived)  # the connection broke before the answer: all of it again
    latest = max(acts, key=lambda act: act[1])[0]
    assert Mark.objects.get(frame=frame).kind == latest


def test_one_act_that_cannot_be_done_does_not_hold_up_the_rest():
    cast = make_cast()
    frame, hidden = cast.frame(1), cast.frame(2, hidden=True)
    answers = pick.take_acts(
        cast.as_subject,
        [
            {"frame": hidden.pk, "kind": "pick", "act": "1"},
            {"frame": "x", "kind": "pick", "act": "2"},
            {"frame": frame.pk, "kind": "heart", "act": "3"},
            {"frame": frame.pk, "kind": "pick", "act": "4", "at": "yesterday"},
            {"frame": frame.pk, "kind": "pick", "act": "5"},
        ],
    )
    assert ["error" in answer for answer in answers] == [True, True, True, True, False]
    assert "“heart”" in answers[2]["error"]
    assert Mark.objects.get().kind == "pick"


def test_who_may_not_mark_is_told_so():
    cast = make_cast()
    frame = cast.frame(1)
    with pytest.raises(Refused):
        pick.set_mark(cast.as_owner, frame.pk, kind="pick")
    with pytest.raises(Missing):
        pick.set_mark(Visitor(), frame.pk, kind="pick")
    with pytest.raises(BadInput, match="1000 fit"):
        pick.set_mark(cast.as_subject, frame.pk, note="x" * 1001)
    Sitting.objects.update(stage="finishing")
    with pytest.raises(Refused, match="list is closed"):
        pick.set_mark(cast.as_subject, frame.pk, kind="pick")


def test_marks_of_one_agency_land_on_one_list():
    cast = make_cast()
    frame = cast.frame(1)
    passed = Invite.objects.create(
        sitting=cast.sitting,
        role="representation",
        name="Pia Sorn",
        email="pia@achterberg.example",
        expires_at=cast.representation.expires_at,
        passed_from=cast.representation,
    )
    pick.set_mark(Visitor(invite=passed), frame.pk, kind="pick")
    mark = Mark.objects.get()
    assert (mark.invite, mark.by) == (cast.representation, passed)


def test_counting_against_the_allowance():
    cast = make_cast()
    look, other = cast.look(), cast.look("Coat")
    for number in range(1, 6):
        frame = cast.frame(number, look if number < 3 else other)
        pick.set_mark(cast.as_subject, frame.pk, kind="pick" if number < 5 else "strike")
    count = pick.count(cast.as_subject, cast.sitting)
    assert (count.picks, count.strikes, count.over, count.left) == (4, 1, 1, 0)
    assert count.per_look == {look.pk: 2, other.pk: 2}


def test_counting_for_many_people_at_once_is_as_counting_for_each():
    """Agents of two sittings, one of them through an invite passed on, the subject beside them: everybody's own marks
    on frames they see, nobody else's."""
    one, two = make_cast("one"), make_cast("two")
    passed = Invite.objects.create(
        sitting=two.sitting, role="representation", name="Pia Sorn", email="pia@achterberg.example",
        expires_at=two.representation.expires_at, passed_from=two.representation,
    )  # fmt: skip
    kept = one.frame(9, one.look("Bare"))
    for cast, picks in ((one, 2), (two, 3)):
        for number in range(1, 1 + picks):
            pick.set_mark(cast.as_representation, cast.frame(number).pk, kind="pick")
        pick.set_mark(cast.as_subject, cast.frame(5).pk, kind="strike")
    pick.set_mark(one.as_representation, kept.pk, kind="pick")
    pick.set_mark(one.as_subject, kept.pk, kind="pick")
    assert pick.counts([one.representation])[one.representation.pk].picks == 3
    kept.look.kept_from_representation = True
    kept.look.save()
    everybody = [one.representation, one.subject, two.representation, passed]
    counted = pick.counts(everybody)
    assert [counted[invite.pk].picks for invite in everybody] == [2, 1, 3, 3]
    assert [counted[invite.pk].strikes for invite in everybody] == [0, 1, 0, 0]
    assert counted == {invite.pk: pick.count(Visitor(invite=invite), invite.sitting) for invite in everybody}


def test_counting_for_many_stops_at_one_who_may_not_look():
    one, two = make_cast("one"), make_cast("two")
    two.representation.revoked_at = timezone.now()
    two.representation.save()
    with pytest.raises(Missing):
        pick.counts([one.representation, two.representation])
    with pytest.raises(Refused):
        pick.counts([one.recipient])


def test_a_ranking_is_stored_whole_or_not_at_all():
    cast = make_cast()
    frames = [cast.frame(number) for number in range(1, 4)]
    order = [frames[2].pk, frames[0].pk]
    pick.set_order(cast.as_subject, cast.sitting, order)
    assert list(Standing.objects.values_list("frame_id", flat=True)) == order
    hidden = cast.frame(9, hidden=True)
    for bad in ([frames[0].pk, frames[0].pk], [frames[0].pk, hidden.pk]):
        with pytest.raises(BadInput):
            pick.set_order(cast.as_subject, cast.sitting, bad)
    assert list(Standing.objects.values_list("frame_id", flat=True)) == order


def test_saying_done_moves_the_sitting_on_and_a_later_mark_takes_it_back():
    cast = make_cast()
    frame = cast.frame(1)
    pick.say_done(cast.as_subject, cast.sitting)
    cast.sitting.refresh_from_db()
    cast.subject.refresh_from_db()
    assert cast.sitting.stage == "agreeing"
    assert cast.subject.picks_done_at
    pick.set_mark(cast.as_subject, frame.pk, kind="pick")
    cast.subject.refresh_from_db()
    assert cast.subject.picks_done_at is None


def test_a_ranking_follows_the_rules_of_marks():
    cast = make_cast()
    frame = cast.frame(1)
    pick.set_order(cast.as_subject, cast.sitting, [frame.pk])
    Sitting.objects.update(stage="finishing")  # closed meanwhile; the page still holds the sitting as it was
    with pytest.raises(Refused, match="The list is closed"):
        pick.set_order(cast.as_subject, cast.sitting, [])
    assert cast.subject.standings.count() == 1


def _outbox(frames: list[Frame], kind: str) -> list[dict[str, object]]:
    return [{"frame": frame.pk, "kind": kind, "act": f"{kind}-{frame.pk}"} for frame in frames]


def test_a_batch_of_marks_costs_what_one_does_and_is_written_as_if_one_by_one():
    cast = make_cast()
    frames = [cast.frame(number, cast.look()) for number in range(1, 21)]
    costs = {}
    for some, kind in ((frames[:1], "pick"), (frames[1:11], "pick"), (frames[:1], "strike"), (frames[:20], "strike")):
        with CaptureQueriesContext(connection) as seen:
            answers = pick.take_acts(cast.as_subject, _outbox(some, kind))
        assert {answer["kind"] for answer in answers} == {kind}
        costs[len(some), kind] = len(seen)
    assert costs[1, "pick"] == costs[10, "pick"], costs
    assert costs[20, "strike"] <= costs[1, "strike"] + 1, costs  # some are new, some are changed
    assert costs[10, "pick"] <= 15
    assert Mark.objects.filter(kind="strike", invite=cast.subject).count() == 20
    # 1 + 10 picks, the last 20 strikes of which the first had been struck already.
    assert JournalLine.objects.filter(verb="marked").count() == 1 + 10 + 1 + 19
    assert sorted(Mark.objects.values_list("revision", flat=True)) == [1] * 9 + [2] * 11


def test_a_batch_may_say_two_things_of_one_frame_and_name_frames_of_another_sitting():
    cast, other = make_cast(), make_cast("another")
    mine, theirs, hidden = cast.frame(1), other.frame(1), cast.frame(2, hidden=True)
    said = [
        {"frame": theirs.pk, "kind": "pick", "act": "1"},
        {"frame": mine.pk, "kind": "pick", "act": "2"},
        {"frame": hidden.pk, "kind": "pick", "act": "3"},
        {"frame": mine.pk, "note": "the left one", "act": "4"},
        {"frame": mine.pk, "kind": "alternate", "act": "5"},
        {"frame": 2**70, "kind": "pick", "act": "6"},
    ]
    answers = pick.take_acts(cast.as_subject, said)
    assert [answer.get("kind_of_error", answer.get("revision")) for answer in answers] == [
        "Missing", 1, "Missing", 2, 3, "Missing",
    ]  # fmt: skip
    assert [answer["act"] for answer in answers] == ["1", "2", "3", "4", "5", "6"]
    mark = Mark.objects.get()
    assert (mark.frame, mark.kind, mark.note, mark.revision) == (mine, "alternate", "the left one", 3)
    for nobody in (Visitor(), other.as_subject, cast.as_recipient, Visitor(user=cast.stranger)):
        answers = pick.take_acts(nobody, said[1:4])
        assert all(answer["kind_of_error"] in {"Missing", "Refused"} for answer in answers)
    assert {answer["kind_of_error"] for answer in pick.take_acts(cast.as_owner, said[1:2])} == {"Refused"}
    Sitting.objects.update(stage=Sitting.Stage.FINISHING)
    assert [one["kind_of_error"] for one in pick.take_acts(cast.as_subject, said[1:3])] == ["Refused", "Missing"]
    assert Mark.objects.get().revision == 3
