"""The plan: a name of its own in addresses, settings that change as asked, pictures and words of a size."""

from __future__ import annotations

import hashlib
import re
from datetime import date
from typing import Any

import pytest
from django.core.files.storage import Storage
from django.db.models import QuerySet

from galleries import storage
from galleries.access import Visitor
from galleries.errors import BadInput, Conflict, DomainError, Missing, Refused
from galleries.imaging.codes import Code
from galleries.imaging.errors import Unsupported
from galleries.imaging.opening.picture import Limits
from galleries.models import JournalLine, PlanComment, ReferencePicture, Sitting
from galleries.steps.limits import limits
from galleries.steps.planning import sitting_plan
from galleries.told import Told
from galleries.words.told import sentence
from tests.cast import Cast, make_cast

PICTURE = b"what the door makes of it"


@pytest.fixture
def cast(db: None) -> Cast:
    return make_cast(stage="planning")


def lines(verb: str) -> list[JournalLine]:
    return list(JournalLine.objects.filter(verb=verb).order_by("pk"))


# Setting up


@pytest.mark.parametrize(
    ("title", "wanted"),
    [
        ("Mirre Solland, autumn", ["mirre-solland-autumn", "mirre-solland-autumn-2", "mirre-solland-autumn-3"]),
        ("Sizes", ["sizes-2", "sizes-3"]),  # the first is the name of a page of the studio's own
        ("SITTINGS!", ["sittings-2"]),
        ("Соланд", ["sitting", "sitting-2"]),  # no letter of it can stand in an address
        ("x" * 119, ["x" * 50, "x" * 50 + "-2"]),
    ],
)
def test_each_sitting_gets_a_name_in_addresses_that_nobody_has(cast: Cast, title: str, wanted: list[str]) -> None:
    made = [sitting_plan.create_sitting(cast.owner, title=title) for _ in wanted]
    assert [sitting.slug for sitting in made] == wanted
    assert {sitting.title for sitting in made} == {title}
    for sitting, line in zip(made, lines("sitting planned"), strict=True):
        assert (line.sitting, line.who, line.thing) == (sitting, cast.as_owner.who, title)


def test_a_new_sitting_is_its_photographers_and_has_what_was_asked_for(cast: Cast) -> None:
    sitting = sitting_plan.create_sitting(
        cast.colleague, title="  Iza \n Morell ", allowance=9, deadline=date(2026, 5, 4), subject_is_minor=True
    )
    sitting.refresh_from_db()
    assert (sitting.title, sitting.photographer, sitting.stage) == ("Iza Morell", cast.colleague, "planning")
    assert (sitting.allowance, sitting.deadline, sitting.lacks_consent) == (9, date(2026, 5, 4), True)


@pytest.mark.parametrize("fields", [{}, {"title": ""}, {"title": " \n\t"}, {"title": "Iza", "stage": "delivered"}])
def test_without_a_title_or_with_what_is_no_setting_there_is_no_sitting(cast: Cast, fields: dict[str, Any]) -> None:
    with pytest.raises(BadInput):
        sitting_plan.create_sitting(cast.owner, **fields)
    assert Sitting.objects.count() == 1
    assert not JournalLine.objects.exists()


def test_of_two_with_one_name_at_the_same_moment_the_second_gets_the_next(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Both looked before either wrote: the database says that the name is taken."""
    sitting_plan.create_sitting(cast.owner, title="Iza")
    monkeypatch.setattr(Sitting.objects, "filter", lambda **_how: Sitting.objects.none())
    assert sitting_plan.create_sitting(cast.owner, title="Iza").slug == "iza-2"
    assert len(lines("sitting planned")) == 2


def test_when_every_name_is_taken_that_is_said(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(QuerySet, "exists", lambda _rows: True)
    with pytest.raises(Conflict, match="too many sittings"):
        sitting_plan.create_sitting(cast.owner, title="Iza")
    assert Sitting.objects.count() == 1


# Settings


def test_only_what_changed_is_written_and_the_journal_names_it_without_its_text(cast: Cast) -> None:
    Sitting.objects.filter(pk=cast.sitting.pk).update(place="the north room")  # by somebody else, since it was loaded
    sitting_plan.edit_sitting(cast.sitting, cast.as_owner, title="Ansa,\n  autumn", plan="Linen first", allowance=3)
    after = Sitting.objects.get(pk=cast.sitting.pk)
    assert (after.title, after.plan, after.place, after.allowance) == (
        "Ansa, autumn",
        "Linen first",
        "the north room",
        3,
    )
    assert after.change == cast.sitting.change + 1
    (line,) = lines("settings changed")
    assert (line.who, line.thing, line.detail) == (cast.as_owner.who, "Ansa, autumn", {"fields": ["plan", "title"]})


def test_the_same_settings_again_are_no_change(cast: Cast) -> None:
    sitting_plan.edit_sitting(cast.sitting, cast.as_owner, title=f" {cast.sitting.title} ", allowance=3)
    assert not lines("settings changed")
    assert Sitting.objects.get(pk=cast.sitting.pk).change == 0


@pytest.mark.parametrize("fields", [{"title": " "}, {"photographer": 1}, {"title": "Iza", "slug": "iza"}])
def test_what_is_no_setting_changes_nothing_beside_it(cast: Cast, fields: dict[str, Any]) -> None:
    before = Sitting.objects.values().get(pk=cast.sitting.pk)
    with pytest.raises(BadInput):
        sitting_plan.edit_sitting(cast.sitting, cast.as_owner, allowance=8, **fields)
    assert Sitting.objects.values().get(pk=cast.sitting.pk) == before
    assert not JournalLine.objects.exists()


def test_a_colleague_changes_settings_once_they_are_let_in(cast: Cast) -> None:
    colleague = Visitor(user=cast.colleague)
    with pytest.raises(Missing):
        sitting_plan.edit_sitting(cast.sitting, colleague, allowance=8)
    cast.sitting.colleagues.add(cast.colleague)
    assert sitting_plan.edit_sitting(cast.sitting, colleague, allowance=8).allowance == 8


# Pictures


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, object, Limits]]:
    """What was asked of the decoder's door, which lets everything pass; pages send it real pictures
    (tests/web/invitee/test_plan.py)."""
    asked: list[tuple[str, object, Limits]] = []

    def verify(source: object, most: Limits, *, seconds: float) -> None:
        assert seconds > 0
        asked.append(("verify", source, most))

    def make_view(source: object, side: int, most: Limits) -> bytes:
        asked.append((f"view of {side}", source, most))
        return PICTURE

    monkeypatch.setattr(sitting_plan.door, "verify", verify)
    monkeypatch.setattr(sitting_plan.door, "make_view", make_view)
    return asked


def test_a_picture_is_kept_small_and_under_its_own_digest(cast: Cast, opened: list[Any]) -> None:
    look = cast.look()
    caption = "  like this " + "light " * 60
    kept = sitting_plan.add_reference(cast.as_subject, cast.sitting, b"jpeg", caption=caption, look=look)
    assert (kept.look, kept.brought_by, kept.caption) == (look, "Ansa Veld", caption.strip()[:200])
    assert hashlib.sha256(PICTURE).hexdigest() in kept.key
    assert storage.get(storage.private(), kept.key) == PICTURE
    assert [what for what, _source, _most in opened] == ["verify", "view of 1600"]
    for _what, source, most in opened:  # anybody invited sends them: less than a frame may have, by bytes and by pixels
        assert source == b"jpeg"
        assert (most.max_bytes, most.max_pixels) == (30_000_000, 60_000_000)
        assert most.max_side == limits().max_side
    (line,) = lines("reference added")
    assert line.who == cast.as_subject.who
    assert line.thing == kept.caption[:120]
    assert Sitting.objects.get(pk=cast.sitting.pk).change == 1


def test_the_plan_holds_sixty_pictures_and_no_more(cast: Cast, opened: list[Any]) -> None:
    other = make_cast("beside", stage="planning")
    for whose, count in ((cast.sitting, 59), (other.sitting, 3)):
        whose.references.bulk_create(ReferencePicture(sitting=whose, key="k", brought_by="w") for _ in range(count))
    sitting_plan.add_reference(cast.as_subject, cast.sitting, b"the sixtieth")
    opened.clear()
    with pytest.raises(BadInput, match="60 pictures"):
        sitting_plan.add_reference(cast.as_owner, cast.sitting, b"one more")
    assert not opened
    assert cast.sitting.references.count() == 60


@pytest.mark.parametrize("where", ["verify", "make_view"])
def test_a_file_that_is_no_picture_leaves_nothing(
    cast: Cast, opened: list[Any], monkeypatch: pytest.MonkeyPatch, where: str
) -> None:
    def refuse(*_what: object, **_how: object) -> None:
        raise Unsupported(Code.NO_PICTURE)

    monkeypatch.setattr(sitting_plan.door, where, refuse)
    put: list[object] = []
    monkeypatch.setattr(sitting_plan.storage, "put", lambda *what: put.append(what))
    with pytest.raises(BadInput, match=re.escape(sentence(Told(Code.NO_PICTURE)))):
        sitting_plan.add_reference(cast.as_subject, cast.sitting, b"no picture at all")
    assert (put, ReferencePicture.objects.count(), JournalLine.objects.count()) == ([], 0, 0)


@pytest.mark.parametrize("stage", ["planning", "delivered", "archived"])
def test_a_picture_goes_by_the_one_who_brought_it_or_the_photographer(
    cast: Cast, stage: str, opened: list[Any]
) -> None:
    mine = sitting_plan.add_reference(cast.as_subject, cast.sitting, b"a", caption="mine")
    Sitting.objects.filter(pk=cast.sitting.pk).update(stage=stage)
    fresh = ReferencePicture.objects.get(pk=mine.pk)
    with pytest.raises(Refused, match="Only who brought a picture"):
        sitting_plan.remove_reference(cast.as_representation, fresh)
    if stage == "archived":  # to the people invited; the photographer still may
        with pytest.raises(Refused):
            sitting_plan.remove_reference(cast.as_subject, fresh)
    sitting_plan.remove_reference(cast.as_owner if stage == "archived" else cast.as_subject, fresh)
    (line,) = lines("reference removed")
    assert line.thing == "mine"
    assert not ReferencePicture.objects.exists()


def test_a_file_goes_with_the_last_picture_that_names_it(cast: Cast, opened: list[Any]) -> None:
    first, second = (sitting_plan.add_reference(cast.as_subject, cast.sitting, b"a") for _ in range(2))
    assert first.key == second.key
    cast.sitting.references.create(key="of another picture", brought_by="w")
    store: Storage = storage.private()
    sitting_plan.remove_reference(cast.as_owner, first)
    assert store.exists(second.key)
    sitting_plan.remove_reference(cast.as_owner, second)
    assert not store.exists(second.key)
    assert Sitting.objects.get(pk=cast.sitting.pk).change == 4


# Words


def test_what_is_said_of_the_plan_keeps_who_said_it_and_its_first_two_thousand_signs(cast: Cast) -> None:
    look = cast.look("Linen")
    said = sitting_plan.comment(cast.as_subject, cast.sitting, f" {'a' * 2001} ", look=look)
    plain = sitting_plan.comment(cast.as_owner, cast.sitting, "\n Bring both \n")
    assert (said.text, said.who, said.invite, said.look) == ("a" * 2000, "Ansa Veld", cast.subject, look)
    assert (plain.text, plain.who, plain.invite, plain.look) == ("Bring both", "Tamsin", None, None)
    assert [(line.who, line.thing) for line in lines("plan commented")] == [
        (cast.as_subject.who, "Linen"),
        (cast.as_owner.who, cast.sitting.title),
    ]
    assert Sitting.objects.get(pk=cast.sitting.pk).change == 2


@pytest.mark.parametrize("text", ["", " \n "])
def test_nothing_said_and_a_look_of_another_sitting_are_refused(cast: Cast, text: str, opened: list[Any]) -> None:
    foreign = make_cast("beside").look()
    acts: list[Any] = [
        lambda: sitting_plan.comment(cast.as_owner, cast.sitting, text),
        lambda: sitting_plan.comment(cast.as_owner, cast.sitting, "of another", look=foreign),
        lambda: sitting_plan.add_reference(cast.as_owner, cast.sitting, b"a", look=foreign),
    ]
    for act in acts:
        with pytest.raises(BadInput):
            act()
    assert (opened, PlanComment.objects.count(), ReferencePicture.objects.count()) == ([], 0, 0)


@pytest.mark.parametrize(("role", "error"), [("recipient", Refused), ("stranger", Missing)])
def test_who_only_fetches_or_is_nobody_here_says_nothing_of_the_plan(
    cast: Cast, role: str, error: type[DomainError], opened: list[Any]
) -> None:
    by = cast.as_recipient if role == "recipient" else Visitor(user=cast.stranger)
    with pytest.raises(error):
        sitting_plan.comment(by, cast.sitting, "Blue")
    with pytest.raises(error):
        sitting_plan.add_reference(by, cast.sitting, b"a")
    assert (opened, JournalLine.objects.count()) == ([], 0)
