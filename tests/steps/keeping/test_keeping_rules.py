"""How long things are kept, at each edge: days, notices, copies for the subject, removals, and whose rows must stay."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from django.contrib.sessions.models import Session
from django.db.models import QuerySet

from galleries import storage
from galleries.access import Visitor
from galleries.errors import BadInput, Conflict, DomainError, Missing, Refused
from galleries.models import (
    Erasure,
    Invite,
    Job,
    JournalLine,
    Letter,
    OwnCopy,
    SignInLink,
    Sitting,
)
from galleries.steps.keeping import (
    erase,
    inventory,
    own_archive,
    own_copy,
    own_rows,
    removal,
    retention,
    unfinished,
    upkeep,
)
from galleries.steps.people import letters, removal_letter
from tests.cast import Cast, make_cast
from tests.steps.clock import MOMENT, Clock

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)
TODAY = date(2027, 3, 10)


@pytest.fixture
def cast(clock: Clock) -> Cast:
    return make_cast(stage="delivered")


def lines(of: QuerySet[JournalLine] | None = None) -> list[tuple[str, str, str, str, str]]:
    found = JournalLine.objects.all() if of is None else of
    return list(found.order_by("pk").values_list("verb", "who", "thing", "before", "after"))


def until(cast: Cast, day: date | None) -> Sitting:
    Sitting.objects.filter(pk=cast.sitting.pk).update(keep_until=day)
    return Sitting.objects.get(pk=cast.sitting.pk)


# --- until when ---


def test_the_day_that_is_set_stands_in_the_journal_with_the_one_before(cast: Cast) -> None:
    other = make_cast("other")
    for day in (TODAY, TODAY + DAY, None):
        retention.keep_until(cast.sitting, cast.as_owner, day)
        assert cast.sitting.keep_until == day
    who, title = "Tamsin (photographer)", "Ansa Veld, spring"
    assert lines() == [
        ("kept until", who, title, "", "2027-03-10"),
        ("kept until", who, title, "2027-03-10", "2027-03-11"),
        ("kept until", who, title, "2027-03-11", ""),
    ]
    assert Sitting.objects.get(pk=other.sitting.pk).keep_until is None


@pytest.mark.parametrize(
    ("days", "due"), [(-1, "past"), (0, "soon"), (30, "soon"), (31, "later"), (None, "open"), (-400, "past")]
)
def test_when_it_is_due(cast: Cast, days: int | None, due: str) -> None:
    until(cast, None if days is None else TODAY + timedelta(days=days))
    (row,) = retention.keeping()
    assert row.due == due
    assert "ansa-veld: 0 files, 0 MB" in row.sentence
    assert ("without end" in row.sentence) == (days is None)
    assert (row.sitting.keep_until is None) or row.sitting.keep_until.isoformat() in row.sentence


def test_the_due_stand_first_each_by_its_day_and_name(cast: Cast) -> None:
    for slug, days in (("b", 1), ("a", 1), ("z", -9), ("y", -3), ("x", 99), ("c", None)):
        until(make_cast(slug), None if days is None else TODAY + timedelta(days=days))
    assert [row.sitting.slug for row in retention.keeping(TODAY)] == ["z", "y", "a", "b", "x", "ansa-veld", "c"]


def test_what_it_weighs_is_what_lies_there_under_its_own_keys(cast: Cast) -> None:
    other = make_cast("other")
    for one, weight in ((cast, 3), (other, 5)):
        key = one.frame(1).key
        storage.put(storage.private(), key, b"x" * weight)
    cast.frame(2)  # its file is missing: counted, and weighs nothing
    weighed = {row.sitting.slug: (row.files, row.bytes) for row in retention.keeping()}
    assert weighed == {"ansa-veld": (2, 3), "other": (1, 5)}


@pytest.mark.parametrize(
    ("text", "day"), [("2027-01-31", date(2027, 1, 31)), (" 2028-02-29 ", date(2028, 2, 29)), ("2027-02-29", None),
                      ("31.1.2027", None), ("", None), ("open", None), ("2027-13-01", None)]
)  # fmt: skip
def test_a_day_as_a_person_types_it(text: str, day: date | None) -> None:
    if day is None:
        with pytest.raises(BadInput, match="is no day"):
            retention.check_day(text)
    else:
        assert retention.check_day(text) == day


@pytest.mark.parametrize("stage", [one for one in Sitting.Stage.values if one != "archived"])
def test_put_away_it_goes_back_to_where_it_was(cast: Cast, stage: str) -> None:
    Sitting.objects.update(stage=stage)
    sitting, stale = (Sitting.objects.get() for _ in range(2))
    retention.put_away(sitting, cast.as_owner)
    assert (sitting.stage, sitting.put_away_from) == ("archived", stage)
    with pytest.raises(Conflict):
        retention.put_away(sitting, cast.as_owner)
    with pytest.raises(Conflict):  # as another page still shows it
        retention.put_away(stale, cast.as_owner)
    retention.bring_back(sitting, cast.as_owner)
    assert (sitting.stage, sitting.put_away_from) == (stage, "")
    assert [line[::3] for line in lines()] == [("put away", stage), ("brought back", "archived")]


# --- the notice, and the removal by the clock ---


@pytest.mark.parametrize(("days", "told"), [(15, 0), (14, 1), (1, 1), (0, 1), (-40, 1)])
def test_the_letter_is_listed_its_days_before_and_once(cast: Cast, clock: Clock, days: int, told: int) -> None:
    sitting = until(cast, TODAY + timedelta(days=days))
    assert [removal.give_notice(clock.at), removal.give_notice(clock.at)] == [told, 0]
    assert Letter.objects.count() == JournalLine.objects.count() == told
    if told:
        day = sitting.keep_until
        assert day is not None
        assert lines() == [("removal announced", "the program", sitting.title, "", day.isoformat())]
        letter = Letter.objects.get()
        assert (letter.to, letter.about) == (cast.owner.email, f"until-{day.isoformat()}")


def test_a_day_set_anew_takes_the_place_of_a_letter_not_sent_and_of_no_other(cast: Cast, clock: Clock) -> None:
    until(cast, TODAY)
    removal.give_notice(clock.at)
    mine = letters.notify(cast.sitting, "own", [cast.subject])
    other = make_cast("other")
    until(other, TODAY)
    removal.give_notice(clock.at)
    until(cast, TODAY + DAY)
    removal.give_notice(clock.at)
    about = Letter.objects.filter(sitting=cast.sitting).order_by("pk").values_list("kind", "about")
    assert list(about) == [("own", ""), ("removal", "until-2027-03-11")]
    assert Letter.objects.filter(sitting=other.sitting, about="until-2027-03-10").count() == 1
    assert Letter.objects.filter(pk=mine[0].pk).exists()
    Letter.objects.update(sent_at=clock.at)
    until(cast, TODAY + 2 * DAY)
    removal.give_notice(clock.at)
    assert Letter.objects.filter(sitting=cast.sitting, kind="removal").count() == 2  # what went stays on record


def told_at(cast: Cast, day: date, at: datetime) -> Sitting:
    """A sitting about whose day the letter went then."""
    sitting = until(cast, day)
    letters.notify_photographer(sitting, removal_letter.KIND, about=removal_letter.about(day))
    Letter.objects.update(sent_at=at)
    return sitting


def test_it_goes_when_its_day_is_over_and_the_notice_too(cast: Cast, clock: Clock) -> None:
    went = clock.at - 14 * DAY
    sitting = told_at(cast, TODAY, went)
    assert not removal._may_go(sitting, clock.at)  # the last day on which it is kept
    assert removal._may_go(sitting, clock.at.replace(hour=0) + DAY)
    late = told_at(cast, TODAY - 30 * DAY, went)
    assert removal._may_go(late, clock.at)
    assert not removal._may_go(late, clock.at - MOMENT)  # the notice's last moment
    assert not removal._may_go(until(cast, TODAY - 31 * DAY), clock.at)  # nobody was told of that day
    assert not removal._may_go(until(cast, None), clock.at)


@pytest.mark.parametrize("state", OwnCopy.State.values)
def test_it_waits_for_a_copy_that_may_still_be_fetched_or_is_being_made(cast: Cast, clock: Clock, state: str) -> None:
    told_at(cast, TODAY - 30 * DAY, clock.at - 14 * DAY)
    other = make_cast("other")
    other.sitting.own_copies.create(invite=other.subject, state="ready")  # another sitting's holds nothing up
    cast.sitting.own_copies.create(invite=cast.subject, state=state)
    gone = removal.remove_due(clock.at)
    assert len(gone) == (0 if state in {"waiting", "made", "ready"} else 1)
    assert Sitting.objects.filter(pk=other.sitting.pk).exists()


# --- removed: what goes, what stays ---


def test_of_one_that_is_removed_a_number_stays_and_of_others_everything(cast: Cast) -> None:
    other = make_cast("other")
    for one in (cast, other):
        storage.put(storage.private(), one.frame(1, one.look()).key, b"frame")
        storage.put(storage.proofs(), storage.derived_key(one.sitting.uid, "proof", "a" * 64), b"proof")
        JournalLine.write(one.sitting, "w", retention.Verb.KEPT_UNTIL, one.sitting.title)
    uid, number = cast.sitting.uid, cast.sitting.pk
    done = erase.erase(cast.sitting, cast.as_owner, "  asked \n for  ")
    assert (done.uid, done.frames, done.files, done.left) == (uid.hex, 1, 2, ())
    record = Erasure.objects.get()
    assert (record.uid, record.number, record.who, record.why) == (uid, number, "Tamsin (photographer)", "asked for")
    assert (record.frames, record.files, record.done_at is not None) == (1, 2, True)
    begun, gone = JournalLine.objects.filter(sitting_slug=uid.hex).order_by("pk")
    assert begun.detail == {"frames": 1, "number": number, "why": "asked for"}
    assert gone.detail == {"frames": 1, "files": 2}
    there = Sitting.objects.get()
    assert (there.frames.count(), there.journal.count(), there.invites.count()) == (1, 1, 3)
    assert len(erase.scan(there.uid)) == 2
    assert inventory.compare(there).missing == []


@pytest.mark.parametrize(("why", "kept"), [("w" * 201, 200), ("w", 1)])
def test_a_reason_is_kept_as_long_as_it_may_be(cast: Cast, why: str, kept: int) -> None:
    erase.erase(cast.sitting, cast.as_owner, why)
    assert len(Erasure.objects.get().why) == kept


def test_by_the_clock_the_day_stands_in_the_record_and_no_reason(cast: Cast) -> None:
    sitting = until(cast, TODAY)
    assert erase.erase_by_the_clock(sitting) is not None
    begun = JournalLine.objects.order_by("pk")[0]
    assert (begun.who, begun.detail["until"]) == ("the program", "2027-03-10")
    assert "why" not in begun.detail
    assert Erasure.objects.get().why == ""


@pytest.mark.parametrize("day", [None, TODAY + DAY])
def test_a_day_set_meanwhile_or_none_removes_nothing_by_the_clock(cast: Cast, day: date | None) -> None:
    stale = until(cast, None if day is None else TODAY)
    until(cast, day)
    assert erase.erase_by_the_clock(stale) is None
    assert Sitting.objects.exists()
    assert not Erasure.objects.exists()
    assert storage.put(storage.private(), storage.derived_key(stale.uid, "view", "a" * 64), b"still open")


def test_a_removal_that_breaks_in_the_middle_has_not_begun(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    cast.frame(1)
    monkeypatch.setattr(erase, "_note", lambda *_a, **_k: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        erase.erase(cast.sitting, cast.as_owner, "why")
    assert Sitting.objects.get().frames.count() == 1
    assert not Erasure.objects.exists()


@pytest.mark.parametrize(("ago", "left"), [(DAY - MOMENT, 0), (DAY, 1)])
def test_what_is_just_coming_back_is_no_left_over_for_a_day(
    cast: Cast, clock: Clock, ago: timedelta, left: int
) -> None:
    uid = cast.sitting.uid
    erase.erase(cast.sitting, cast.as_owner, "why")
    Erasure.objects.update(restore_begun_at=clock.at - ago, done_at=None)
    assert len(erase.unfinished()) == left
    assert len(erase.finish_erasures()) == left
    assert [one.uid for one in Erasure.objects.filter(done_at=None)] == [uid] * (1 - left)


def test_files_found_later_are_counted_to_those_before(cast: Cast) -> None:
    storage.put(storage.private(), cast.frame(1).key, b"frame")
    uid = cast.sitting.uid
    erase.erase(cast.sitting, cast.as_owner, "why")
    storage.open_again(uid)
    storage.put(storage.proofs(), storage.derived_key(uid, "proof", "a" * 64), b"late")
    (done,) = erase.finish_erasures()
    assert (done.files, Erasure.objects.get().files) == (1, 2)


@pytest.mark.parametrize(("mail", "gone"), [("folder", True), ("smtp", False), ("console", False)])
def test_letters_that_lie_in_a_folder_go_with_it(
    cast: Cast, settings: Any, tmp_path: Path, mail: str, gone: bool
) -> None:
    settings.MAIL, settings.EMAIL_FILE_PATH = mail, str(tmp_path)
    mine, near = tmp_path / "1.log", tmp_path / "2.log"
    mine.write_text(f"Subject: x\nTo: {cast.subject.email}\n\nDear Ansa\n")
    near.write_text(f"Subject: To: {cast.subject.email}\nTo: {cast.subject.email}.other\n\nx\n")
    (tmp_path / "folder").mkdir()
    erase.erase(cast.sitting, cast.as_owner, "why")
    assert mine.exists() is not gone
    assert near.exists()


# --- store against tables ---


@pytest.mark.parametrize(
    ("key", "cache"),
    [
        ("sittings/u/view3000/aa/x.jpg", True), ("sittings/u/loupe/aa/x.jpg", True), ("sittings/u/marked-v2/x", True),
        ("sittings/u/pairs", True), ("sittings/u/preview600-v11/aa/x.jpg", True), ("sittings/u/views/aa/x.jpg", False),
        ("sittings/u/proof/aa/x.jpg", False), ("sittings/view", False), ("sittings/u/view-v/x.jpg", False),
    ],
)  # fmt: skip
def test_which_files_are_only_kept_for_speed(key: str, cache: bool) -> None:
    assert inventory.is_cache(key) is cache


@pytest.mark.parametrize(
    ("name", "found"),
    [(f"originals/aa/{'a' * 64}.jpg", True), (f"versions/{'a' * 64}.tif", True), (f"view/aa/{'a' * 64}.jpg", False),
     (f"originals/{'a' * 63}.jpg", False), (f"originals/{'A' * 64}.jpg", False), (f"originals/{'a' * 64}", False),
     (f"x{'a' * 64}.jpg", False)],
)  # fmt: skip
def test_a_key_names_its_content_or_does_not(name: str, found: bool) -> None:
    assert inventory.digest_in(f"sittings/u/{name}") == ("a" * 64 if found else "")


def test_only_what_belongs_to_no_sitting_is_an_orphan_among_caches(cast: Cast) -> None:
    for uid in (cast.sitting.uid, UUID(int=7)):
        storage.put(storage.proofs(), storage.derived_key(uid, "marked", "a" * 64), b"made again")
    found = inventory.compare()
    assert (found.caches, found.checked, found.bytes) == (2, 0, 0)
    assert [one.split(":")[0] for one in found.orphans] == ["proofs"]
    assert UUID(int=7).hex in found.orphans[0]
    assert inventory.compare(cast.sitting).good


def test_a_profile_that_a_waiting_delivery_needs_is_no_orphan(cast: Cast) -> None:
    key = storage.derived_key(cast.sitting.uid, "profile", "b" * 64, "icc")
    licence = cast.sitting.licences.create(number=1, terms={}, text="")
    cast.sitting.deliveries.create(number=1, licence=licence, sizes={}, orders=[{"icc": key}, {"icc": ""}])
    assert inventory.expected(cast.sitting) == {("private", key): "b" * 64}
    assert inventory.expected_of([make_cast("other").sitting]).popitem()[1] == {}


# --- a copy for the subject ---


def asked(cast: Cast, state: str = "waiting", **fields: Any) -> OwnCopy:
    return OwnCopy.objects.create(sitting=cast.sitting, invite=cast.subject, state=state, **fields)


@pytest.mark.parametrize("days", [1, 365])
def test_a_copy_is_asked_for_the_subject_for_its_days(cast: Cast, days: int) -> None:
    copy = own_copy.ask(cast.sitting, cast.as_owner, cast.subject, days=days, with_originals=days == 1)
    assert (copy.state, copy.invite, copy.days, copy.with_originals) == ("waiting", cast.subject, days, days == 1)
    job = Job.objects.get()
    assert (job.kind, job.thing, job.sitting) == ("own copy", copy.pk, cast.sitting)
    line = JournalLine.objects.get()
    assert (line.verb, line.thing, line.detail) == ("own copy asked for", "Ansa Veld", {"originals": days == 1})
    with pytest.raises(Conflict, match="already"):
        own_copy.ask(cast.sitting, cast.as_owner, cast.subject)
    assert OwnCopy.objects.count() == Job.objects.count() == JournalLine.objects.count() == 1
    OwnCopy.objects.update(state="failed")  # one that is no longer in the making is in nobody's way
    assert own_copy.ask(cast.sitting, cast.as_owner, cast.subject).pk != copy.pk


@pytest.mark.parametrize(
    ("who", "days", "said"),
    [("representation", 30, "for the subject"), ("recipient", 30, "for the subject"), ("other", 30, "for the subject"),
     ("ended", 30, "revoked or expired"), ("subject", 0, "1 to 365"), ("subject", 366, "1 to 365"),
     ("subject", -1, "1 to 365")],
)  # fmt: skip
def test_for_nobody_else_and_no_longer(cast: Cast, clock: Clock, who: str, days: int, said: str) -> None:
    if who == "other":
        person = make_cast("other").subject
    elif who == "ended":
        Invite.objects.filter(pk=cast.subject.pk).update(expires_at=clock.at)
        person = Invite.objects.get(pk=cast.subject.pk)
    else:
        person = getattr(cast, who)
    with pytest.raises(BadInput, match=said):
        own_copy.ask(cast.sitting, cast.as_owner, person, days=days)
    assert not OwnCopy.objects.exists()
    assert not Job.objects.exists()


@pytest.mark.parametrize("state", OwnCopy.State.values)
def test_what_may_be_done_with_a_copy_in_each_state(cast: Cast, clock: Clock, state: str) -> None:
    def copy() -> OwnCopy:
        OwnCopy.objects.all().delete()
        return asked(cast, state, archive_key="" if state in {"waiting", "failed", "ended"} else "k", days=3)

    def comes(verb: Callable[[OwnCopy], object], to: str | None) -> None:
        one = copy()
        if to is None:
            with pytest.raises(DomainError):
                verb(one)
        else:
            verb(one)
        assert OwnCopy.objects.get().state == (to or state)

    comes(lambda one: own_copy.let_go(one, cast.as_owner), "ready" if state == "made" else None)
    withdrawn = "withdrawn" if state in {"waiting", "made", "ready", "failed"} else None
    comes(lambda one: own_copy.withdraw(one, cast.as_owner), withdrawn)
    comes(lambda one: own_copy.check_fetch(one, cast.as_subject), state if state == "ready" else None)
    to_look_at = state if state in {"made", "ready", "withdrawn"} else None  # those that have a file
    comes(lambda one: own_copy.check_fetch(one, cast.as_owner), to_look_at)
    comes(lambda one: own_copy.given_up(Job(thing=one.pk, reason="")), "failed" if state == "waiting" else state)
    comes(lambda one: own_copy.build(one.pk), "made" if state in {"waiting", "failed"} else state)


def test_a_copy_that_is_let_go_is_there_for_its_days_to_the_moment(cast: Cast, clock: Clock) -> None:
    copy = asked(cast, "made", days=3, archive_key="k")
    own_copy.let_go(copy, cast.as_owner)
    assert (copy.ready_at, copy.expires_at) == (clock.at, clock.at + 3 * DAY)
    assert list(Letter.objects.values_list("kind", "to", "about")) == [("own", cast.subject.email, f"copy-{copy.pk}")]
    clock.passes(3 * DAY - MOMENT)
    own_copy.check_fetch(copy, cast.as_subject)
    assert own_copy.end_lapsed() == 0
    clock.passes(MOMENT)
    with pytest.raises(Refused, match="until 13 March 2027"):
        own_copy.check_fetch(copy, cast.as_subject)
    own_copy.check_fetch(copy, cast.as_owner)
    assert [own_copy.end_lapsed(), own_copy.end_lapsed()] == [1, 0]
    copy.refresh_from_db()
    assert (copy.state, copy.archive_key) == ("ended", "")


def test_nothing_is_let_go_to_who_is_shut_out(cast: Cast, clock: Clock) -> None:
    copy = asked(cast, "made")
    Invite.objects.filter(pk=cast.subject.pk).update(revoked_at=clock.at)
    copy = OwnCopy.objects.get(pk=copy.pk)
    with pytest.raises(Conflict, match="revoked or expired"):
        own_copy.let_go(copy, cast.as_owner)
    assert OwnCopy.objects.get().state == "made"
    assert not Letter.objects.exists()


def test_each_fetch_stands_in_the_journal_and_a_later_piece_is_none(cast: Cast, clock: Clock) -> None:
    copy, other = asked(cast, "ready", archive_name="a.zip"), asked(cast, "ready")
    first = clock.at
    for _time in range(2):
        own_copy.fetched(copy, cast.as_subject)
        clock.passes(DAY)
    copy.refresh_from_db()
    other.refresh_from_db()
    own_copy.fetched(copy, cast.as_subject, ranged=True)
    copy.refresh_from_db()
    assert (copy.first_fetched_at, copy.last_fetched_at) == (first, first + 2 * DAY)
    assert other.first_fetched_at is None
    assert lines() == 2 * [("own copy fetched", "Ansa Veld (subject)", "a.zip", "", "")]


def test_files_that_no_copy_names_go_but_not_while_one_is_made(cast: Cast) -> None:
    store, other = storage.private(), make_cast("other")
    keys = [storage.derived_key(one.sitting.uid, own_archive.KIND, "a" * 64, "zip") for one in (cast, other)]
    named = storage.derived_key(cast.sitting.uid, own_archive.KIND, "b" * 64, "zip")
    for key in (*keys, named):
        storage.put(store, key, b"zip")
    asked(cast, "ready", archive_key=named)
    waiting = asked(cast)
    assert own_archive.remove_files(cast.sitting) == 0
    waiting.delete()
    assert own_archive.remove_files(cast.sitting) == 1
    assert [store.exists(key) for key in (*keys, named)] == [False, True, True]


# --- work asked for again, and the rounds of the upkeep ---


def job(sitting: Sitting, number: int, **fields: Any) -> Job:
    return sitting.jobs.create(**{"kind": "proof", "thing": number, "state": "failed", **fields})


def test_what_failed_and_what_is_held_back_goes_on_and_nothing_else(cast: Cast, clock: Clock) -> None:
    failed, held = job(cast.sitting, 1, attempts=4), job(cast.sitting, 2, state="waiting", not_before=clock.at + DAY)
    others = [job(cast.sitting, 3, state="done"), job(cast.sitting, 4, state="running", owner="x"),
              job(cast.sitting, 5, state="waiting"), job(make_cast("other").sitting, 6)]  # fmt: skip
    before = list(Job.objects.filter(pk__in=[one.pk for one in others]).order_by("pk").values())
    assert unfinished.try_again(cast.sitting, cast.as_owner, others[3].pk) == 0
    assert not JournalLine.objects.exists()
    assert unfinished.try_again(cast.sitting, cast.as_owner) == 2
    for one in (failed, held):
        one.refresh_from_db()
        assert (one.state, one.attempts, one.not_before) == ("waiting", 0, None)
    assert list(Job.objects.filter(pk__in=[one.pk for one in others]).order_by("pk").values()) == before
    line = JournalLine.objects.get()
    assert (line.verb, line.thing, line.detail) == ("work asked for again", "2", {"kinds": ["proof"]})
    assert unfinished.try_again(cast.sitting, cast.as_owner) == 0


def test_a_delivery_that_was_given_up_is_asked_for_again_as_a_delivery(cast: Cast) -> None:
    licence = cast.sitting.licences.create(number=1, terms={}, text="")
    states = ("failed", "ready")
    failed, ready = (
        cast.sitting.deliveries.create(number=n, licence=licence, sizes={}, state=state, problem="x")
        for n, state in enumerate(states, 1)
    )
    for one in (failed, ready):
        job(cast.sitting, one.pk, kind="delivery")
    assert unfinished.try_again(cast.sitting, cast.as_owner) == 2
    failed.refresh_from_db()
    ready.refresh_from_db()
    assert [(one.state, one.problem) for one in (failed, ready)] == [("waiting", ""), ("ready", "x")]
    assert set(Job.objects.values_list("state", flat=True)) == {"waiting"}
    assert [line[0] for line in lines()] == ["delivery tried again", "work asked for again"]


def test_work_is_asked_for_again_by_who_runs_the_sitting(cast: Cast) -> None:
    job(cast.sitting, 1)
    for by, error in ((cast.as_subject, Refused), (make_cast("other").as_owner, Missing), (Visitor(), Missing)):
        with pytest.raises(error):
            unfinished.try_again(cast.sitting, by)
    assert Job.objects.get().state == "failed"


def test_sign_in_links_go_a_day_after_they_ended_and_sessions_when_they_end(clock: Clock) -> None:
    for number, ended in enumerate((DAY, DAY + MOMENT, -DAY)):
        SignInLink.objects.create(email=f"{number}@x.example", token_hash=f"{number}", expires_at=clock.at - ended)
    for key, ends in (("gone", clock.at - MOMENT), ("there", clock.at + DAY)):
        Session.objects.create(session_key=key, session_data="", expire_date=ends)
    upkeep.sweep_sessions()
    assert list(SignInLink.objects.order_by("pk").values_list("email", flat=True)) == ["0@x.example", "2@x.example"]
    assert list(Session.objects.values_list("session_key", flat=True)) == ["there"]


def test_own_rows_are_shortened_to_names_and_plain_values(cast: Cast) -> None:
    assert own_rows._person(cast.representation) == "Ruben Achterberg (representation)"
    assert own_rows._person(cast.owner) == "Tamsin (photographer)"
    assert own_rows._person(cast.stranger) == "stranger-ansa-veld (photographer)"
    assert [own_rows._person(one) for one in (None, "", "Ansa")] == ["", "", "Ansa"]
    values = (date(2027, 1, 2), datetime(2027, 1, 2, 3, tzinfo=UTC), UUID(int=1), 1.5, None)
    assert [own_rows._plain(one) for one in values] == [
        "2027-01-02", "2027-01-02T03:00:00+00:00", f"{1:032x}", 1.5, None,
    ]  # fmt: skip
