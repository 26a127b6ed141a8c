"""Statements that are written once: the answers are those of the query set, whatever values come and whatever happened
to the connection in between. The grown way's database runs this too (`tests/services/test_postgresql.py`)."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.db.models import Q
from django.test.utils import CaptureQueriesContext

from galleries.models import Frame, Invite, Job, JournalLine, Mark, Refusal, Sitting, Verb
from galleries.models.compiled import (
    Compiled,
    CompiledDelete,
    CompiledInsert,
    CompiledRows,
    CompiledSave,
    CompiledUpdate,
    partial,
)
from tests.cast import make_cast

pytestmark = pytest.mark.django_db

_ask = Compiled(lambda slug, pk: Sitting.objects.filter(slug=slug, pk=pk).order_by().values_list("pk"), by_keys=True)


def prepared() -> list[str]:
    """What PostgreSQL has planned for this connection (its manual, 54.15: pg_prepared_statements)."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT statement FROM pg_prepared_statements")
        return [text for (text,) in cursor.fetchall()]


def test_a_question_by_keys_is_answered_each_time_by_the_rows_as_they_are() -> None:
    one, other = make_cast().sitting, make_cast("elsewhere").sitting
    rows = CompiledRows(lambda pk: Sitting.objects.filter(pk=pk).order_by(), by_keys=True)
    rename = CompiledUpdate(lambda pk: Sitting.objects.filter(pk=pk), by_keys=True, title="Other")
    for sitting in (one, other, one):
        assert _ask(sitting.slug, sitting.pk) == [(sitting.pk,)]
        assert _ask(sitting.slug, sitting.pk + 2**40) == []  # a number of another width is another statement
        assert rows.first(sitting.pk) == sitting
    assert rename(one.pk) == 1
    title = rows.first(one.pk)
    assert title is not None
    assert title.title == "Other"
    with pytest.raises(IntegrityError), transaction.atomic():
        Sitting.objects.create(slug=one.slug, photographer=one.photographer)
    assert _ask(one.slug, one.pk) == [(one.pk,)]
    connection.check_constraints()  # those that wait for the transaction's end would hold the table
    with connection.cursor() as cursor:  # as a later release's migration, while this one goes on
        cursor.execute("ALTER TABLE galleries_sitting ADD COLUMN of_later integer DEFAULT 0")
    assert _ask(one.slug, one.pk) == [(one.pk,)]
    assert rows.first(one.pk) == one


def test_postgresql_plans_such_a_question_once_and_keeps_nothing_of_any_other() -> None:
    sitting = make_cast().sitting
    if connection.vendor != "postgresql":  # asked there by tests/services/test_postgresql.py
        assert type(_ask._cursor()) is type(connection.cursor())
        return
    before = prepared()
    for _time in range(8):
        _ask(sitting.slug, sitting.pk)
        list(Sitting.objects.filter(pk=sitting.pk))
    new = [text for text in prepared() if text not in before]
    assert len(new) == 1
    assert new[0].startswith('SELECT "galleries_sitting"."id"')


@pytest.mark.django_db(transaction=True)
def test_a_column_that_changes_its_type_meanwhile_costs_one_connection_and_no_answer() -> None:
    """PostgreSQL's manual, PREPARE and its source: 'cached plan must not change result type' [from memory]."""
    sitting = make_cast().sitting
    rows = CompiledRows(lambda pk: Sitting.objects.filter(pk=pk).order_by(), by_keys=True)
    assert rows.first(sitting.pk) == sitting
    if connection.vendor != "postgresql":
        return
    wide, usual = (f"ALTER TABLE galleries_sitting ALTER COLUMN title TYPE varchar({width})" for width in (199, 120))
    try:
        with connection.cursor() as cursor:
            cursor.execute(wide)
        assert rows.first(sitting.pk) == sitting
        assert connection.close_at == 0
    finally:
        with connection.cursor() as cursor:
            cursor.execute(usual)
        connection.close()
    assert rows.first(sitting.pk) == sitting


def test_postgresql_compiles_no_statement_of_ours() -> None:
    if connection.vendor != "postgresql":
        return
    with connection.cursor() as cursor:
        cursor.execute("SHOW jit")
        assert cursor.fetchone() == ("off",)


def test_a_moment_and_a_value_that_stands_twice_are_put_in_each_time() -> None:
    cast = make_cast()
    noon = datetime(2026, 3, 2, 12, 0, 0, 250_000, tzinfo=UTC)
    frames = [cast.frame(n, captured_at=noon + timedelta(seconds=n)) for n in (1, 2)]
    until = Compiled(lambda at, pk: Frame.objects.filter(captured_at__lte=at, sitting=pk).order_by().values_list("pk"))
    assert until(noon, cast.sitting.pk) == []
    assert until(frames[0].captured_at, cast.sitting.pk) == [(frames[0].pk,)]
    assert len(until(noon + timedelta(days=1), cast.sitting.pk)) == 2
    named = Compiled(lambda word: Frame.objects.filter(Q(camera=word) | Q(name=word)).order_by("pk").values_list("pk"))
    Frame.objects.filter(pk=frames[0].pk).update(camera="Kelvar", name="A.JPG")
    Frame.objects.filter(pk=frames[1].pk).update(camera="", name="Kelvar")
    assert named("Kelvar") == [(frame.pk,) for frame in frames]
    assert named("A.JPG") == [(frames[0].pk,)]


def test_a_row_is_added_with_all_its_columns_and_where_it_is_there_already_nothing_breaks() -> None:
    sitting, add = make_cast().sitting, CompiledInsert(Job, once=True)
    for thing in (1, 2):
        job = Job(kind="proof", thing=thing, sitting=sitting, recipe="r")
        assert add(job)
        usual = Job.objects.create(kind="proof", thing=thing, sitting=sitting, recipe="saved as ever")
        there = Job.objects.get(pk=job.pk)
        differ = {"id", "recipe", "created_at"}
        columns = [field.attname for field in Job._meta.concrete_fields if field.attname not in differ]
        assert [getattr(there, name) for name in columns] == [getattr(usual, name) for name in columns]
        assert (there.recipe, there.created_at) == ("r", job.created_at)
        assert not job._state.adding
    with transaction.atomic():
        again = Job(kind="proof", thing=2, sitting=sitting, recipe="r")
        assert not add(again)
        assert again.pk is None
        assert Job.objects.count() == 4
    with pytest.raises(IntegrityError), transaction.atomic():
        CompiledInsert(Job)(Job(kind="proof", thing=2, sitting=sitting, recipe="r"))


def test_a_row_that_is_there_has_the_columns_that_are_written_and_its_others_as_they_were() -> None:
    cast = make_cast()
    frame, other = cast.frame(1, None), cast.frame(2, None)
    now = datetime(2026, 3, 2, 12, 0, 0, 250_000, tzinfo=UTC)
    marks = [Mark.objects.create(invite=cast.subject, frame=one, kind="pick", acted_at=now) for one in (frame, other)]
    save = CompiledSave(Mark, "kind", "note", "note_for_studio", "by", "acted_at", "revision")
    mark, left = marks
    for by, note, kind in ((cast.representation, "100 % <b>; DROP", "strike"), (None, "", "")):
        mark.by, mark.note, mark.kind, mark.note_for_studio = by, note, kind, bool(note)
        mark.acted_at, mark.revision, mark.act = now + timedelta(days=1), 7, "is not written"
        assert save(mark) == 1
        there = Mark.objects.get(pk=mark.pk)
        written = (there.by, there.note, there.kind, there.note_for_studio, there.acted_at, there.revision)
        assert written == (by, note, kind, bool(note), now + timedelta(days=1), 7)
        assert (there.act, there.frame, there.created_at) == ("", frame, mark.created_at)
    assert Mark.objects.get(pk=left.pk).kind == "pick"
    mark.delete()
    mark.pk = left.pk + 1000
    assert save(mark) == 0
    mark.pk, mark.by_id = left.pk, left.pk + 1000
    with transaction.atomic():
        save(mark)
        with pytest.raises(IntegrityError):
            connection.check_constraints()
        transaction.set_rollback(True)


def _columns(row: Frame | JournalLine, *but: str) -> dict[str, Any]:
    names = [field.attname for field in row._meta.concrete_fields if field.attname not in {"id", *but}]
    return {name: getattr(row, name) for name in names}


def test_a_frame_that_came_in_is_added_as_the_framework_adds_it() -> None:
    noon = datetime(2026, 3, 2, 12, 0, 0, 250_000, tzinfo=UTC)
    usual = make_cast().frame(1, camera="Kelvar", captured_at=noon, reading={"sharp": [1, 2.5]})
    values = _columns(Frame.objects.get(pk=usual.pk), "sha256", "added_at")
    frame = Frame(**values, sha256="f" * 64)
    frame.save()
    there = Frame.objects.get(pk=frame.pk)
    assert _columns(there, "sha256", "added_at") == values
    assert (there.sha256, there.added_at) == ("f" * 64, frame.added_at)
    frame.camera = "Ostra"
    frame.save()  # it is there now: changed, and not added again
    assert set(Frame.objects.values_list("camera", flat=True)) == {"Kelvar", "Ostra"}
    with pytest.raises(IntegrityError), transaction.atomic():
        Frame(**values, sha256="f" * 64).save()


@pytest.mark.parametrize("detail", [{}, {"sha256": "f" * 64, "many": [1, "é", None]}])
def test_a_line_of_the_journal_is_added_as_the_framework_adds_it(detail: dict[str, Any]) -> None:
    sitting = make_cast().sitting
    count = JournalLine.objects.count()
    usual = JournalLine.line(sitting, "Ansa (photographer)", Verb.FRAME_ADDED, "A.JPG", "before", "after", **detail)
    usual.save(force_insert=True)
    line = JournalLine.write(sitting, "Ansa (photographer)", Verb.FRAME_ADDED, "A.JPG", "before", "after", **detail)
    rows = [JournalLine.objects.get(pk=one.pk) for one in (usual, line)]
    assert _columns(rows[0], "at") == _columns(rows[1], "at")
    assert rows[1].at == line.at
    with pytest.raises(TypeError):
        line.save()
    assert JournalLine.objects.count() == count + 2


def test_the_rows_that_were_asked_for_go_and_no_others() -> None:
    one, other = make_cast().sitting, make_cast("elsewhere").sitting
    for sitting in (one, other):
        for name in ("A.JPG", "B.JPG"):
            Refusal.objects.create(sitting=sitting, name=name, reason="", bytes=1)
    forget = CompiledDelete(lambda sitting, name: Refusal.objects.filter(sitting=sitting, name=name).order_by())
    assert [forget(one.pk, "A.JPG"), forget(one.pk, "A.JPG"), forget(one.pk, "%")] == [1, 0, 0]
    assert set(Refusal.objects.values_list("sitting", "name")) == {
        (one.pk, "B.JPG"), (other.pk, "A.JPG"), (other.pk, "B.JPG")
    }  # fmt: skip


def test_part_of_a_row_asks_for_the_rest_when_it_is_read() -> None:
    cast = make_cast()
    make = partial(Sitting, "stage", "pk", "slug")
    with CaptureQueriesContext(connection) as seen:
        sitting = make(("agreeing", cast.sitting.pk, "another", "of no column"))
        assert (sitting.pk, sitting.stage, sitting.slug) == (cast.sitting.pk, "agreeing", "another")
        assert sitting == cast.sitting
    assert not len(seen)
    with CaptureQueriesContext(connection) as seen:
        assert sitting.title == cast.sitting.title
    assert len(seen) == 1
    assert partial(Invite, "pk", "role")((5, "subject")).role == "subject"


def test_a_name_that_is_no_column_is_named() -> None:
    with pytest.raises(ValueError, match="'proofs'"):
        partial(Frame, "pk", "proofs")
