"""The rules inside each act on looks: what goes along, what stays, what no other look or sitting feels."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from galleries.access import Visitor
from galleries.errors import BadInput, Conflict, Missing, Refused
from galleries.models import Frame, JournalLine, Look, PlanComment, ReferencePicture, Sitting
from galleries.steps.sorting import before, looks, take_back
from galleries.steps.sorting.before import Before, GoneLook, Place
from tests.cast import Cast, make_cast

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)
MINUTE = timedelta(minutes=1)


@pytest.fixture
def cast(db: None) -> Cast:
    return make_cast(stage="planning")


def shot(cast: Cast, number: int, minutes: float, look: Look | None = None, camera: str = "Kelvar K2") -> Frame:
    return cast.frame(number, look, captured_at=NOON + minutes * MINUTE, camera=camera)


def rows(sitting: Sitting) -> dict[str, list[dict[str, Any]]]:
    return {
        "looks": list(sitting.looks.order_by("pk").values()),
        "frames": list(sitting.frames.order_by("pk").values()),
    }


def lines(cast: Cast) -> list[tuple[str, str]]:
    return list(JournalLine.objects.filter(sitting=cast.sitting).order_by("pk").values_list("verb", "thing"))


# A frame that comes in


@pytest.mark.parametrize(
    ("minutes", "near"),
    [(-4, True), (-4.001, False), (4, True), (4.001, False), (0, True), (-60, False)],
)
def test_a_frame_joins_its_neighbour_within_four_minutes(cast: Cast, minutes: float, near: bool) -> None:
    look = cast.look("Linen", proposed_reason="a pause")
    shot(cast, 1, minutes, look)
    frame = shot(cast, 2, 0)
    looks.place_at_once(frame)
    frame.refresh_from_db()
    assert (frame.look == look) is near
    assert frame.look is not None
    assert not frame.placed_by_hand


@pytest.mark.parametrize(
    ("before", "after", "wanted"), [(3, 2, "after"), (2, 3, "before"), (1, 5, "before"), (5, 1, "after")]
)
def test_of_two_neighbours_the_nearer_one_counts(cast: Cast, before: int, after: int, wanted: str) -> None:
    shot(cast, 1, -before, cast.look("before"))
    shot(cast, 2, after, cast.look("after"))
    for far, title in ((-before - 1, "before"), (after + 1, "after")):
        shot(cast, 30 + far, far, cast.sitting.looks.get(title=title))
    frame = shot(cast, 9, 0)
    looks.place_at_once(frame)
    assert frame.look is not None
    assert frame.look.title == wanted


def test_no_neighbour_is_a_frame_of_another_camera_sitting_or_of_no_look(cast: Cast) -> None:
    """Two cameras' clocks need not agree."""
    taken = cast.look("Taken")
    shot(cast, 1, -1, taken, camera="Kelvar K1")
    shot(cast, 2, -1)
    other = make_cast("beside")
    shot(other, 3, -1, other.look("Theirs"))
    frame = shot(cast, 4, 0)
    looks.place_at_once(frame)
    assert frame.look is not None
    assert frame.look.title == "Look 2"
    assert (frame.look.made_by_program, frame.look.position, frame.look.sitting) == (True, 1, cast.sitting)
    assert frame.look.proposed_why


def test_a_planned_look_is_taken_before_a_new_one_is_made_but_none_the_program_proposed(cast: Cast) -> None:
    cast.look("Proposed", proposed_reason="a pause")
    later, sooner = cast.look("Later"), cast.look("Sooner")
    Look.objects.filter(pk=sooner.pk).update(position=1)
    Look.objects.filter(pk=later.pk).update(position=2)
    for number, wanted in ((1, "Sooner"), (2, "Later"), (3, "Look 4")):
        frame = shot(cast, number, 20 * number)
        looks.place_at_once(frame)
        assert frame.look is not None
        assert frame.look.title == wanted


def test_on_set_the_look_said_last_counts_more_than_any_clock(cast: Cast) -> None:
    shot(cast, 1, -1, cast.look("Before"))
    looks.start_look_on_set(cast.sitting, "Coat", cast.as_owner)
    for number, at in ((2, NOON), (3, None)):
        frame = cast.frame(number, captured_at=at, camera="Kelvar K2")
        frame.sitting = cast.sitting
        looks.place_at_once(frame)
        frame.refresh_from_db()
        assert frame.look is not None
        assert (frame.look.title, frame.placed_by_hand) == ("Coat", True)


@pytest.mark.parametrize(
    ("title", "named", "wanted"),
    [
        ("", None, "Planned"),
        (" \n", None, "Planned"),
        ("Coat", None, "Coat"),
        ("", "Other", "Other"),
        ("Coat", "Other", "Other"),
    ],
)
def test_what_starts_on_set_is_the_look_named_the_title_given_or_the_next_one_planned(
    cast: Cast, title: str, named: str | None, wanted: str
) -> None:
    cast.frame(1, cast.look("Used"))
    cast.look("Planned")
    other = cast.look("Other")
    look = looks.start_look_on_set(cast.sitting, title, cast.as_owner, other if named else None)
    assert look.title == wanted
    assert cast.sitting.current_look == look
    assert cast.sitting.looks.count() == (4 if wanted == "Coat" else 3)
    assert lines(cast)[-1] == ("look started", wanted)


def test_with_nothing_planned_it_is_numbered_and_no_other_sitting_starts_or_ends_one(cast: Cast) -> None:
    other = make_cast("beside")
    theirs = looks.start_look_on_set(other.sitting, "", other.as_owner)
    assert theirs.title == "Look 1"
    with pytest.raises(Missing):
        looks.start_look_on_set(cast.sitting, "", cast.as_owner, theirs)
    assert Sitting.objects.get(pk=cast.sitting.pk).current_look is None
    looks.end_look_on_set(cast.sitting, cast.as_owner)
    assert Sitting.objects.get(pk=other.sitting.pk).current_look == theirs


# Naming and changing


def test_a_new_look_stands_behind_the_last_one_with_a_title_of_one_line_that_fits(cast: Cast) -> None:
    assert looks.next_position(cast.sitting) == 0
    cast.look("One")
    Look.objects.update(position=7)
    look = looks.new_look(cast.sitting, "Wool \n coat " + "x" * 90, cast.as_owner, purpose="portfolio")
    assert (look.position, look.purpose, len(look.title)) == (8, "portfolio", 80)
    assert look.title.startswith("Wool coat x")
    assert lines(cast) == [("look added", look.title)]


@pytest.mark.parametrize(("fields", "held"), [
    ({"notes": "door open"}, False), ({"hidden": False}, False), ({"kept_from_representation": False}, False),
    ({"hidden": True}, True), ({"kept_from_representation": True}, True),
])  # fmt: skip
def test_a_changed_look_is_a_persons_and_one_kept_from_somebody_keeps_its_frames(
    cast: Cast, fields: dict[str, Any], held: bool
) -> None:
    """The program would move a frame of it to a look that everybody sees."""
    look = cast.look("Linen", proposed_reason="a pause", made_by_program=True)
    frame, apart = cast.frame(1, look), cast.frame(2, cast.look("Wool"))
    Look.objects.filter(pk=look.pk).update(wardrobe="by somebody else, since it was loaded")
    assert looks.edit_look(look, cast.as_owner, title="Linen \n shirt", **fields) is look
    after = Look.objects.get(pk=look.pk)
    assert (after.title, after.proposed_reason, after.made_by_program) == ("Linen shirt", "", False)
    assert after.wardrobe == "by somebody else, since it was loaded"
    assert {name: getattr(after, name) for name in fields} == fields
    frame.refresh_from_db()
    apart.refresh_from_db()
    assert (frame.placed_by_hand, apart.placed_by_hand) == (held, False)
    (line,) = JournalLine.objects.all()
    assert (line.thing, line.detail) == ("Linen shirt", {"fields": sorted(["title", *fields])})


@pytest.mark.parametrize(("fields", "refused"), [
    ({"kept_from_representation": False, "notes": "x"}, True), ({"kept_from_representation": True}, False),
    ({"notes": "x"}, False),
])  # fmt: skip
def test_what_the_subject_keeps_back_the_photographer_does_not_show(
    cast: Cast, fields: dict[str, Any], refused: bool
) -> None:
    look = cast.look("Bare")
    Look.objects.filter(pk=look.pk).update(kept_from_representation=True, kept_by_subject=True)  # said since
    if refused:
        with pytest.raises(Refused, match="The subject keeps “Bare”"):
            looks.edit_look(look, cast.as_owner, **fields)
    else:
        looks.edit_look(look, cast.as_owner, **fields)
    after = Look.objects.get(pk=look.pk)
    assert (after.kept_from_representation, after.kept_by_subject) == (True, True)
    assert after.notes == ("" if refused else fields.get("notes", ""))
    assert JournalLine.objects.count() == (0 if refused else 1)


@pytest.mark.parametrize("fields", [{"title": ""}, {"title": " \n"}, {"position": 3}, {"kept_by_subject": False}])
def test_a_field_that_no_form_has_and_an_empty_title_change_nothing(cast: Cast, fields: dict[str, Any]) -> None:
    look = cast.look("Linen", proposed_reason="a pause")
    there = rows(cast.sitting)
    with pytest.raises(BadInput):
        looks.edit_look(look, cast.as_owner, notes="x", **fields)
    assert rows(cast.sitting) == there


def test_an_accepted_look_keeps_its_frames_and_no_other_is_accepted_with_it(cast: Cast) -> None:
    one, two = (cast.look(title, proposed_reason="a pause", made_by_program=True) for title in ("One", "Two"))
    frame, other = cast.frame(1, one), cast.frame(2, two)
    looks.accept(one, cast.as_owner)
    one, two = Look.objects.get(pk=one.pk), Look.objects.get(pk=two.pk)
    assert (one.proposed_reason, one.made_by_program) == ("", False)
    assert (two.proposed_reason, two.made_by_program) == ("a pause", True)
    assert Frame.objects.get(pk=frame.pk).placed_by_hand
    assert not Frame.objects.get(pk=other.pk).placed_by_hand


@pytest.mark.parametrize("wrong", ["one missing", "one twice", "a foreign one", "none"])
def test_an_order_names_each_look_of_the_sitting_once(cast: Cast, wrong: str) -> None:
    one, two = cast.look("One"), cast.look("Two")
    foreign = make_cast("beside").look("Theirs")
    order = {"one missing": [two.pk], "one twice": [two.pk, one.pk, one.pk], "none": [],
             "a foreign one": [two.pk, foreign.pk]}[wrong]  # fmt: skip
    with pytest.raises(BadInput):
        looks.reorder(cast.sitting, order, cast.as_owner)
    assert [look.title for look in cast.sitting.looks.all()] == ["One", "Two"]
    assert not JournalLine.objects.exists()


# Frames from look to look


def test_a_split_takes_along_who_may_see_it_and_numbers_only_the_looks_behind(cast: Cast) -> None:
    first = cast.look("First")
    look = cast.look("Bare", purpose="portfolio", treatment="monochrome", hidden=True, kept_from_representation=True,
                     kept_by_subject=True, notes="ours")  # fmt: skip
    last = cast.look("Last")
    other = make_cast("beside")
    theirs = [other.look(str(n)).position for n in range(4)]
    frames = [shot(cast, number, number, look) for number in (1, 2, 3)]
    shot(cast, 9, 9, last)
    new = looks.split(frames[1], " Coat \n on " + "x" * 90, cast.as_owner)
    new.refresh_from_db()
    assert (new.purpose, new.treatment, new.notes, new.made_by_program) == ("portfolio", "monochrome", "", False)
    assert (new.hidden, new.kept_from_representation, new.kept_by_subject) == (True, True, True)
    assert len(new.title) == 80
    assert new.title.startswith("Coat on x")
    positions = dict(cast.sitting.looks.values_list("title", "position"))
    assert positions == {"First": first.position, "Bare": 1, new.title: 2, "Last": 3}
    assert [look.position for look in other.sitting.looks.all()] == theirs
    assert list(new.frames.order_by("number").values_list("number", "placed_by_hand")) == [(2, True), (3, True)]
    assert list(last.frames.values_list("number", flat=True)) == [9]
    assert lines(cast) == [("look split", f"2 → {new.title}"[:120])]


def test_a_split_without_a_title_is_numbered_and_a_frame_without_a_look_splits_nothing(cast: Cast) -> None:
    look = cast.look("One")
    shot(cast, 1, 1, look)
    assert looks.split(shot(cast, 2, 2, look), " ", cast.as_owner).title == "Look 2"
    there = rows(cast.sitting)
    with pytest.raises(BadInput, match="Frame 0003 is in no look"):
        looks.split(shot(cast, 3, 3), "x", cast.as_owner)
    assert rows(cast.sitting)["looks"] == there["looks"]


def test_a_merge_takes_along_all_that_was_said_and_holds_the_frames_of_both(cast: Cast) -> None:
    look, into, third = cast.look("Linen"), cast.look("Wool"), cast.look("Third")
    for number, where in ((1, look), (2, into), (3, third)):
        cast.frame(number, where)
        PlanComment.objects.create(sitting=cast.sitting, look=where, who="w", text=where.title)
        ReferencePicture.objects.create(sitting=cast.sitting, look=where, key="k", brought_by="w", caption=where.title)
    looks.merge(look, into, cast.as_owner)
    assert set(into.frames.values_list("number", "placed_by_hand")) == {(1, True), (2, True)}
    assert set(third.frames.values_list("number", "placed_by_hand")) == {(3, False)}
    for said in (into.plan_comments.values_list("text", flat=True), into.references.values_list("caption", flat=True)):
        assert set(said) == {"Linen", "Wool"}
    assert third.plan_comments.count() == third.references.count() == 1
    assert not cast.sitting.looks.filter(title="Linen").exists()
    assert lines(cast) == [("looks merged", "2 → Wool")]


@pytest.mark.parametrize("kept", [{"hidden": True}, {"kept_from_representation": True}])
@pytest.mark.parametrize("said", ["a comment", "a picture", "nothing"])
def test_what_was_said_of_a_look_that_is_kept_is_not_merged_into_the_open(
    cast: Cast, kept: dict[str, bool], said: str
) -> None:
    look, into = cast.look("Bare", **kept), cast.look("Wool")
    cast.frame(1, look)
    if said == "a comment":
        PlanComment.objects.create(sitting=cast.sitting, look=look, who="w", text="only for us")
    elif said == "a picture":
        ReferencePicture.objects.create(sitting=cast.sitting, look=look, key="k", brought_by="w")
    there = rows(cast.sitting)
    if said == "nothing":
        looks.merge(look, into, cast.as_owner)
        assert into.frames.count() == 1
        return
    with pytest.raises(Conflict, match="The plan says things of “Bare”"):
        looks.merge(look, into, cast.as_owner)
    assert rows(cast.sitting) == there
    looks.merge(into, look, cast.as_owner)  # the other way round nobody reads more than before


@pytest.mark.parametrize(("fields", "left"), [({}, 1), ({"hidden": True}, 0), ({"kept_from_representation": True}, 0)])
def test_what_was_said_of_a_kept_look_goes_with_it_and_of_an_open_one_stays(
    cast: Cast, fields: dict[str, Any], left: int
) -> None:
    look, other = cast.look("Empty", **fields), cast.look("Other")
    for where in (look, other):
        PlanComment.objects.create(sitting=cast.sitting, look=where, who="w", text="t")
        ReferencePicture.objects.create(sitting=cast.sitting, look=where, key="k", brought_by="w")
    looks.remove_look(look, cast.as_owner)
    assert list(cast.sitting.looks.all()) == [other]
    for said in (cast.sitting.plan_comments, cast.sitting.references):
        assert (said.filter(look=None).count(), said.filter(look=other).count()) == (left, 1)
    assert Sitting.objects.get(pk=cast.sitting.pk).change == 1


def test_frames_hidden_and_shown_again_are_those_named_and_the_journal_tells_which(cast: Cast) -> None:
    one, two, three = (cast.frame(number) for number in (1, 2, 3))
    looks.set_hidden(cast.sitting, [one.pk, two.pk, one.pk], True, cast.as_owner)
    looks.set_hidden(cast.sitting, [two.pk], False, cast.as_owner)
    assert list(cast.sitting.frames.order_by("pk").values_list("hidden", flat=True)) == [True, False, False]
    assert lines(cast) == [("frames hidden", "2"), ("frames shown", "1")]
    take_back.undo(cast.sitting, cast.as_owner)
    assert list(cast.sitting.frames.filter(hidden=True).order_by("pk")) == [one, two]
    with pytest.raises(Missing):
        looks.set_hidden(cast.sitting, [one.pk, 10**9], False, cast.as_owner)
    assert three.pk not in cast.sitting.frames.filter(hidden=True).values_list("pk", flat=True)


def test_frames_moved_out_of_every_look_are_a_persons_too(cast: Cast) -> None:
    look = cast.look("Linen")
    frame, other = cast.frame(1, look), cast.frame(2, look)
    looks.move_frames(cast.sitting, [frame.pk], None, cast.as_owner)
    frame.refresh_from_db()
    other.refresh_from_db()
    assert (frame.look, frame.placed_by_hand, other.look, other.placed_by_hand) == (None, True, look, False)
    assert lines(cast) == [("frames moved", "1 → –")]
    with pytest.raises(Missing):
        looks.move_frames(cast.sitting, [frame.pk], look, Visitor(user=cast.stranger))


# Taking back


def test_frames_go_back_as_they_lay_and_not_into_a_look_that_is_gone(cast: Cast) -> None:
    linen, wool, gone = cast.look("Linen"), cast.look("Wool"), cast.look("Gone")
    frames = [cast.frame(number, wool, placed_by_hand=number != 3) for number in range(1, 6)]
    other = make_cast("beside")
    foreign = other.frame(9, other.look("Theirs"))
    places = (
        Place(frames[0].pk, linen.pk, False), Place(frames[1].pk, None, True), Place(frames[2].pk, linen.pk, True),
        Place(frames[3].pk, gone.pk, False), Place(foreign.pk, linen.pk, False),
    )  # fmt: skip
    gone.delete()
    take_back._put_frames_back(cast.sitting, places)
    assert list(cast.sitting.frames.order_by("number").values_list("look__title", "placed_by_hand")) == [
        ("Linen", False), (None, True), ("Linen", True), ("Wool", True), ("Wool", True)
    ]  # fmt: skip
    assert Frame.objects.get(pk=foreign.pk).look != linen


def test_an_act_on_hidden_frames_of_another_sitting_is_not_taken_back_there(cast: Cast) -> None:
    other = make_cast("beside")
    mine, foreign = cast.frame(1, hidden=True), other.frame(1, hidden=True)
    take_back._put_back(cast.sitting, Before(hidden={mine.pk: False, foreign.pk: False}))
    assert list(Frame.objects.filter(hidden=True)) == [foreign]


def test_a_removed_look_is_kept_with_every_column_and_what_was_said_of_it(cast: Cast) -> None:
    look = cast.look("Linen", gel="amber", gel_mired=30, kept_by_subject=True)
    said = PlanComment.objects.create(sitting=cast.sitting, look=look, who="w", text="t")
    picture = ReferencePicture.objects.create(sitting=cast.sitting, look=look, key="k", brought_by="w")
    gone = GoneLook.of(look)
    assert (gone.comments, gone.references) == ((said.pk,), (picture.pk,))
    other = make_cast("beside").sitting
    look.delete()
    assert Look.objects.create(sitting=other, **gone.columns).gel_mired == 30
    assert before.places_of([]) == ()


def test_the_acts_of_one_sitting_are_not_taken_back_in_another(cast: Cast) -> None:
    other = make_cast("beside")
    looks.set_hidden(cast.sitting, [cast.frame(1).pk], True, cast.as_owner)
    assert take_back.last_undoable(other.sitting) is None
    with pytest.raises(Conflict):
        take_back.undo(other.sitting, other.as_owner)
    with pytest.raises(Missing):
        take_back.undo(cast.sitting, other.as_owner)
    assert Frame.objects.get().hidden
