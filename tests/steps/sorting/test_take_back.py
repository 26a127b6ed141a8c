"""Acts taken back: what each kept of before it, and what taking back must not do."""

from __future__ import annotations

import json

import pytest

from galleries.access import Visitor
from galleries.errors import Conflict
from galleries.models import Frame, JournalLine, Look, PlanComment, Undoable, Verb
from galleries.steps.picking import kept
from galleries.steps.planning import sitting_plan
from galleries.steps.sorting import before, looks, take_back
from galleries.steps.sorting.before import Before, GoneLook, Place
from tests.cast import Cast, make_cast


@pytest.fixture
def cast(db: None) -> Cast:
    return make_cast()


def plan_as_read_by(cast: Cast, invite: object) -> str:
    return str(cast.client_of(invite).get(f"/s/{cast.sitting.slug}/plan").content.decode())


@pytest.mark.parametrize(
    "was",
    [
        Before(),
        Before(hidden={7: False, 8: True}),
        Before(suggested={7: False}),
        Before(places=(Place(7, 3, True), Place(8, None, False)), begun=5, into=5, into_title="Coat"),
        Before(gone=GoneLook({"id": 3, "title": "Linen", "gel_mired": -30}, (1,), (2, 4)), into=5, into_title="Coat"),
    ],
)
def test_what_was_before_is_read_as_it_was_written(was: Before) -> None:
    plain = json.loads(json.dumps(was.to_json()))
    assert before.of(Undoable(version=was.version, before=plain)) == was


def test_an_act_from_before_there_were_suggestions_is_read(db: None) -> None:
    plain = Before(hidden={7: False}).to_json()
    del plain["suggested"]
    assert before.of(Undoable(version=before.VERSION, before=plain)) == Before(hidden={7: False})


def test_what_another_version_kept_is_not_guessed_at() -> None:
    with pytest.raises(ValueError, match="version 9"):
        before.of(Undoable(version=9, before=Before().to_json()))


def test_a_column_that_looks_no_longer_have_is_left_out() -> None:
    plain = Before(gone=GoneLook({"id": 3, "title": "Linen", "lens": "85 mm"})).to_json()
    gone = before.of(Undoable(version=before.VERSION, before=plain)).gone
    assert gone is not None
    assert dict(gone.columns) == {"id": 3, "title": "Linen"}


def test_an_act_of_a_newer_program_is_not_taken_back_and_no_older_one_under_it(cast: Cast) -> None:
    frame = cast.frame(1)
    looks.set_hidden(cast.sitting, [frame.pk], True, cast.as_owner)
    Undoable.objects.create(
        sitting=cast.sitting, verb=Verb.FRAMES_MOVED, version=before.WITH_SUGGESTIONS + 1, before={}, who=""
    )
    assert take_back.last_undoable(cast.sitting) is None
    with pytest.raises(Conflict):
        take_back.undo(cast.sitting, cast.as_owner)
    assert Frame.objects.get(pk=frame.pk).hidden


def test_who_did_it_and_who_took_it_back_stand_beside_it_and_the_journal_holds_no_state(cast: Cast) -> None:
    frame, colleague = cast.frame(1), Visitor(user=cast.colleague)
    cast.sitting.colleagues.add(cast.colleague)
    looks.set_hidden(cast.sitting, [frame.pk], True, cast.as_owner)
    take_back.undo(cast.sitting, colleague)
    act = Undoable.objects.get()
    assert (act.who, act.undone_by) == (cast.as_owner.who, colleague.who)
    assert act.undone_at is not None
    hidden, undone = JournalLine.objects.order_by("-pk")[:2][::-1]
    assert hidden.detail == {"frames": [frame.pk]}
    assert (undone.verb, undone.thing, undone.detail) == ("undone", "frames hidden", {"act": act.pk})


def test_what_was_said_of_a_merged_look_goes_back_to_it(cast: Cast) -> None:
    linen, coat = cast.look("Linen"), cast.look("Coat")
    cast.frame(1, linen)
    sitting_plan.comment(cast.as_subject, cast.sitting, "of the coat", look=coat)
    sitting_plan.comment(cast.as_subject, cast.sitting, "of the linen", look=linen)
    reference = linen.references.create(sitting=cast.sitting, key="k", brought_by="Ansa")
    looks.merge(linen, coat, cast.as_owner)
    take_back.undo(cast.sitting, cast.as_owner)
    back = Look.objects.get(title="Linen")
    assert {one.text: one.look for one in PlanComment.objects.all()} == {"of the coat": coat, "of the linen": back}
    assert back.references.get() == reference


def test_it_stays_where_it_is_when_the_subject_has_kept_that_look_back_since(cast: Cast) -> None:
    linen, coat = cast.look("Linen"), cast.look("Coat")
    cast.frame(1, linen)
    sitting_plan.comment(cast.as_subject, cast.sitting, "only for us", look=linen)
    looks.merge(linen, coat, cast.as_owner)
    coat.refresh_from_db()
    cast.sitting.subject_chooses_looks = True
    cast.sitting.save(update_fields=["subject_chooses_looks"])
    kept.keep_look(cast.as_subject, coat)
    take_back.undo(cast.sitting, cast.as_owner)
    assert PlanComment.objects.get().look == coat
    assert "only for us" not in plan_as_read_by(cast, cast.representation)


def test_taking_back_a_split_tells_nobody_what_was_said_of_the_half(cast: Cast) -> None:
    look = cast.look("One", kept_from_representation=True)
    frames = [cast.frame(number, look) for number in (1, 2)]
    half = looks.split(frames[1], "Half", cast.as_owner)
    sitting_plan.comment(cast.as_subject, cast.sitting, "only for us", look=half)
    take_back.undo(cast.sitting, cast.as_owner)
    assert not Look.objects.filter(title="Half").exists()
    assert PlanComment.objects.get().look == look
    assert "only for us" not in plan_as_read_by(cast, cast.representation)


def test_the_half_stays_when_what_was_said_of_it_has_nowhere_to_go(cast: Cast) -> None:
    look = cast.look("One", kept_from_representation=True)
    frames = [cast.frame(number, look) for number in (1, 2)]
    half = looks.split(frames[1], "Half", cast.as_owner)
    sitting_plan.comment(cast.as_subject, cast.sitting, "only for us", look=half)
    looks.edit_look(look, cast.as_owner, kept_from_representation=False)
    take_back.undo(cast.sitting, cast.as_owner)
    assert half.frames.count() == 0
    assert PlanComment.objects.get().look == half
