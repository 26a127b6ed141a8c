"""`may`, by table: every act, every kind of person, every stage."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from galleries import access
from galleries.access import INVITEES, Act, Visitor, may
from galleries.errors import Missing, Refused
from galleries.models import Invite, Mark, Sitting
from tests.cast import make_cast

pytestmark = pytest.mark.django_db

Stage = Sitting.Stage
OWN_WORD = {
    Act.LET_GO,
    Act.OBJECT,
    Act.ASK_USE,
    Act.RUN_STUDIO,
    Act.MARK,
    Act.PASS_ON,
    Act.CHOOSE_LOOKS,
    Act.ACCEPT_LICENCE,
    Act.ACCEPT_TERMS,
    Act.ASK_OPINION,
    Act.KEEP_OPINION,
    Act.SEE_OPINIONS,
    Act.GIVE_OPINION,
}


@pytest.mark.parametrize("stage", Stage.values)
def test_strangers_may_nothing(stage):
    cast = make_cast(stage=stage)
    other = make_cast(slug="another")
    for act in Act:
        for visitor in (
            Visitor(),
            Visitor(user=cast.stranger),
            Visitor(user=cast.colleague),
            other.as_subject,
            other.as_representation,
            other.as_owner,
        ):
            assert not may(visitor, act, Sitting.objects.get(pk=cast.sitting.pk)), act


def test_the_photographer_runs_everything_but_the_word_of_others():
    cast = make_cast()
    for act in Act:
        if act is not Act.KEEP_ACCOUNT:  # that one is no sitting's
            sitting = Sitting.objects.get(pk=cast.sitting.pk)
            assert may(cast.as_owner, act, sitting) is (act not in OWN_WORD), act


def test_a_colleague_let_in_runs_the_sitting_and_an_inactive_one_does_not():
    cast = make_cast()
    cast.sitting.colleagues.add(cast.colleague)
    assert may(Visitor(user=cast.colleague), Act.RUN, cast.sitting)
    cast.colleague.is_active = False
    assert not may(Visitor(user=cast.colleague), Act.RUN, cast.sitting)


@pytest.mark.parametrize("stage", Stage.values)
@pytest.mark.parametrize("role", Invite.Role.values)
def test_invitees_by_role_and_stage(role, stage):
    cast = make_cast(stage=stage)
    Sitting.objects.update(subject_chooses_looks=True, representation_approves=True)
    cast.sitting.refresh_from_db()
    invite = Invite.objects.create(
        sitting=cast.sitting,
        role=role,
        name="Ines Maro",
        email="ines@maro.example",
        may_pass_on=True,
        expires_at=timezone.now() + timedelta(days=1),
    )
    cast.accept_terms(invite)
    for act in Act:
        roles, stages = INVITEES.get(act, (frozenset(), frozenset()))
        if act in {
            Act.APPROVE,
            Act.PIN_NOTE,
            Act.FETCH_ORIGINALS,
            Act.SEND_VERSION,
        }:  # after a delivery only while a final of the list is open: here is none
            stages -= {Stage.DELIVERED}
        if act is Act.OBJECT:  # only while there is time to: here is none
            stages = frozenset()
        visitor = Visitor(invite=Invite.objects.get(pk=invite.pk))  # nothing is remembered from the act before
        allowed = may(visitor, act, Sitting.objects.get(pk=cast.sitting.pk))
        assert allowed is (role in roles and stage in stages), act


def test_nothing_of_the_studio_is_open_to_invitees():
    assert {Act.RUN, Act.SEE_ORIGINAL, Act.REOPEN_LIST}.isdisjoint(INVITEES)


def test_a_revoked_or_expired_invite_opens_nothing_at_the_next_request():
    cast = make_cast()
    assert may(cast.as_subject, Act.SEE_SHEET, cast.sitting)
    cast.subject.revoked_at = timezone.now()
    assert not may(cast.as_subject, Act.SEE_SHEET, cast.sitting)
    cast.subject.revoked_at = None
    cast.subject.expires_at = timezone.now() - timedelta(seconds=1)
    assert not may(cast.as_subject, Act.SEE_SHEET, cast.sitting)


def test_an_invite_passed_on_falls_with_the_one_it_came_from():
    cast = make_cast()
    passed = Invite.objects.create(
        sitting=cast.sitting,
        role="representation",
        name="Pia Sorn",
        email="pia@achterberg.example",
        expires_at=cast.representation.expires_at,
        passed_from=cast.representation,
    )
    assert may(Visitor(invite=passed), Act.MARK, cast.sitting)
    cast.representation.revoked_at = timezone.now()
    cast.representation.save()
    passed.refresh_from_db()
    assert not may(Visitor(invite=passed), Act.MARK, cast.sitting)


def test_hidden_frames_and_looks_are_not_there_for_invitees():
    cast = make_cast()
    shown, hidden_look = cast.look(), cast.look("Spare", hidden=True)
    plain, hidden, in_hidden = (
        cast.frame(1, shown),
        cast.frame(2, shown, hidden=True),
        cast.frame(3, hidden_look),
    )
    for visitor in (cast.as_subject, cast.as_representation):
        assert may(visitor, Act.SEE_FRAME, plain)
        for frame in (hidden, in_hidden):
            assert not may(visitor, Act.SEE_FRAME, frame)
            with pytest.raises(Missing):
                access.frame_for(visitor, Act.SEE_FRAME, frame.pk)
            with pytest.raises(Missing):
                access.frame_for(visitor, Act.MARK, frame.pk)
    assert may(cast.as_owner, Act.SEE_FRAME, hidden)


def test_a_look_kept_from_the_representation_is_seen_by_the_subject_only():
    cast = make_cast()
    frame = cast.frame(1, cast.look(kept_from_representation=True))
    assert may(cast.as_subject, Act.SEE_FRAME, frame)
    assert not may(cast.as_representation, Act.SEE_FRAME, frame)


def test_the_subjects_strike_hides_a_frame_only_where_allowed():
    cast = make_cast()
    frame = cast.frame(1)
    Mark.objects.create(invite=cast.subject, frame=frame, kind="strike", acted_at=timezone.now())
    assert may(cast.as_representation, Act.SEE_FRAME, frame)
    cast.sitting.strikes_hide = True
    cast.sitting.save()
    frame.refresh_from_db()
    assert not may(cast.as_representation, Act.SEE_FRAME, frame)
    assert may(cast.as_subject, Act.SEE_FRAME, frame)


def test_the_sheets_of_many_sittings_at_once_keep_each_sittings_own_rules():
    """What `frames_of_sheets` holds for all sittings is what each sitting shows, and nobody's goes to another."""
    strict, mild = make_cast("strict"), make_cast("mild")
    Sitting.objects.filter(pk=strict.sitting.pk).update(strikes_hide=True)
    shown: dict[str, dict[int, set[int]]] = {"subject": {}, "representation": {}}
    for cast in (strict, mild):
        cast.sitting.refresh_from_db()
        plain, loose, hidden, in_hidden, kept, in_kept, struck, agents_strike = (
            cast.frame(1, cast.look()),
            cast.frame(2),
            cast.frame(3, hidden=True),
            cast.frame(4, cast.look("Spare", hidden=True)),
            cast.frame(5, kept_by_subject=True),
            cast.frame(6, cast.look("Bare", kept_from_representation=True)),
            cast.frame(7),
            cast.frame(8),
        )
        now = timezone.now()
        Mark.objects.create(invite=cast.subject, frame=struck, kind="strike", acted_at=now)
        Mark.objects.create(invite=cast.representation, frame=agents_strike, kind="strike", acted_at=now)
        both = {plain.pk, loose.pk, agents_strike.pk}
        shown["subject"][cast.sitting.pk] = both | {kept.pk, in_kept.pk, struck.pk}
        shown["representation"][cast.sitting.pk] = both if cast is strict else both | {struck.pk}
        assert not {hidden.pk, in_hidden.pk} & shown["subject"][cast.sitting.pk]
    for side, sittings in shown.items():
        of_all = access.frames_of_sheets(side == "subject").order_by()
        assert set(of_all.values_list("pk", flat=True)) == set().union(*sittings.values())
        for cast, other in ((strict, mild), (mild, strict)):
            visitor = Visitor(invite=getattr(cast, side))
            theirs = access.frames_shown_to(visitor, cast.sitting)
            assert set(theirs.values_list("pk", flat=True)) == sittings[cast.sitting.pk]
            for nobody in (visitor, Visitor(), Visitor(user=other.stranger), Visitor(user=cast.owner)):
                assert not access.frames_shown_to(nobody, other.sitting).exists()


def test_who_knows_the_thing_is_told_why_and_who_does_not_is_told_nothing():
    cast = make_cast(stage=Stage.FINISHING)
    frame = cast.frame(1)
    with pytest.raises(Refused, match="list is closed"):
        access.frame_for(cast.as_subject, Act.MARK, frame.pk)
    with pytest.raises(Missing):
        access.frame_for(make_cast("another").as_subject, Act.MARK, frame.pk)
    with pytest.raises(Missing):
        access.frame_for(cast.as_subject, Act.SEE_ORIGINAL, frame.pk)
    Sitting.objects.update(stage=Stage.ARCHIVED)
    with pytest.raises(Refused, match="archived"):
        access.sitting_for(cast.as_subject, Act.SEE_SHEET, cast.sitting.slug)
