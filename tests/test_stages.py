"""Stages: only along the table, only from the state that was seen, always with a line in the journal."""

from __future__ import annotations

import itertools

import pytest

from galleries import stages
from galleries.errors import Conflict
from galleries.models import JournalLine, Sitting, Verb
from tests.cast import make_cast

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(("before", "after"), list(itertools.product(Sitting.Stage.values, repeat=2)))
def test_a_sitting_moves_along_the_table_only(before, after):
    cast = make_cast(stage=before)
    if after in stages.SITTING[before]:
        stages.advance(cast.sitting, after, cast.as_owner)
        line = JournalLine.objects.get()
        assert (line.before, line.after, line.who) == (before, after, "Tamsin (photographer)")
    else:
        with pytest.raises(Conflict, match="cannot go from"):
            stages.advance(cast.sitting, after, cast.as_owner)
        assert not JournalLine.objects.exists()


def test_what_two_windows_asked_for_is_told_as_done():
    cast = make_cast(stage="delivered")
    licence = cast.sitting.licences.create(number=1, terms={}, text="")
    made = cast.sitting.deliveries.create(number=1, licence=licence, sizes={}, state="ready")
    stages.move_delivery(made, "withdrawn", cast.as_owner, verb=Verb.DELIVERY_WITHDRAWN)
    with pytest.raises(Conflict, match="This delivery is “withdrawn” already"):
        stages.move_delivery(made, "withdrawn", cast.as_owner, verb=Verb.DELIVERY_WITHDRAWN)
    with pytest.raises(Conflict, match="cannot go from “withdrawn”"):
        stages.move_delivery(made, "made", cast.as_owner, verb=Verb.DELIVERY_READY)


def test_two_who_move_it_at_once_do_not_both_succeed():
    cast = make_cast()
    stale = Sitting.objects.get(pk=cast.sitting.pk)
    stages.advance(cast.sitting, "agreeing", cast.as_owner)
    with pytest.raises(Conflict, match="same moment"):
        stages.advance(stale, "finishing", cast.as_owner)
    assert JournalLine.objects.count() == 1


def test_the_journal_is_only_added_to():
    cast = make_cast()
    line = JournalLine.write(cast.sitting, "somebody", Verb.STAGE, "a thing")
    line.verb = "undid"
    for act in (line.save, line.delete, JournalLine.objects.all().delete, lambda: JournalLine.objects.update(who="")):
        with pytest.raises(TypeError, match="only added to"):
            act()


def test_every_stage_is_in_the_table_and_can_be_left():
    assert set(stages.SITTING) == set(Sitting.Stage.values)
    assert all(stages.SITTING.values())
