"""What is kept from the representation stays kept, whatever the program or the photographer does to looks later."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from galleries.access import frames_shown_to
from galleries.models import Frame, Job, Look, Sitting, Studio
from galleries.steps.people import invite as invites
from galleries.steps.people import letters, posting
from galleries.steps.picking.kept import keep_look
from galleries.steps.planning import sitting_plan
from galleries.steps.sorting import looks, sort, take_back
from tests.cast import Cast, make_cast
from tests.web.invitee.sheets import proved

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    return make_cast()


def seen(cast: Cast) -> list[int | None]:
    return [frame.number for frame in frames_shown_to(cast.as_representation, cast.sitting).order_by("number")]


@pytest.mark.parametrize("field", ["hidden", "kept_from_representation"])
def test_both_halves_of_a_kept_look_stay_kept(cast: Cast, field: str) -> None:
    look = cast.look(**{field: True})
    frames = [cast.frame(number, look) for number in (1, 2, 3)]
    looks.split(frames[1], "Second half", cast.as_owner)
    assert seen(cast) == []


def test_the_program_does_not_move_frames_out_of_a_kept_look(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    from galleries.sorting.looks import LookProposal

    Sitting.objects.update(subject_chooses_looks=True)
    cast.sitting.refresh_from_db()
    shown, kept = cast.look("Look 1", made_by_program=True), cast.look("Look 2", made_by_program=True)
    one, two = cast.frame(1, shown), cast.frame(2, kept)
    keep_look(cast.as_subject, kept)
    assert seen(cast) == [1]
    # Frames that come in later make the program see one look where it saw two.
    together = LookProposal.__new__(LookProposal)
    from types import SimpleNamespace

    group = SimpleNamespace(frames=(str(one.pk), str(two.pk)), monochrome=False)
    for name, value in (("looks", (group,)), ("boundaries", ())):
        object.__setattr__(together, name, value)
    monkeypatch.setattr(sort, "proposal", lambda sitting: together)
    sort.place(cast.sitting)
    assert 2 not in seen(cast)
    assert Look.objects.get(pk=kept.pk).kept_from_representation


def test_hiding_a_look_holds_its_frames_together(cast: Cast) -> None:
    look = cast.look()
    frame = cast.frame(1, look)
    looks.edit_look(look, cast.as_owner, hidden=True)
    assert Frame.objects.get(pk=frame.pk).placed_by_hand


def test_a_rename_does_not_undo_what_the_subject_kept_back_meanwhile(cast: Cast) -> None:
    look = cast.look()
    stale = Look.objects.get(pk=look.pk)
    Look.objects.filter(pk=look.pk).update(kept_from_representation=True)
    looks.edit_look(stale, cast.as_owner, title="Renamed")
    assert Look.objects.get(pk=look.pk).kept_from_representation


def test_the_talk_about_a_kept_look_is_nobody_elses_after_it_is_gone(cast: Cast) -> None:
    first, second = cast.look("One", kept_from_representation=True), cast.look("Two", kept_from_representation=True)
    sitting_plan.comment(cast.as_subject, cast.sitting, "only for us", look=first)
    sitting_plan.comment(cast.as_subject, cast.sitting, "this too", look=second)
    cast.frame(1, first)
    looks.merge(first, second, cast.as_owner)
    Frame.objects.update(look=None)
    looks.remove_look(second, cast.as_owner)
    page = cast.client_of(cast.representation).get(f"/s/{cast.sitting.slug}/plan").content.decode()
    assert "only for us" not in page
    assert "this too" not in page


def test_taking_back_a_move_does_not_put_a_frame_where_everybody_sees_it(cast: Cast) -> None:
    kept, other = (cast.look(title, kept_from_representation=True) for title in ("One", "Two"))
    frame = proved(cast, 1, kept)
    looks.move_frames(cast.sitting, [frame.pk], other, cast.as_owner)
    looks.remove_look(kept, cast.as_owner)
    take_back.undo(cast.sitting, cast.as_owner)
    assert seen(cast) == []


def test_letter_hours_over_midnight_and_letters_to_nobody(cast: Cast) -> None:
    Studio.objects.update(letters_from=18, letters_until=2)
    at = {hour: posting.is_quiet(cast.sitting, datetime(2026, 1, 10, hour, tzinfo=UTC)) for hour in (1, 2, 12, 17, 18)}
    assert at == {1: False, 2: True, 12: True, 17: True, 18: False}  # London keeps UTC in January
    Studio.objects.update(letters_from=0, letters_until=24)
    letters.notify(cast.sitting, "proofs", [cast.subject])
    Job.objects.update(state="done")
    invites.revoke(cast.subject, cast.as_owner)
    posting.send_due()
    assert not Job.objects.filter(state="waiting").exists()
