"""Kept back follows the frame, until the subject lets it go."""

from __future__ import annotations

from importlib import import_module
from types import SimpleNamespace

import pytest
from django.apps import apps
from django.db import connection

from galleries.access import Visitor, files_shown_to, finals_shown_to, frames_shown_to, looks_shown_to
from galleries.errors import BadInput, Conflict, Missing, Refused
from galleries.models import Final, Frame, JournalLine, Look, PlanComment, Sitting
from galleries.steps.agreeing import agree
from galleries.steps.picking import kept, pick
from galleries.steps.sorting import looks, take_back
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    cast = make_cast()
    cast.sitting.subject_chooses_looks = True
    cast.sitting.save()
    return cast


def seen(by: Visitor, sitting: Sitting) -> set[int | None]:
    return {frame.number for frame in frames_shown_to(by, sitting)}


def two_looks(cast: Cast) -> tuple[Look, Look, list[Frame]]:
    """“Bare” with frames 1 and 2, kept back by the subject; “Shirt” with frame 3."""
    bare, shirt = cast.look("Bare"), cast.look("Shirt")
    frames = [cast.frame(1, bare), cast.frame(2, bare), cast.frame(3, shirt)]
    kept.keep_look(cast.as_subject, bare)
    return bare, shirt, frames


def to_none(cast: Cast, bare: Look, shirt: Look, frames: list[Frame]) -> None:
    looks.move_frames(cast.sitting, [frames[0].pk, frames[1].pk], None, cast.as_owner)


def to_another(cast: Cast, bare: Look, shirt: Look, frames: list[Frame]) -> None:
    looks.move_frames(cast.sitting, [frames[0].pk, frames[1].pk], shirt, cast.as_owner)


def merged(cast: Cast, bare: Look, shirt: Look, frames: list[Frame]) -> None:
    looks.merge(bare, shirt, cast.as_owner)


def merged_and_back(cast: Cast, bare: Look, shirt: Look, frames: list[Frame]) -> None:
    looks.merge(bare, shirt, cast.as_owner)
    take_back.undo(cast.sitting, cast.as_owner)
    assert Look.objects.get(title="Bare").kept_by_subject


def split(cast: Cast, bare: Look, shirt: Look, frames: list[Frame]) -> None:
    new = looks.split(Frame.objects.get(pk=frames[1].pk), "Other half", cast.as_owner)
    assert new.kept_by_subject


def split_and_merged(cast: Cast, bare: Look, shirt: Look, frames: list[Frame]) -> None:
    looks.merge(looks.split(Frame.objects.get(pk=frames[1].pk), "Other half", cast.as_owner), shirt, cast.as_owner)


def new_look_here(cast: Cast, bare: Look, shirt: Look, frames: list[Frame]) -> None:
    looks.move_frames(cast.sitting, [frames[0].pk], looks.new_look(cast.sitting, "New", cast.as_owner), cast.as_owner)


def look_gone(cast: Cast, bare: Look, shirt: Look, frames: list[Frame]) -> None:
    to_none(cast, bare, shirt, frames)
    looks.remove_look(bare, cast.as_owner)


def by_row(cast: Cast, bare: Look, shirt: Look, frames: list[Frame]) -> None:
    frame = Frame.objects.get(pk=frames[0].pk)
    frame.look = shirt
    frame.save(update_fields=["look"])


WAYS = [to_none, to_another, merged, merged_and_back, split, split_and_merged, new_look_here, look_gone, by_row]


@pytest.mark.parametrize("way", WAYS)
def test_no_way_of_sorting_shows_a_frame_that_is_kept_back(cast: Cast, way: object) -> None:
    bare, shirt, frames = two_looks(cast)
    assert seen(cast.as_representation, cast.sitting) == {3}
    way(cast, bare, shirt, frames)  # type: ignore[operator]
    assert seen(cast.as_representation, cast.sitting) == {3}
    assert seen(cast.as_recipient, cast.sitting) == {3}
    assert seen(cast.as_subject, cast.sitting) == {1, 2, 3}
    assert set(looks_shown_to(cast.as_representation, cast.sitting).values_list("title", flat=True)) <= {"Shirt", "New"}
    with pytest.raises(Refused, match="The subject keeps frame 0001"):
        agree.close(cast.sitting, [frames[0].pk, frames[2].pk], cast.as_owner)
    with pytest.raises(BadInput) as told:
        agree.close(cast.sitting, [frames[0].pk, frames[2].pk], cast.as_representation)
    assert "kept" not in str(told.value)
    assert "keeps" not in str(told.value)
    assert not Final.objects.exists()


def test_a_frame_that_comes_into_a_look_that_is_kept_back_is_kept_back(cast: Cast) -> None:
    bare, _shirt, frames = two_looks(cast)
    looks.move_frames(cast.sitting, [frames[2].pk], bare, cast.as_owner)
    cast.frame(4, bare)
    looks.start_look_on_set(cast.sitting, "", cast.as_owner, look=bare)
    arrives = cast.frame(5)
    looks.place_at_once(Frame.objects.get(pk=arrives.pk))
    assert set(Frame.objects.values_list("number", "kept_by_subject")) == {(n, True) for n in range(1, 6)}


def test_only_the_subject_lets_go_and_names_each_frame(cast: Cast) -> None:
    bare, shirt, frames = two_looks(cast)
    with pytest.raises(Refused, match="only they let it be seen"):
        looks.edit_look(bare, cast.as_owner, kept_from_representation=False)
    to_another(cast, bare, shirt, frames)
    for somebody in (cast.as_owner, cast.as_representation, cast.as_recipient, make_cast("another").as_subject):
        for ask in (
            lambda who: kept.let_go(who, cast.sitting, [frames[0].pk]),
            lambda who: kept.held(who, cast.sitting),
        ):
            with pytest.raises((Refused, Missing)):
                ask(somebody)
    with pytest.raises(BadInput, match="changed meanwhile"):
        kept.let_go(cast.as_subject, cast.sitting, [frames[0].pk, frames[2].pk])  # the third is not kept back
    with pytest.raises(BadInput, match="changed meanwhile"):
        kept.let_go(cast.as_subject, cast.sitting, [])
    kept.let_go(cast.as_subject, cast.sitting, [frames[0].pk])
    assert seen(cast.as_representation, cast.sitting) == {1, 3}
    line = JournalLine.objects.get(verb="frames let go")
    assert line.who.startswith("Ansa Veld")
    assert line.detail["frames"] == ["KAL_0001.JPG"]
    agree.close(cast.sitting, [frames[0].pk], cast.as_owner)


def test_a_look_let_go_leaves_what_was_not_shown_kept_back(cast: Cast) -> None:
    bare, _shirt, frames = two_looks(cast)
    cast.frame(4, bare)  # came in after the page was opened
    kept.let_go(cast.as_subject, cast.sitting, [frames[0].pk, frames[1].pk], bare)
    assert seen(cast.as_representation, cast.sitting) == {1, 2, 3}
    assert Frame.objects.get(number=4).kept_by_subject
    assert not Look.objects.get(pk=bare.pk).kept_from_representation


def test_what_is_held_is_told_look_by_look(cast: Cast) -> None:
    bare, shirt, frames = two_looks(cast)
    loose = cast.frame(4, bare)
    looks.move_frames(cast.sitting, [frames[1].pk], shirt, cast.as_owner)
    looks.move_frames(cast.sitting, [loose.pk], None, cast.as_owner)
    for frame in cast.sitting.frames.all():
        frame.proofs.create(
            recipe="t", large_key="l", large_width=1, large_height=1, small_key="s", small_width=1, small_height=1
        )
    rows = kept.held(cast.as_subject, cast.sitting)
    assert [(row.look and row.look.title, row.whole, [f.number for f in row.frames]) for row in rows] == [
        ("Bare", True, [1]),
        ("Shirt", False, [2]),
        (None, False, [4]),
    ]
    assert [person.name for person in kept.who_would_see(cast.sitting)] == ["Casting desk", "Ruben Achterberg"]


def test_a_look_the_photographer_keeps_is_theirs_to_show_unless_left_to_the_subject(cast: Cast) -> None:
    Sitting.objects.update(subject_chooses_looks=False)
    cast.sitting.refresh_from_db()
    look = cast.look("Own", kept_from_representation=True)
    frame = cast.frame(1, look)
    with pytest.raises(Refused):
        kept.let_go(cast.as_subject, cast.sitting, [], look)
    with pytest.raises(Refused):
        kept.keep_look(cast.as_subject, look)
    with pytest.raises(Refused, match="You keep the look of frame 0001"):
        agree.close(cast.sitting, [frame.pk], cast.as_owner)
    looks.edit_look(look, cast.as_owner, kept_from_representation=False)
    assert seen(cast.as_representation, cast.sitting) == {1}
    # What the subject kept stays theirs to let go, whatever the photographer leaves to them later.
    Sitting.objects.update(subject_chooses_looks=True)
    look.sitting.refresh_from_db()
    kept.keep_look(cast.as_subject, look)
    Sitting.objects.update(subject_chooses_looks=False)
    cast.sitting.refresh_from_db()
    look = Look.objects.get(pk=look.pk)
    kept.let_go(cast.as_subject, cast.sitting, [frame.pk], look)
    assert seen(cast.as_representation, cast.sitting) == {1}


def test_what_the_plan_says_of_a_look_kept_back_does_not_leak_by_merging(cast: Cast) -> None:
    bare, shirt, _frames = two_looks(cast)
    PlanComment.objects.create(sitting=cast.sitting, look=bare, who="Ansa Veld", text="Only for us.")
    with pytest.raises(Conflict, match="not everybody may read"):
        looks.merge(bare, shirt, cast.as_owner)
    looks.merge(shirt, bare, cast.as_owner)  # the other way nobody comes to read more
    assert PlanComment.objects.get().look == bare


def test_a_final_of_a_frame_kept_back_is_nobodys_but_the_subjects(cast: Cast) -> None:
    """As a closed list from before this rule may have it."""
    _bare, _shirt, frames = two_looks(cast)
    made = [
        Final.objects.create(sitting=cast.sitting, frame=frame, round=cast.sitting.rounds.get(), position=at)
        for at, frame in enumerate(frames)
    ]
    Sitting.objects.update(stage="finishing")
    cast.sitting.refresh_from_db()
    assert [final.frame.number for final in agree.listed_for(cast.as_representation, cast.sitting)] == [3]
    assert [final.frame.number for final in agree.listed_for(cast.as_subject, cast.sitting)] == [1, 2, 3]
    assert len(agree.listed_for(cast.as_owner, cast.sitting)) == 3
    assert not finals_shown_to(make_cast("another").as_representation, cast.sitting).exists()
    licence = cast.sitting.licences.create(number=1, terms={}, text="")
    delivery = cast.sitting.deliveries.create(number=1, licence=licence, sizes={})
    for final in made:
        delivery.files.create(final=final, size_slug="s", name=f"{final.frame.label}.jpg", key="k", sha256="0", bytes=1)
    assert [file.name for file in files_shown_to(cast.as_representation, delivery)] == ["0003.jpg"]
    assert [file.name for file in files_shown_to(cast.as_recipient, delivery)] == ["0003.jpg"]
    assert files_shown_to(cast.as_subject, delivery).count() == 3


@pytest.mark.parametrize(
    ("chooses", "said", "theirs"), [(True, False, True), (False, True, True), (False, False, False)]
)
def test_looks_kept_before_are_carried_over_as_the_subjects_where_they_may_be(
    cast: Cast, chooses: bool, said: bool, theirs: bool
) -> None:
    Sitting.objects.update(subject_chooses_looks=chooses)
    frame = cast.frame(1, cast.look("Bare", kept_from_representation=True))
    other = cast.frame(2, cast.look("Shirt"))
    if said:
        JournalLine.write(cast.sitting, "Ansa Veld (subject)", "look kept back", "Bare")
    import_module("galleries.migrations.0009_kept_by_subject").carry_over(apps, SimpleNamespace(connection=connection))
    assert Frame.objects.get(pk=frame.pk).kept_by_subject is theirs
    assert Look.objects.get(title="Bare").kept_by_subject is theirs
    assert not Frame.objects.get(pk=other.pk).kept_by_subject


def test_marks_of_the_representation_never_reach_a_frame_kept_back(cast: Cast) -> None:
    _bare, _shirt, frames = two_looks(cast)
    with pytest.raises(Missing):
        pick.set_mark(cast.as_representation, frames[0].pk, kind="pick")


def test_the_subject_keeps_back_no_look_that_they_do_not_see(cast: Cast) -> None:
    hidden = cast.look("Spare", hidden=True)
    with pytest.raises(Missing):
        kept.keep_look(cast.as_subject, hidden)
    hidden.refresh_from_db()
    assert not hidden.kept_from_representation


def test_where_the_choice_is_left_to_the_subject_they_show_a_look_the_photographer_kept(cast: Cast) -> None:
    look = cast.look("Own", kept_from_representation=True)
    frame = cast.frame(1, look)
    assert [row.look for row in kept.held(cast.as_subject, cast.sitting)] == [look]
    kept.let_go(cast.as_subject, cast.sitting, [frame.pk], look)
    assert seen(cast.as_representation, cast.sitting) == {1}
