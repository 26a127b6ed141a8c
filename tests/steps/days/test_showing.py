"""A day's sittings are shown together, each to its own people, and whoever is not through is reminded once a day."""

from __future__ import annotations

from pathlib import Path

import pytest

from galleries.access import Act, Visitor, frames_shown_to, may
from galleries.errors import BadInput, Conflict, Missing, Refused
from galleries.models import Day, Frame, Invite, JournalLine, Letter, Sitting, Verb
from galleries.steps import jobs
from galleries.steps.days import placing, planning, showing, sitters_list
from galleries.steps.keeping import own_rows
from galleries.steps.picking import pick
from tests.cast import Cast, make_cast
from tests.steps.days import school

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    return make_cast()


@pytest.fixture
def day(cast: Cast, tmp_path: Path) -> Day:
    day = school.make(cast)
    school.bring(cast, day, tmp_path / "card", "A.B.")
    school.put_all_sure(cast, day)
    return day


def of(day: Day, name: str) -> Sitting:
    return Sitting.objects.get(sitter__day=day, subject_given=name)


def test_those_with_frames_are_shown_each_sees_only_theirs_and_nobody_the_day(cast: Cast, day: Day) -> None:
    shown = showing.show_all(day, cast.as_owner)
    assert [one.sitting.subject_given for one in shown] == ["Ansa", "Jules"], "Mirre has no frames yet"
    people = list(Invite.objects.filter(sitting__sitter__day=day))
    assert sorted((one.sitting.subject_given, one.role) for one in people) == [
        ("Ansa", "representation"),
        ("Ansa", "subject"),
        ("Jules", "subject"),
    ]
    assert not Invite.objects.filter(sitting=day.holding).exists()
    for person in people:
        visitor = Visitor(invite=person)
        for frame in Frame.objects.filter(of_day__isnull=False):
            own = frame.sitting_id == person.sitting_id and not frame.hidden
            assert may(visitor, Act.SEE_FRAME, frame) is own
            assert frames_shown_to(visitor, frame.sitting).filter(pk=frame.pk).exists() is own
        for act in Act:
            assert not may(visitor, act, day.holding)
    letters = Letter.objects.filter(sitting__sitter__day=day)
    assert sorted(letters.values_list("kind", "to")) == [
        ("invitation", "ansa@veld.example"),
        ("invitation", "jules@marlow.example"),
        ("invitation", "ruben@achterberg.example"),
    ]
    with pytest.raises(Conflict, match="ready"):
        showing.show_all(day, cast.as_owner)


def test_nothing_is_shown_while_frames_are_on_their_way_or_a_consent_is_missing(cast: Cast, day: Day) -> None:
    frame = of(day, "Ansa").frames.filter(hidden=False).get()
    placing.place(day, cast.as_owner, {frame.pk: of(day, "Jules").pk})
    with pytest.raises(Conflict, match="on their way"):
        showing.show_all(day, cast.as_owner)
    jobs.run_waiting(day.holding, ["place"])
    Sitting.objects.filter(pk=of(day, "Jules").pk).update(subject_is_minor=True)
    lacking = {one.sitter.sitting.subject_given: one.lacks for one in showing.progress(day, cast.as_owner)}
    assert "minor" in lacking["Jules"]
    assert "no frames" in lacking["Ansa"]
    with pytest.raises(Conflict, match="ready"):
        showing.show_all(day, cast.as_owner)


def test_all_are_shown_or_none(cast: Cast, day: Day, monkeypatch: pytest.MonkeyPatch) -> None:
    real = showing.agree.publish

    def second_breaks(sitting: Sitting, *args: object, **named: object) -> None:
        if sitting.subject_given == "Jules":
            raise RuntimeError("broke")
        real(sitting, *args, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(showing.agree, "publish", second_breaks)
    with pytest.raises(RuntimeError):
        showing.show_all(day, cast.as_owner)
    assert of(day, "Ansa").stage == "planning"
    assert not Letter.objects.filter(sitting__sitter__day=day).exists()


def test_who_has_not_said_that_they_are_through_is_reminded_once_a_day(cast: Cast, day: Day) -> None:
    showing.show_all(day, cast.as_owner)
    jules = Invite.objects.get(sitting=of(day, "Jules"), role="subject")
    pick.set_mark(Visitor(invite=jules), of(day, "Jules").frames.filter(hidden=False).get().pk, kind="pick")
    pick.say_done(Visitor(invite=jules), jules.sitting)
    rows = {one.sitter.sitting.subject_given: one for one in showing.progress(day, cast.as_owner)}
    assert (rows["Jules"].marked, rows["Jules"].through, rows["Ansa"].through) == (1, True, False)
    assert [one.waits for one in showing.progress(day, cast.as_owner)] == [True, False, False]
    assert showing.remind(day, cast.as_owner) == 2
    assert not any(one.waits for one in showing.progress(day, cast.as_owner)), (
        "the page has no button that only refuses"
    )
    reminded = Letter.objects.filter(kind="reminder").values_list("to", flat=True)
    assert sorted(reminded) == ["ansa@veld.example", "ruben@achterberg.example"]
    with pytest.raises(Conflict, match="nobody to remind"):
        showing.remind(day, cast.as_owner)
    assert JournalLine.objects.filter(sitting=day.holding, verb=Verb.DAY_REMINDED).count() == 1
    jobs.run_waiting(of(day, "Ansa"), ["letter"])


@pytest.mark.parametrize("verb", [showing.show_all, showing.remind, showing.progress])
def test_others_may_not(cast: Cast, day: Day, verb: object) -> None:
    for who in (Visitor(), Visitor(user=cast.stranger), Visitor(user=cast.colleague), cast.as_subject):
        with pytest.raises((Refused, Missing)):
            verb(day, who)  # type: ignore[operator]


def test_a_colleague_let_into_the_day_sees_the_sitters_whose_sittings_they_work_on(cast: Cast, day: Day) -> None:
    day.holding.colleagues.add(cast.colleague)
    of(day, "Jules").colleagues.add(cast.colleague)
    (one,) = planning.sitters_for(Visitor(user=cast.colleague), day)
    assert one.sitting.subject_given == "Jules"


def test_more_sitters_are_added_with_the_days_settings_and_not_too_many(cast: Cast, day: Day) -> None:
    added = planning.add_sitters(day, cast.as_owner, sitters_list.read("Kim Lee; kim@lee.example\n"))
    assert (added[0].position, added[0].sitting.allowance) == (4, 3)
    many = sitters_list.read("".join(f"Sitter {n}\n" for n in range(97)))
    with pytest.raises(BadInput, match="at most"):
        planning.add_sitters(day, cast.as_owner, many)
    assert day.sitters.count() == 4
    with pytest.raises((Refused, Missing)):
        planning.add_sitters(day, Visitor(user=cast.stranger), many[:1])


def test_the_copy_of_what_is_kept_holds_their_own_row_and_no_agents_address(cast: Cast, day: Day) -> None:
    showing.show_all(day, cast.as_owner)
    ansa = Invite.objects.get(sitting=of(day, "Ansa"), role="subject")
    table = next(one for one in own_rows.TABLES if one.model.__name__ == "Sitter")
    (row,) = own_rows.rows(table, ansa.sitting, ansa, lambda _row, _name: "")
    assert row["email"] == "ansa@veld.example"
    assert not any("ruben@" in str(value) for value in row.values())
