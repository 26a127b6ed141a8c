"""The rules inside a mark, one by one: whose intent is the latest, what a note may lose, what a device may send."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.utils import timezone

from galleries.access import Visitor
from galleries.errors import BadInput, Conflict, DomainError, Missing, Refused
from galleries.models import Invite, JournalLine, Look, Mark, Remark, Sitting, Standing
from galleries.steps.picking import intents, kept, pick
from tests.cast import Cast, make_cast

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)


@pytest.fixture
def cast(db: None) -> Cast:
    return make_cast()


def said(kind: str | None = None, note: str | None = None, seen: int | None = None, studio: bool | None = None,
         act: str = "a", at: datetime | None = None) -> intents.Intent:  # fmt: skip
    return intents.Intent(1, kind, note, act, at, seen, studio)


def standing(kind: str = "pick", note: str = "", studio: bool = False, revision: int = 3) -> Mark:
    return Mark(kind=kind, note=note, note_for_studio=studio, revision=revision, acted_at=NOON, act="before")


# (what stands, what is said, when) -> (changed?, kind, note, for the studio alone?); None: a note would be lost
MERGES: list[tuple[Mark, intents.Intent, timedelta, tuple[bool | None, str, str, bool]]] = [
    (standing(), said("strike"), HOUR, (True, "strike", "", False)),
    (standing(), said("strike"), -HOUR, (False, "pick", "", False)),  # older than what stands
    (standing(), said("strike"), 0 * HOUR, (True, "strike", "", False)),  # the same moment: the one that comes later
    (standing(), said("pick"), 0 * HOUR, (False, "pick", "", False)),  # the same said again
    (standing(), said("pick"), HOUR, (True, "pick", "", False)),  # said anew: it counts from then
    (standing(), said(""), HOUR, (True, "", "", False)),
    (standing(), said(note="softer", seen=3), -HOUR, (True, "pick", "softer", False)),  # a note's time is not asked
    (standing(note="jaw"), said(note="softer", seen=3), HOUR, (True, "pick", "softer", False)),
    (standing(note="jaw"), said(note="softer", seen=2), HOUR, (None, "pick", "jaw", False)),
    (standing(note="jaw"), said(note="softer", seen=4), HOUR, (None, "pick", "jaw", False)),
    (standing(note="jaw"), said(note="softer"), HOUR, (True, "pick", "softer", False)),  # a page that counts nothing
    (standing(note="jaw"), said(note="jaw", seen=1), HOUR, (False, "pick", "jaw", False)),
    (standing(), said(note="softer", seen=1), HOUR, (True, "pick", "softer", False)),  # nothing there to be lost
    (standing(note="jaw"), said(note="", seen=2), HOUR, (None, "pick", "jaw", False)),
    (standing(note="jaw", studio=True), said(note="", seen=3), HOUR, (True, "pick", "", False)),
    (standing(note="jaw"), said(note="jaw", seen=1, studio=True), HOUR, (True, "pick", "jaw", True)),  # fewer readers
    (standing(note="jaw", studio=True), said(note="jaw", seen=1, studio=False), HOUR, (False, "pick", "jaw", True)),
    (standing(note="jaw", studio=True), said(note="jaw", seen=3, studio=False), HOUR, (True, "pick", "jaw", False)),
    (standing(note="jaw", studio=True), said(note="jaw", studio=False), HOUR, (True, "pick", "jaw", False)),
    (
        standing(note="jaw"),
        said("strike", studio=True),
        HOUR,
        (True, "strike", "jaw", False),
    ),  # without a note, as it is
    (standing(note="jaw", studio=True), said("strike"), HOUR, (True, "strike", "jaw", True)),
    (standing(studio=True), said("strike"), HOUR, (True, "strike", "", False)),
    (standing(note="jaw"), said("strike", note="softer", seen=1), HOUR, (None, "strike", "jaw", False)),
]


@pytest.mark.parametrize(("mark", "one", "after", "wanted"), MERGES)
def test_what_becomes_of_an_act_on_what_stands_there(
    mark: Mark, one: intents.Intent, after: timedelta, wanted: tuple[bool | None, str, str, bool]
) -> None:
    mark = Mark(**{name: getattr(mark, name) for name in ("kind", "note", "note_for_studio", "revision", "acted_at")})
    changed = intents._merge(mark, one, NOON + after)
    assert (changed, mark.kind, mark.note, mark.note_for_studio) == wanted
    assert mark.acted_at == (NOON + after if one.kind is not None and after >= 0 * HOUR else NOON)


@pytest.mark.parametrize(
    ("acted", "now", "last", "wanted"),
    [
        (None, 1, 0, 1), (None, 0, 1, 1),  # without a device's time: after all else, whatever the server's clock says
        (1, 2, 0, 1), (3, 2, 0, 2), (3, 2, 5, 3), (6, 2, 5, 5), (-9, 2, 5, -9),
    ],
)  # fmt: skip
def test_an_act_counts_from_its_devices_time_but_never_from_the_future(
    acted: int | None, now: int, last: int, wanted: int
) -> None:
    at = None if acted is None else NOON + acted * HOUR
    assert intents._counts_from(at, NOON + now * HOUR, NOON + last * HOUR) == NOON + wanted * HOUR


@pytest.mark.parametrize(("seen", "kind"), [(3, "strike"), (4, "strike"), (2, "pick"), (None, "pick")])
def test_an_act_in_sight_of_what_stands_is_the_later_one_whatever_its_clock(seen: int | None, kind: str) -> None:
    mark = standing()
    changed = intents.put(mark, said("strike", seen=seen, at=NOON - HOUR), None, NOON + HOUR)  # type: ignore[arg-type]
    assert (changed, mark.kind) == (kind == "strike", kind)


def test_an_act_is_known_by_its_own_name_and_one_without_a_name_never(cast: Cast) -> None:
    mark = standing()
    assert intents.put(mark, said("strike", act="before", at=NOON + HOUR), cast.frame(1), NOON + 2 * HOUR) is False
    assert mark.kind == "pick"
    mark.act = ""
    assert intents.put(mark, said("strike", act="", at=NOON + HOUR), cast.frame(2), NOON + 2 * HOUR) is True


@pytest.mark.parametrize(
    ("one", "wanted"),
    [
        (said("pick", at=NOON), ("pick", "", False, NOON)),
        (said("pick", at=NOON + 9 * HOUR), ("pick", "", False, NOON + HOUR)),
        (said("pick"), ("pick", "", False, NOON + HOUR)),
        (said(note="jaw", studio=True, at=NOON), ("", "jaw", True, None)),  # None: from when the frame came in
        (said("pick", studio=True, at=NOON), ("pick", "", False, NOON)),
    ],
)
def test_a_first_note_leaves_every_later_mark_the_latest(
    cast: Cast, one: intents.Intent, wanted: tuple[str, str, bool, datetime | None]
) -> None:
    frame, mark = cast.frame(1), Mark(revision=0)
    assert intents.put(mark, one, frame, NOON + HOUR) is True
    assert (mark.kind, mark.note, mark.note_for_studio) == wanted[:3]
    assert mark.acted_at == (wanted[3] or frame.added_at)


# What a device sends


@pytest.mark.parametrize(
    ("item", "wanted"),
    [
        ({"frame": 7, "kind": "pick", "at": "2026-05-04T12:00:00Z", "seen": 2}, said("pick", seen=2, at=NOON)),
        ({"frame": "7", "note": 12, "seen": "2"}, said(note="12", seen=2)),
        ({"frame": 7, "kind": "", "note": "", "for_studio": 0}, said("", "", studio=False)),
        ({"frame": 7, "note": "a\0b\ud83d", "for_studio": True}, said(note="ab?", studio=True)),  # half of an emoji
        ({"frame": 7, "at": "2026-05-04T14:00:00+02:00"}, said(at=NOON)),
    ],
)
def test_an_act_is_read_as_the_database_can_keep_it(item: dict[str, Any], wanted: intents.Intent) -> None:
    assert intents.read(item, "a") == intents.Intent(7, *list(wanted.__dict__.values())[1:])


@pytest.mark.parametrize(
    "item",
    [{}, {"frame": None}, {"frame": 1.5}, {"frame": "x"}, {"frame": 7, "seen": "x"}, {"frame": 7, "at": "yesterday"},
     {"frame": 7, "at": "2026-05-04T12:00:00"}, {"frame": 7, "at": "2026-02-30T12:00:00Z"}, {"frame": 7, "at": 5},
     {"frame": 7, "at": "0001-01-01T00:00:00+14:00"}, {"frame": 7, "at": "9999-12-31T23:59:59-14:00"}],
)  # fmt: skip
def test_what_is_no_act_is_told_so_and_no_fault(item: dict[str, Any]) -> None:
    assert isinstance(intents.read(item, "a"), BadInput)


@pytest.mark.parametrize(
    ("one", "subject", "fine"),
    [
        (said("star"), True, False), (said(""), True, True), (said(None), True, True),
        (said(note="x" * 1000), True, True), (said(note="x" * 1001), True, False),
        (said(note="x", studio=True), True, True), (said(note="x", studio=True), False, False),
        (said(note="x", studio=False), False, True),
    ],
)  # fmt: skip
def test_what_may_be_said_of_a_frame(one: intents.Intent, subject: bool, fine: bool) -> None:
    by = Invite(role="subject" if subject else "representation")
    if fine:
        intents.check(one, by)
    else:
        with pytest.raises(BadInput):
            intents.check(one, by)


def test_a_mark_stands_with_who_gave_it_and_its_line_says_what_it_is_now(cast: Cast) -> None:
    frame = cast.frame(412)
    other, change = make_cast("beside"), cast.sitting.change
    answer = pick.set_mark(cast.as_subject, frame.pk, kind="pick", note="jaw", act="x" * 40, for_studio=True)
    assert answer.as_dict() == {
        "frame": frame.pk, "kind": "pick", "note": "jaw", "revision": 1, "for_studio": True, "conflict": False
    }  # fmt: skip
    pick.set_mark(cast.as_subject, frame.pk, kind="")
    mark = Mark.objects.get()
    assert (mark.invite, mark.by, mark.kind, mark.revision) == (cast.subject, cast.subject, "", 2)
    lines = JournalLine.objects.order_by("pk")
    assert [(line.who, line.thing, line.after, line.detail) for line in lines] == [
        (cast.as_subject.who, "frame 0412", after, {"frame": frame.pk}) for after in ("pick", "no mark")
    ]
    assert Sitting.objects.get(pk=cast.sitting.pk).change == change + 2
    assert Sitting.objects.get(pk=other.sitting.pk).change == 0


def test_a_mark_of_whoever_shares_a_list_says_that_it_is_not_done_after_all(cast: Cast) -> None:
    """The list is one, so that being through with it is one too."""
    frame = cast.frame(1)
    partner = cast.sitting.invites.create(
        role="representation", name="Pia Sorn", email="pia@achterberg.example", passed_from=cast.representation,
        expires_at=cast.representation.expires_at,
    )  # fmt: skip
    Invite.objects.filter(pk=cast.subject.pk).update(picks_done_at=NOON)
    for first, second in ((cast.representation, partner), (partner, cast.representation)):
        by, then = (Visitor(invite=Invite.objects.get(pk=one.pk)) for one in (first, second))
        pick.say_done(by, cast.sitting)
        assert Invite.objects.get(pk=cast.representation.pk).picks_done_at is not None
        pick.set_mark(Visitor(invite=Invite.objects.get(pk=then.invite.pk)), frame.pk, kind="pick")  # type: ignore[union-attr]
        assert Invite.objects.get(pk=cast.representation.pk).picks_done_at is None
    assert Mark.objects.get().by == cast.representation
    assert Invite.objects.get(pk=cast.subject.pk).picks_done_at == NOON


# Ranking, talking, counting, being through


@pytest.mark.parametrize("count", [5000, 5001])
def test_a_ranking_holds_five_thousand_frames(cast: Cast, count: int) -> None:
    with pytest.raises(BadInput, match="5000" if count > 5000 else "not on your sheet"):
        pick.set_order(cast.as_subject, cast.sitting, range(10**6, 10**6 + count))


def test_a_ranking_is_a_persons_own_and_keeps_what_is_kept_from_them_since(cast: Cast) -> None:
    one, two, three = (cast.frame(number) for number in (1, 2, 3))
    pick.set_order(cast.as_subject, cast.sitting, [three.pk])
    pick.set_order(cast.as_representation, cast.sitting, [one.pk, two.pk])
    two.kept_by_subject = True
    two.save()
    pick.set_order(cast.as_representation, cast.sitting, [two.pk, three.pk])
    rows = Standing.objects.order_by("invite", "place").values_list("invite", "frame", "place")
    assert list(rows) == [
        (cast.subject.pk, three.pk, 1), (cast.representation.pk, two.pk, 1), (cast.representation.pk, three.pk, 2)
    ]  # fmt: skip
    pick.set_order(cast.as_representation, cast.sitting, [three.pk])
    with pytest.raises(BadInput, match="not on your sheet"):
        pick.set_order(cast.as_representation, cast.sitting, [two.pk])
    line = JournalLine.objects.order_by("pk").last()
    assert line is not None
    assert (line.verb, line.thing, line.detail) == ("ranked", "1 frames", {"order": [three.pk]})
    foreign = make_cast("beside").frame(9)
    with pytest.raises(BadInput):
        pick.set_order(cast.as_subject, cast.sitting, [one.pk, foreign.pk])
    for by in (cast.as_owner, cast.as_recipient):
        with pytest.raises(Refused):
            pick.set_order(by, cast.sitting, [one.pk])


def test_a_remark_is_cut_to_its_length_and_nothing_is_no_remark(cast: Cast) -> None:
    frame = cast.frame(412)
    remark = pick.remark(cast.as_representation, frame.pk, f"  {'a' * 1001}\n")
    assert (remark.text, remark.who, remark.invite) == ("a" * 1000, "Ruben Achterberg", cast.representation)
    assert pick.remark(cast.as_owner, frame.pk, "b").invite is None
    assert list(JournalLine.objects.values_list("thing", flat=True)) == ["frame 0412"] * 2
    for text in ("", " \n"):
        with pytest.raises(BadInput):
            pick.remark(cast.as_owner, frame.pk, text)
    with pytest.raises(Missing):
        pick.remark(cast.as_representation, cast.frame(2, hidden=True).pk, "x")
    assert Remark.objects.count() == 2


@pytest.mark.parametrize(("picks", "over", "left"), [(0, 0, 3), (2, 0, 1), (3, 0, 0), (5, 2, 0)])
def test_what_is_left_of_the_allowance(picks: int, over: int, left: int) -> None:
    count = pick.counted(3, [("pick", 7)] * picks + [("alternate", 7), ("strike", None), ("", 7)])
    assert (count.picks, count.over, count.left, count.alternates, count.strikes) == (picks, over, left, 1, 1)
    assert count.per_look == ({7: picks} if picks else {})


def test_a_pick_on_a_frame_that_is_not_shown_any_more_is_not_counted(cast: Cast) -> None:
    look = cast.look()
    frames = [cast.frame(number, look) for number in (1, 2, 3)]
    for frame in frames:
        pick.set_mark(cast.as_subject, frame.pk, kind="pick")
        pick.set_mark(cast.as_representation, frame.pk, kind="pick")
    frames[0].hidden = True
    frames[0].save()
    frames[1].kept_by_subject = True
    frames[1].save()
    assert pick.count(cast.as_subject, cast.sitting).per_look == {look.pk: 2}
    assert pick.count(cast.as_representation, cast.sitting).picks == 1
    assert pick.count(cast.as_owner, cast.sitting) == pick.Count(3, 0, 0, 0, {})


@pytest.mark.parametrize("stage", ["proofing", "agreeing"])
@pytest.mark.parametrize("role", ["subject", "representation"])
def test_who_is_through_and_who_hears_of_it(cast: Cast, stage: str, role: str) -> None:
    Sitting.objects.filter(pk=cast.sitting.pk).update(stage=stage)
    cast.sitting.refresh_from_db()
    other = make_cast("beside")
    person: Invite = getattr(cast, role)
    pick.say_done(Visitor(invite=person), cast.sitting)
    done = [invite.pk for invite in Invite.objects.exclude(picks_done_at=None)]
    assert done == [person.pk]
    is_subject = role == "subject"
    assert Sitting.objects.get(pk=cast.sitting.pk).stage == ("agreeing" if is_subject else stage)
    letters = {(letter.kind, letter.invite, letter.about) for letter in cast.sitting.letters.all()}
    about = f"subject-{cast.subject.pk}"
    assert letters == ({("through", cast.representation, about), ("through", None, about)} if is_subject else set())
    assert not other.sitting.letters.exists()
    with pytest.raises(Refused, match="nothing to finish"):
        pick.say_done(cast.as_owner, cast.sitting)


# What is kept back


def test_a_look_is_kept_with_all_its_frames_and_nothing_beside_it(cast: Cast) -> None:
    Sitting.objects.filter(pk=cast.sitting.pk).update(subject_chooses_looks=True)
    cast.sitting.refresh_from_db()
    look, other = cast.look("Bare", made_by_program=True), cast.look("Wool", made_by_program=True)
    look.sitting = other.sitting = cast.sitting
    frame, beside = cast.frame(1, look), cast.frame(2, other)
    kept.keep_look(cast.as_subject, look)
    for row in (frame, beside):
        row.refresh_from_db()
    assert (look.kept_from_representation, look.kept_by_subject, look.made_by_program) == (True, True, False)
    assert (frame.kept_by_subject, frame.placed_by_hand) == (True, True)
    other.refresh_from_db()
    assert (other.kept_from_representation, other.kept_by_subject, other.made_by_program) == (False, False, True)
    assert (beside.kept_by_subject, beside.placed_by_hand) == (False, False)
    gone = kept.let_go(cast.as_subject, cast.sitting, [frame.pk, frame.pk], look)
    assert gone == [frame]
    line = JournalLine.objects.order_by("pk").last()
    assert line is not None
    assert (line.verb, line.thing, line.detail) == ("look shown", "Bare", {"frames": ["KAL_0001.JPG"]})


def test_what_is_held_is_what_the_subject_can_see_and_may_show(cast: Cast) -> None:
    shown, theirs = cast.look("Open"), cast.look("The photographer's", kept_from_representation=True)
    cast.look("Empty")
    for frame in (cast.frame(1, shown, kept_by_subject=True), cast.frame(2, theirs), cast.frame(3, shown)):
        frame.proofs.create(
            recipe="r", large_key="l", small_key="s", large_width=4, large_height=6, small_width=2, small_height=3
        )
    cast.frame(4, shown, kept_by_subject=True)  # its proof is still being made
    rows = kept.held(cast.as_subject, cast.sitting)
    assert [(row.look, row.whole, [frame.number for frame in row.frames]) for row in rows] == [(shown, False, [1])]


@pytest.mark.parametrize("number", [0, -1, 2**63, 2**64])
def test_a_number_that_no_frame_can_have_is_no_frame(cast: Cast, number: int) -> None:
    (answer,) = pick.take_acts(cast.as_subject, [{"frame": number, "kind": "pick", "act": "1"}])
    assert answer["kind_of_error"] == "Missing"


def test_letting_go_of_one_look_leaves_the_others_and_their_frames_kept(cast: Cast) -> None:
    one, two = (cast.look(title, kept_from_representation=True, kept_by_subject=True) for title in ("One", "Two"))
    mine, late, theirs = cast.frame(1, one), cast.frame(2, one), cast.frame(3, two)
    Look.objects.filter(pk=one.pk).update(kept_from_representation=True)
    cast.sitting.frames.filter(pk=late.pk).update(kept_by_subject=False)  # came in before frames kept it themselves
    kept.let_go(cast.as_subject, cast.sitting, [mine.pk], one)
    rows = {look.title: (look.kept_from_representation, look.kept_by_subject) for look in cast.sitting.looks.all()}
    assert rows == {"One": (False, False), "Two": (True, True)}
    held = set(cast.sitting.frames.filter(kept_by_subject=True).values_list("pk", flat=True))
    assert held == {late.pk, theirs.pk}


@pytest.mark.parametrize("wrong", ["nothing", "open", "foreign", "hidden"])
def test_what_is_not_kept_back_is_not_let_go_and_nothing_with_it(cast: Cast, wrong: str) -> None:
    mine = cast.frame(1, kept_by_subject=True)
    ids = {
        "nothing": [], "open": [mine.pk, cast.frame(2).pk],
        "foreign": [mine.pk, make_cast("beside").frame(3, kept_by_subject=True).pk],
        "hidden": [mine.pk, cast.frame(4, kept_by_subject=True, hidden=True).pk],
    }[wrong]  # fmt: skip
    with pytest.raises(BadInput, match="has changed meanwhile"):
        kept.let_go(cast.as_subject, cast.sitting, ids)
    mine.refresh_from_db()
    assert mine.kept_by_subject
    assert not JournalLine.objects.exists()


def test_who_would_see_what_is_let_go_is_everybody_else_whose_invite_holds(cast: Cast) -> None:
    late = cast.sitting.invites.create(
        role="assistant", name="Mirre Solland", email="m@solland.example", expires_at=timezone.now() - HOUR
    )
    make_cast("beside")
    assert kept.who_would_see(cast.sitting) == [cast.recipient, cast.representation]
    Invite.objects.filter(pk=late.pk).update(expires_at=timezone.now() + HOUR)
    assert late in kept.who_would_see(cast.sitting)


@pytest.mark.parametrize("error", [Conflict, Refused, Missing])
def test_an_error_of_one_act_is_told_by_its_kind(
    cast: Cast, monkeypatch: pytest.MonkeyPatch, error: type[DomainError]
) -> None:
    monkeypatch.setattr(pick, "_set_all", lambda _by, said: [error("not now") for _one in said])
    answers = pick.take_acts(cast.as_subject, [{"frame": 1, "act": "n" * 50}, {"frame": "x", "act": 2}])
    assert [answer["kind_of_error"] for answer in answers] == [error.__name__, "BadInput"]
    assert [answer["act"] for answer in answers] == ["n" * 40, "2"]
