"""What used to be read back from the journal, and stands in tables of its own now: the migrations' own functions, on
lines as earlier releases wrote them."""

from __future__ import annotations

from datetime import UTC, datetime
from importlib import import_module
from types import SimpleNamespace
from typing import Any
from uuid import uuid4

import pytest
from django.apps import apps
from django.db import connection

from galleries.models import Erasure, JournalLine, Sitting, Undoable
from galleries.steps.keeping import retention
from galleries.steps.sorting import before
from galleries.steps.sorting.before import Before, GoneLook, Place
from tests.cast import make_cast

pytestmark = pytest.mark.django_db
THEN = datetime(2026, 2, 3, 10, 0, tzinfo=UTC)


def carry_over(migration: str) -> None:
    import_module(f"galleries.migrations.{migration}").carry_over(apps, SimpleNamespace(connection=connection))


def line(sitting: Sitting | None, verb: str, slug: str = "", **more: Any) -> JournalLine:
    made = JournalLine(sitting=sitting, sitting_slug=slug or "s", who="Imke Tan (photographer)", verb=verb, **more)
    JournalLine.objects.bulk_create([made])
    return made


def test_the_newest_acts_that_stand_can_be_taken_back() -> None:
    cast, other = make_cast(), make_cast("other")
    frame, foreign, look = cast.frame(1), other.frame(1), cast.look("Coat")
    s = cast.sitting
    was = {str(frame.pk): [None, False], str(foreign.pk): [None, False]}
    gone = {"pk": 900, "position": 2, "title": "Linen", "kept_by_subject": True}
    line(s, "frames moved", thing="2 → Coat", detail={"was": was})
    line(s, "looks merged", thing="1 → Coat", detail={"was": {str(frame.pk): [900, True]}, "gone": gone})
    line(s, "look split", thing="1 → –", detail={"was": {str(frame.pk): [look.pk, True]}, "new_look": 77})
    hidden = line(s, "frames hidden", thing="1", detail={"hidden_was": {str(frame.pk): False}})
    line(s, "undone", thing="frames hidden", detail={"line": hidden.pk})
    carry_over("0019_what_can_be_undone")
    acts = list(Undoable.objects.all())
    assert [(act.verb, act.who, act.sitting) for act in acts] == [
        (verb, "Imke Tan (photographer)", s) for verb in ("frames moved", "looks merged", "look split")
    ]
    assert [before.of(act) for act in acts] == [
        Before(places=(Place(frame.pk, None, False),), into_title="Coat"),
        Before(
            places=(Place(frame.pk, 900, True),), into_title="Coat",
            gone=GoneLook({"id": 900, "position": 2, "title": "Linen", "kept_by_subject": True}),
        ),
        Before(places=(Place(frame.pk, look.pk, True),), begun=77),
    ]  # fmt: skip


def test_at_most_fifty_of_a_sitting() -> None:
    cast = make_cast()
    frame = cast.frame(1)
    for _ in range(60):
        last = line(cast.sitting, "frames shown", detail={"hidden_was": {str(frame.pk): True}})
    carry_over("0019_what_can_be_undone")
    acts = Undoable.objects.order_by("pk")
    assert acts.count() == 50
    assert acts.last().done_at == last.at  # type: ignore[union-attr]


def test_erasures_with_what_was_done_of_each() -> None:
    done, again, cut = uuid4(), uuid4(), uuid4()
    for uid, files in ((done, 12), (again, 5)):
        line(None, "erasure begun", uid.hex, detail={"why": "asked for", "frames": 4, "number": 3})
        line(None, "erased", uid.hex, detail={"frames": 4, "files": files})
    line(None, "erased", again.hex, detail={"frames": 4, "files": 1})  # a late file
    line(None, "erasure begun", again.hex, detail={"why": "once more", "frames": 2, "number": 9})
    line(None, "erasure begun", cut.hex, detail={"why": "cut short", "frames": 1, "number": 4})
    carry_over("0025_erasures_and_put_away_from")
    rows = Erasure.objects.order_by("pk")
    assert [(row.uid, row.why, row.number, row.frames, row.files, row.done_at is None) for row in rows] == [
        (done, "asked for", 3, 4, 12, False),
        (again, "asked for", 3, 4, 6, False),
        (again, "once more", 9, 2, 0, True),
        (cut, "cut short", 4, 1, 0, True),
    ]


def test_a_sitting_that_was_put_away_goes_back_to_where_it_was() -> None:
    cast = make_cast(stage="archived")
    line(cast.sitting, "put away", before="agreeing", after="archived")
    line(cast.sitting, "brought back", before="archived", after="agreeing")
    line(cast.sitting, "put away", before="finishing", after="archived")
    carry_over("0025_erasures_and_put_away_from")
    cast.sitting.refresh_from_db()
    retention.bring_back(cast.sitting, cast.as_owner)
    assert cast.sitting.stage == "finishing"
