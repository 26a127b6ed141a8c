"""Frames of a day go into the sittings of its sitters: rows and files together, whoever is stopped in between."""

from __future__ import annotations

from pathlib import Path

import pytest

from galleries import storage
from galleries.access import Act, Visitor, may
from galleries.errors import BadInput, Conflict, Missing, Refused
from galleries.models import Day, DayFrame, Frame, Invite, Job, JournalLine, Sitting, Verb
from galleries.steps import jobs
from galleries.steps.agreeing import agree
from galleries.steps.days import arranging, placing, planning
from galleries.steps.ingesting import ingest
from galleries.steps.keeping import erase, inventory
from galleries.steps.people import invite as invites
from tests.cast import Cast, make_cast
from tests.steps.days import school

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    return make_cast()


@pytest.fixture
def day(cast: Cast) -> Day:
    return school.make(cast)


def sitting(day: Day, place: int) -> Sitting:
    return Sitting.objects.get(sitter__day=day, sitter__position=place)


def unhidden(day: Day) -> list[int]:
    return [sitting(day, place).frames.filter(hidden=False).count() for place in (1, 2, 3)]


def test_a_card_is_put_into_its_sittings_and_the_slates_stay_off_the_sheets(
    cast: Cast, day: Day, tmp_path: Path
) -> None:
    school.bring(cast, day, tmp_path / "card", "A..B.C..")
    assert not Job.objects.filter(kind="proof").exists(), "nobody is invited to where they lie: no stamped proofs"
    school.put_all_sure(cast, day)
    assert unhidden(day) == [2, 1, 2]
    assert [sitting(day, place).frames.filter(hidden=True).count() for place in (1, 2, 3)] == [1, 1, 1]
    assert day.holding.frames.count() == 0
    jobs.run_waiting()
    for one in [day.holding, *(sitting(day, place) for place in (1, 2, 3))]:
        compared = inventory.compare(one)
        assert compared.good, compared.as_dict()
        assert all(frame.key.startswith(storage.home(one.uid)) for frame in one.frames.all())
        assert all(frame.proofs.exists() for frame in one.frames.all())
    assert list(inventory.listing("private").keys(storage.home(day.holding.uid))) == []


def test_a_card_brought_again_is_known_wherever_its_frames_lie(cast: Cast, day: Day, tmp_path: Path) -> None:
    school.bring(cast, day, tmp_path / "card", "A.B.")
    school.put_all_sure(cast, day)
    again = [outcome.state for outcome in ingest.add_folder(day.holding, tmp_path / "card", cast.as_owner)]
    assert again == ["same"] * 4
    digests = list(Frame.objects.values_list("sha256", flat=True))
    assert ingest.known(day.holding, digests) == set(digests)
    assert ingest.known(cast.sitting, digests) == set(), "another sitting knows nothing of them"


def test_one_frame_is_moved_to_another_sitter_and_back(cast: Cast, day: Day, tmp_path: Path) -> None:
    school.bring(cast, day, tmp_path / "card", "A..B.")
    school.put_all_sure(cast, day)
    jobs.run_waiting()
    frame = sitting(day, 1).frames.filter(hidden=False).first()
    assert frame is not None
    old = [frame.key, *frame.proofs.values_list("large_key", flat=True)]
    placing.place(day, cast.as_owner, {frame.pk: sitting(day, 2).pk})
    jobs.run_waiting()
    assert unhidden(day) == [1, 2, 0]
    assert not any(storage.private().exists(key) or storage.proofs().exists(key) for key in old)
    assert inventory.compare(sitting(day, 2)).good
    assert placing.take_back(day, cast.as_owner) == 1
    jobs.run_waiting()
    assert unhidden(day) == [2, 1, 0]
    placing.take_back(day, cast.as_owner)
    jobs.run_waiting()
    assert (unhidden(day), day.holding.frames.count()) == ([0, 0, 0], 5)
    assert inventory.compare(day.holding).good
    with pytest.raises(Conflict, match="nothing to take back"):
        placing.take_back(day, cast.as_owner)


def test_stopped_at_any_moment_the_work_goes_on_where_it_was(
    cast: Cast, day: Day, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    school.bring(cast, day, tmp_path / "card", "A.")
    for part in ("_turn_over", "_clear"):
        with monkeypatch.context() as patch:
            patch.setattr(placing, part, _stopped)
            frame = day.holding.frames.order_by("pk").last() or sitting(day, 1).frames.order_by("pk").last()
            assert frame is not None
            DayFrame.objects.filter(frame=frame).update(target=sitting(day, 1))
            with pytest.raises(RuntimeError):
                placing.move(frame.pk)
        row = Frame.objects.get(pk=frame.pk)
        assert storage.private().exists(row.key)
        assert row.key.startswith(storage.home(row.sitting.uid))
    placing.move(frame.pk)
    assert DayFrame.objects.get(frame=frame).left == []
    jobs.run_waiting()
    assert inventory.compare(day.holding).good
    assert inventory.compare(sitting(day, 1)).good


def _stopped(*_anything: object, **_named: object) -> None:
    raise RuntimeError("stopped")


def test_what_was_shown_stays(cast: Cast, day: Day, tmp_path: Path) -> None:
    school.bring(cast, day, tmp_path / "card", "A.B.")
    school.put_all_sure(cast, day)
    frame = sitting(day, 1).frames.filter(hidden=False).get()
    Sitting.objects.filter(pk=sitting(day, 1).pk).update(stage="proofing")
    with pytest.raises(Conflict, match="shown to the people"):
        placing.place(day, cast.as_owner, {frame.pk: sitting(day, 2).pk})
    DayFrame.objects.filter(frame=frame).update(target=sitting(day, 2))  # shown between the press and the work
    with pytest.raises(Conflict):
        placing.move(frame.pk)
    assert Frame.objects.get(pk=frame.pk).sitting == sitting(day, 1)


def test_only_frames_and_sittings_of_the_day_and_only_by_who_runs_both(cast: Cast, day: Day, tmp_path: Path) -> None:
    school.bring(cast, day, tmp_path / "card", "A.")
    frame, elsewhere = day.holding.frames.order_by("pk").last(), cast.frame(1)
    assert frame is not None
    first = sitting(day, 1)
    for places in ({elsewhere.pk: first.pk}, {frame.pk: cast.sitting.pk}, {10**9: first.pk}):
        with pytest.raises(BadInput):
            placing.place(day, cast.as_owner, places)
    for stranger in (Visitor(), Visitor(user=cast.stranger), Visitor(user=cast.colleague), cast.as_subject):
        with pytest.raises((Refused, Missing)):
            placing.place(day, stranger, {frame.pk: first.pk})
        with pytest.raises((Refused, Missing)):
            placing.take_back(day, stranger)
    day.holding.colleagues.add(cast.colleague)
    with pytest.raises((Refused, Missing)):  # let into the day's frames, not into that sitting
        placing.place(day, Visitor(user=cast.colleague), {frame.pk: first.pk})
    assert placing.counts(day)[day.holding_id] == 2


def test_nobody_is_ever_invited_to_the_frames_of_a_day(cast: Cast, day: Day) -> None:
    with pytest.raises(Refused, match="whole day"):
        invites.invite(day.holding, "subject", "Ansa Veld", "ansa@veld.example", cast.as_owner)
    theirs = Invite.objects.create(
        sitting=day.holding, role="subject", name="X", email="x@y.example", expires_at=cast.subject.expires_at
    )
    for act in Act:
        assert not may(Visitor(invite=theirs), act, day.holding), act
    cast.frame(5)
    Frame.objects.update(sitting=day.holding)
    with pytest.raises(Conflict, match="not here"):
        agree.publish(day.holding, cast.as_owner)


def test_removing_a_sitter_for_good_takes_their_slate_along(cast: Cast, day: Day, tmp_path: Path) -> None:
    school.bring(cast, day, tmp_path / "card", "A.B.")
    school.put_all_sure(cast, day)
    one = sitting(day, 1)
    removed = erase.erase(one, cast.as_owner, "asked for")
    assert removed.left == ()
    assert day.sitters.count() == 2
    assert placing.take_back(day, cast.as_owner) == 2, "the others' frames go back all the same"


def test_each_act_has_its_line_and_names_nobody(cast: Cast, day: Day, tmp_path: Path) -> None:
    school.bring(cast, day, tmp_path / "card", "A.")
    school.put_all_sure(cast, day)
    lines = JournalLine.objects.filter(sitting=day.holding)
    verbs = list(lines.values_list("verb", flat=True))
    assert verbs.count(Verb.FRAMES_PLACED) == 1
    assert verbs.count(Verb.FRAME_LEFT) == 2
    assert not any("Ansa" in f"{line.thing}{line.detail}" for line in lines)


def test_unsorted_strips_wait_with_their_reason(cast: Cast, day: Day, tmp_path: Path) -> None:
    school.bring(cast, day, tmp_path / "one", ".A..")
    school.bring(cast, day, tmp_path / "two", "..", camera="Two", first=3)
    school.put_all_sure(cast, day)
    arranged = arranging.arrangement(day, cast.as_owner, planning.sitters_for(cast.as_owner, day))
    assert [(str(strip.doubt), len(strip.frames)) for strip in arranged.unsorted] == [
        ("no_slate", 1),
        ("other_camera", 2),
    ]
    assert placing.unsorted(day) == 3
