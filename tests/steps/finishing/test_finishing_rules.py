"""Words on retouches by plain rows: whose counts when, what each does to the final, what goes out by itself."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from galleries import storage
from galleries.access import Visitor
from galleries.errors import BadInput, Conflict, Missing, Refused
from galleries.imaging.contained import door
from galleries.models import (
    Approval,
    Final,
    Invite,
    Job,
    JournalLine,
    Letter,
    PinnedNote,
    Sitting,
    StrayRetouch,
    Version,
)
from galleries.steps.finishing import approvals, match, notes, sending, source_type, versions
from galleries.told import told
from galleries.words.steps import Code
from tests.cast import Cast, make_cast
from tests.steps.clock import Clock

pytestmark = pytest.mark.django_db
S = Final.State


@pytest.fixture
def cast() -> Cast:
    return make_cast(stage="finishing", send_at_once=False)


def final_of(cast: Cast, number: int = 1, state: str = S.SHOWN, **frame: Any) -> Final:
    return cast.final(number, state, **frame)


def version_of(final: Final, number: int = 1, *, sent: bool = True, **fields: Any) -> Version:
    values = {"key": "k", "name": "v.jpg", "bytes": 1, "width": 9, "height": 9, "proof_key": "p", **fields}
    version: Version = final.versions.create(
        number=number, sha256=f"{final.pk:032x}{number:032x}", sent_at=timezone.now() if sent else None, **values
    )
    return version


def says(version: Version, by: Visitor, word: str) -> None:
    """As a new page would: the rows as they are now."""
    fresh = Version.objects.get(pk=version.pk)
    if word == "yes":
        final = approvals.approve(fresh, by, fresh.sha256)
    else:
        final = approvals.send_back(fresh, by, "Softer, please")
    assert (final, final.state) == (version.final, state_of(version.final))  # as a page goes on with it


def state_of(final: Final) -> str:
    return Final.objects.get(pk=final.pk).state


def lines() -> list[tuple[str, str, str, str]]:
    return list(JournalLine.objects.order_by("pk").values_list("verb", "thing", "before", "after"))


# --- approved and sent back, by one or by both ---


@pytest.mark.parametrize(
    ("both", "words", "states"),
    [
        (False, ["subject yes"], ["approved"]),
        (False, ["subject no"], ["returned"]),
        (False, ["subject no", "subject yes"], ["returned", "approved"]),
        (False, ["subject yes", "subject no"], ["approved", "returned"]),
        (False, ["owner no", "subject yes"], ["returned", "returned"]),  # the photographer's own no stands
        (True, ["subject yes"], ["shown"]),
        (True, ["subject yes", "representation yes"], ["shown", "approved"]),
        (True, ["representation yes", "subject yes"], ["shown", "approved"]),
        (True, ["subject yes", "representation no"], ["shown", "returned"]),
        (True, ["subject no", "representation yes"], ["returned", "returned"]),
        (True, ["subject no", "representation yes", "subject yes"], ["returned", "returned", "approved"]),
        (True, ["subject no", "subject yes"], ["returned", "shown"]),
        (True, ["subject no", "representation no", "subject yes"], ["returned", "returned", "returned"]),
        (True, ["subject yes", "representation yes", "owner no"], ["shown", "approved", "returned"]),
    ],
)
def test_the_last_word_of_each_side_makes_the_state(
    cast: Cast, both: bool, words: list[str], states: list[str]
) -> None:
    Sitting.objects.update(representation_approves=both)
    final, other = final_of(cast), final_of(cast, 2)
    version = version_of(final)
    people = {"subject": cast.as_subject, "representation": cast.as_representation, "owner": cast.as_owner}
    seen = []
    for word in words:
        who, what = word.split()
        says(version, people[who], what)
        seen.append(state_of(final))
    assert seen == states
    assert approvals.standing(Final.objects.get(pk=final.pk)) == seen[-1]  # whatever else is decided: the same
    assert state_of(other) == "shown"
    assert Approval.objects.count() == len(words)


def test_an_approval_keeps_who_and_which_bytes_and_what_is_still_missing(cast: Cast) -> None:
    Sitting.objects.update(representation_approves=True)
    version = version_of(final_of(cast))
    approvals.approve(version, cast.as_subject, version.sha256.upper())
    said = Approval.objects.get()
    assert (said.sha256, said.decision, said.who, said.invite, said.user) == (
        version.sha256, "approved", "Ansa Veld", cast.subject, None,
    )  # fmt: skip
    line = JournalLine.objects.get()
    assert (line.verb, line.thing, line.before, line.after) == ("version approved", "final 0001", "shown", "shown")
    assert line.detail == {"version": 1, "sha256": version.sha256, "waits_for": ["representation"]}
    assert not Letter.objects.exists()


def test_what_was_sent_back_and_is_approved_now_has_two_lines(cast: Cast) -> None:
    version = version_of(final_of(cast))
    for word in ("no", "yes"):
        says(version, cast.as_subject, word)
    assert lines() == [
        ("sent back", "final 0001", "shown", "returned"),
        ("taken back", "final 0001", "returned", "shown"),
        ("version approved", "final 0001", "shown", "approved"),
    ]
    assert list(Letter.objects.values_list("kind", "to", "about")) == [
        ("returned", cast.owner.email, f"version-{version.sha256[:16]}")
    ]


def test_sent_back_twice_it_stays_and_the_photographer_hears_once(cast: Cast) -> None:
    version = version_of(final_of(cast))
    for note in (" Softer, please \n", "n" * 2001):
        approvals.send_back(Version.objects.get(), cast.as_subject, note)
    assert [len(one.note) for one in version.approvals.order_by("pk")] == [14, 2000]
    assert lines() == [
        ("sent back", "final 0001", "shown", "returned"),
        ("sent back", "final 0001", "returned", "returned"),
    ]
    assert Letter.objects.count() == 1
    with pytest.raises(BadInput, match="what should be different"):
        approvals.send_back(Version.objects.get(), cast.as_subject, " \n")
    Letter.objects.all().delete()
    approvals.send_back(Version.objects.get(), cast.as_owner, "My own eye")
    assert not Letter.objects.exists()  # nobody writes to themselves


@pytest.mark.parametrize("verb", ["yes", "no"])
@pytest.mark.parametrize("newer", ["sent", "not sent"])
def test_only_the_newest_that_is_out_can_be_spoken_of(cast: Cast, verb: str, newer: str) -> None:
    final = final_of(cast)
    first, second = version_of(final), version_of(final, 2, sent=newer == "sent")
    if newer == "sent":
        with pytest.raises(Conflict, match="newer version"):
            says(first, cast.as_subject, verb)
        says(second, cast.as_subject, verb)
    else:
        with pytest.raises(Conflict, match="newer version"):  # nobody invited knows of it
            says(second, cast.as_subject, verb)
        says(first, cast.as_subject, verb)
    assert Approval.objects.count() == 1


def test_an_approval_is_of_these_bytes_by_themselves_and_of_the_list(cast: Cast) -> None:
    final = final_of(cast)
    version = version_of(final)
    with pytest.raises(Conflict, match="newer version"):
        approvals.approve(version, cast.as_subject, "0" * 64)
    with pytest.raises(Refused, match="own word"):
        approvals.approve(version, cast.as_owner, version.sha256)
    with pytest.raises(Refused):
        approvals.approve(version, cast.as_representation, version.sha256)  # where they are not asked
    with pytest.raises(Missing):
        approvals.approve(version, make_cast("other", "finishing").as_subject, version.sha256)
    Final.objects.update(state=S.AS_IT_IS)
    with pytest.raises(Conflict, match="without retouch"):
        says(version, cast.as_subject, "yes")
    Final.objects.update(on_list=False)
    with pytest.raises(Conflict, match="no longer on the list"):
        says(version, cast.as_subject, "yes")
    assert not Approval.objects.exists()
    assert lines() == []


@pytest.mark.parametrize(("verb", "word"), [("yes", "approved"), ("no", "returned")])
def test_what_breaks_at_its_line_leaves_no_word(
    cast: Cast, monkeypatch: pytest.MonkeyPatch, verb: str, word: str
) -> None:
    version = version_of(final_of(cast))
    with monkeypatch.context() as patch:
        patch.setattr(JournalLine, "write", lambda *_a, **_k: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            says(version, cast.as_subject, verb)
    assert (state_of(version.final), Approval.objects.count(), Letter.objects.count()) == ("shown", 0, 0)
    says(version, cast.as_subject, verb)
    assert state_of(version.final) == word


# --- as it was taken ---


@pytest.mark.parametrize(
    ("state", "named", "goes"),
    [("agreed", "", True), ("shown", "", True), ("returned", "", True), ("approved", "", False),
     ("approved", "other", False), ("approved", "its own", True), ("as_it_is", "", False)],
)  # fmt: skip
def test_an_approved_retouch_is_set_aside_by_name_only(cast: Cast, state: str, named: str, goes: bool) -> None:
    final = final_of(cast, state=state)
    version_of(final)
    newest = version_of(final, 2)
    version_of(final, 3, sent=False)
    naming = {"": "", "other": "f" * 64, "its own": newest.sha256}[named]
    if not goes:
        with pytest.raises(Conflict):
            approvals.deliver_as_it_is(final, cast.as_owner, setting_aside=naming)
        assert (state_of(final), lines()) == (state, [])
        return
    assert approvals.deliver_as_it_is(final, cast.as_owner, setting_aside=naming) == final
    assert state_of(final) == "as_it_is"
    line = JournalLine.objects.get()
    assert (line.verb, line.before) == ("delivered as it is", state)
    assert line.detail == ({"set_aside": 2} if state == "approved" else {})


@pytest.mark.parametrize(
    ("words", "comes_back"), [([], "shown"), (["yes"], "approved"), (["no"], "returned"), (None, "agreed")]
)
def test_taken_back_it_stands_as_its_words_have_it(cast: Cast, words: list[str] | None, comes_back: str) -> None:
    final = final_of(cast, state=S.AGREED if words is None else S.SHOWN)
    version_of(final, 5, sent=False)  # never sent: it does not count
    for word in words or []:
        says(version_of(final, 1), cast.as_subject, word)
    if words == []:
        version_of(final, 1)
    final = Final.objects.get(pk=final.pk)
    with pytest.raises(Conflict, match="not to be delivered as it was"):
        approvals.take_back(final, cast.as_owner)
    Final.objects.update(state=S.AS_IT_IS)
    final.refresh_from_db()
    approvals.take_back(final, cast.as_owner)
    assert state_of(final) == comes_back
    assert lines()[-1] == ("retouch after all", "final 0001", "as_it_is", comes_back)


def test_what_waits_is_named_with_its_state(cast: Cast) -> None:
    finals = [final_of(cast, number, state) for number, state in enumerate(S.values, 1)]
    said = " ".join(approvals.waiting_for(finals))
    for number, waits in ((1, True), (2, True), (3, True), (4, False), (5, False)):
        assert (f"{number:04d}: " in said) == waits


# --- sent out ---


def test_versions_are_sent_one_by_one_or_not_at_all(cast: Cast) -> None:
    other = make_cast("other", "finishing")
    one, two = (version_of(final_of(cast, n, S.AGREED), sent=False) for n in (1, 2))
    late = version_of(final_of(cast, 3, S.APPROVED), sent=False)
    theirs = version_of(final_of(other, 4, S.AGREED), sent=False)
    unmade = version_of(final_of(cast, 5, S.AGREED), sent=False, proof_key="")

    def nothing(error: type[Exception], said: str, *chosen: Version, sure: tuple[int, ...] = ()) -> None:
        with pytest.raises(error, match=said):
            sending.send(cast.sitting, [one_.pk for one_ in chosen], cast.as_owner, setting_aside=sure)
        assert not Version.objects.exclude(sent_at=None).exists()
        assert (lines(), Letter.objects.count()) == ([], 0)

    nothing(BadInput, "wait to be sent")
    nothing(BadInput, "wait to be sent", one, theirs)
    nothing(BadInput, "proof of 0005", one, unmade)
    nothing(Conflict, "0003 is approved; sending version 1", one, late)
    nothing(Conflict, "0003 is approved", one, late, sure=(one.pk,))
    assert sending.send(cast.sitting, [one.pk, one.pk, late.pk], cast.as_owner, setting_aside=[late.pk]) == 2
    assert [state_of(version.final) for version in (one, two, late)] == ["shown", "agreed", "shown"]
    assert {line[0] for line in lines()} == {"version sent"}
    assert set(Letter.objects.values_list("kind", "to", "about")) == {
        ("retouch", cast.subject.email, f"sent-{late.pk}")
    }
    assert [version.final.frame.number for version in sending.waiting(cast.sitting)] == [2, 5]


def test_a_retouch_sent_after_the_delivery_opens_the_finishing_again(cast: Cast) -> None:
    Sitting.objects.update(stage="delivered")
    chosen = [version_of(final_of(cast, n, S.AS_IT_IS), sent=False).pk for n in (1, 2)]
    sending.send(Sitting.objects.get(), chosen, cast.as_owner, setting_aside=chosen)
    assert [line[0] for line in lines()] == ["finishing again", "version sent", "version sent"]
    assert Sitting.objects.get().stage == "finishing"


def test_what_waits_is_the_newest_of_each_final_of_the_list(cast: Cast) -> None:
    older, newer = final_of(cast, 1), final_of(cast, 2)
    version_of(older, 1, sent=False)
    version_of(older, 2)  # a newer one is out: the older is past
    version_of(newer, 1, sent=False)
    wanted = version_of(newer, 2, sent=False)
    gone = version_of(final_of(cast, 3), sent=False)
    Final.objects.filter(pk=gone.final_id).update(on_list=False)
    assert sending.waiting(cast.sitting) == [wanted]


# --- new files come in ---


def added(final: Final, cast: Cast) -> Version:
    facts: Any = type("Facts", (), {"width": 7, "height": 8})
    how = told(Code.BY_NAME)
    number = final.versions.count() + 1
    return versions._add_version(
        Final.objects.get(pk=final.pk), cast.as_owner, facts, how,
        sha256=f"{final.pk:032x}{number:032x}", key="k", name="n", bytes=1,
    )  # fmt: skip


@pytest.mark.parametrize("state", S.values)
@pytest.mark.parametrize("at_once", [True, False])
def test_a_version_goes_out_by_itself_only_where_that_takes_nothing_back(cast: Cast, state: str, at_once: bool) -> None:
    Sitting.objects.update(send_at_once=at_once, stage="delivered")
    final = final_of(cast, state=state)
    version_of(final)
    made = added(final, cast)
    goes = at_once and state not in {"approved", "as_it_is"}
    assert (made.number, made.width, made.height) == (2, 7, 8)
    assert (made.sent_at is not None) == goes
    assert state_of(final) == ("shown" if goes else state)
    assert Sitting.objects.get().stage == ("finishing" if goes else "delivered")
    line = JournalLine.objects.order_by("-pk")[0]
    assert (line.verb, line.before, line.after) == ("version added", state, "shown" if goes else state)
    assert Job.objects.get(kind="version").thing == made.pk
    assert not Letter.objects.exists()  # that is the work's, when the stamped picture is there


def test_the_same_number_at_the_same_moment_is_said_and_writes_nothing(cast: Cast) -> None:
    final = final_of(cast)
    version_of(final, 1)
    Version.objects.update(sha256=f"{final.pk:032x}{2:032x}")
    with pytest.raises(Conflict, match="at the same moment"):
        added(final, cast)
    assert (Version.objects.count(), Job.objects.count(), lines()) == (1, 0, [])


def stray_of(cast: Cast, number: int = 1) -> StrayRetouch:
    key = f"{storage.home(cast.sitting.uid)}/versions/{number}.jpg"
    storage.put(storage.private(), key, b"retouch")
    stray: StrayRetouch = cast.sitting.strays.create(
        sha256=f"{number:064x}", key=key, name=f"loose {number}.jpg", bytes=7, reason="none"
    )
    return stray


def test_a_stray_is_settled_once_on_a_final_of_its_sitting(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(door, "probe", lambda *_a: type("Facts", (), {"width": 7, "height": 8}))
    other, mine, off = make_cast("other", "finishing"), final_of(cast, 1), final_of(cast, 2)
    Final.objects.filter(pk=off.pk).update(on_list=False)
    stray = stray_of(cast)
    for wrong in (final_of(other, 3), Final.objects.get(pk=off.pk)):
        with pytest.raises(BadInput, match="this sitting's finals"):
            versions.settle_stray(stray, wrong, cast.as_owner)
    with pytest.raises(Missing):
        versions.settle_stray(stray, mine, other.as_owner)
    stale = StrayRetouch.objects.get()
    made = versions.settle_stray(stray, mine, cast.as_owner)
    assert (made.final, made.sha256, made.key, made.name, made.bytes) == (mine, stale.sha256, stale.key, stale.name, 7)
    assert "Tamsin" in made.how_found
    with pytest.raises(Conflict, match="same moment"):
        versions.settle_stray(stale, mine, cast.as_owner)
    assert (Version.objects.count(), StrayRetouch.objects.count()) == (1, 0)
    assert storage.private().exists(made.key)


def test_a_dropped_stray_takes_its_bytes_along_unless_a_version_has_them(cast: Cast) -> None:
    loose, shared, kept = stray_of(cast), stray_of(cast, 2), stray_of(cast, 3)
    version_of(final_of(cast), key=shared.key)
    for stray in (loose, shared):
        versions.drop_stray(stray, cast.as_owner)
    assert [storage.private().exists(stray.key) for stray in (loose, shared, kept)] == [False, True, True]
    assert list(StrayRetouch.objects.all()) == [kept]
    line = JournalLine.objects.order_by("pk")[0]
    assert (line.verb, line.thing) == ("stray retouch dropped", "loose 1.jpg")
    assert line.detail == {"sha256": loose.sha256}


@pytest.mark.parametrize("stage", ["planning", "proofing", "agreeing", "archived"])
def test_strays_are_settled_once_the_list_is_closed(cast: Cast, stage: str) -> None:
    stray, final = stray_of(cast), final_of(cast)
    Sitting.objects.update(stage=stage)
    stray = StrayRetouch.objects.get()
    for verb in (
        lambda: versions.drop_stray(stray, cast.as_owner),
        lambda: versions.settle_stray(stray, final, cast.as_owner),
    ):
        with pytest.raises(Refused, match="list of finals is closed"):
            verb()
    assert StrayRetouch.objects.count() == 1


# --- which final: by the picture ---


def likened(monkeypatch: pytest.MonkeyPatch, values: dict[int, float | None]) -> None:
    """As if the picture were so like the frame of each number."""
    monkeypatch.setattr(match, "_likeness", lambda frame, _picture: values.get(frame.number))


CLEAR, CLOSE = 0.98, 0.9799


@pytest.mark.parametrize(
    ("values", "final", "code", "candidates"),
    [
        ({1: CLEAR, 2: 0.1}, 1, "by_picture", ()),
        ({1: 0.1, 2: CLEAR}, 2, "by_picture", ()),
        ({1: CLEAR, 2: CLOSE}, None, "picture_fits_several", (1, 2)),
        ({1: CLOSE, 2: CLEAR}, None, "picture_fits_several", (2, 1)),  # the likest first
        ({1: 0.1, 2: 0.1}, None, "fits_none", ()),
        ({1: None, 2: None}, None, "fits_none", ()),
        ({1: CLEAR, 2: None, 7: 0.999}, None, "like_another", (1,)),  # a frame beside it that is no final
        ({1: CLEAR, 2: None, 7: 0.5}, 1, "by_picture", ()),
    ],
)
def test_never_guessed_by_the_picture(
    cast: Cast, monkeypatch: pytest.MonkeyPatch, values: dict[int, float | None], final: int | None, code: str,
    candidates: tuple[int, ...],
) -> None:  # fmt: skip
    likened(monkeypatch, values)
    finals = [final_of(cast, number) for number in (1, 2)]
    cast.frame(7)
    found = match._by_picture(finals, None)  # type: ignore[arg-type]
    assert (found.final.frame.number if found.final else None) == final
    assert found.told.code.name.lower() == code
    assert tuple(one.frame.number for one in found.candidates) == candidates


def test_the_neighbours_are_those_shot_nearest_that_are_no_finals(clock: Clock, cast: Cast) -> None:
    finals = [final_of(cast, number) for number in (20, 22)]
    frames = {number: cast.frame(number) for number in (10, 15, 18, 19, 21, 23, 26, 30)}
    Final.objects.filter(pk=finals[1].pk).update(on_list=False)  # off the list: it may be mistaken for
    undated = cast.frame(99, captured_at=None)
    make_cast("other").frame(20)
    beside = match._beside(Final.objects.get(pk=finals[0].pk))
    assert len(beside) == 2 * match.NEIGHBOURS
    assert {frame.number for frame in beside} == {15, 18, 19, 21, 22, 23}
    assert undated not in beside
    assert {frame.number for frame in beside[:2]} == {19, 21}
    assert frames[30] not in beside
    type(undated).objects.filter(pk=finals[0].frame.pk).update(captured_at=None)
    assert match._beside(Final.objects.get(pk=finals[0].pk)) == []


@pytest.mark.parametrize(
    ("name", "hits"),
    [
        ("IMG_7.jpg", {"IMG_7.CR3"}),
        ("IMG_7_IMG_71.jpg", {"IMG_71.CR3"}),  # the longer name says more
        ("img-7 IMG_71b.jpg", {"IMG_71.CR3"}),
        ("IMG_72.jpg", set()),
        ("MY_IMG_7.jpg", {"IMG_7.CR3"}),
        ("portrait", {"portrait"}),
        ("portraits.jpg", set()),
        ("a portrait.jpg", {"portrait"}),
        ("", set()),
    ],
)
def test_a_name_says_a_final_or_says_nothing(cast: Cast, name: str, hits: set[str]) -> None:
    finals = [final_of(cast, number, name=one) for number, one in enumerate(("IMG_7.CR3", "IMG_71.CR3", "portrait"), 1)]
    assert {final.frame.name for final in match.by_name(finals, name)} == hits


# --- notes, brief, how it was made ---


@pytest.mark.parametrize(
    ("place", "fits"),
    [((0, 0, 0, 0), True), ((1, 1, 0, 0), True), ((0.5, 0.5, 0.5, 0.5), True), ((0, 0, 1, 1), True),
     ((-0.01, 0, 0, 0), False), ((0, 1.01, 0, 0), False), ((0.5, 0, 0.51, 0), False), ((0, 0.5, 0, 0.51), False),
     ((0.5, 0.5, -0.1, 0), False), ((0.5, 0.5, 0, -0.1), False), ((float("nan"), 0, 0, 0), False)],
)  # fmt: skip
def test_a_note_lies_in_the_picture(cast: Cast, place: tuple[float, float, float, float], fits: bool) -> None:
    final = final_of(cast)
    if fits:
        note = notes.pin_note(final, cast.as_subject, *place, " A stray hair \n")
        assert (note.text, note.who, note.invite, note.done) == ("A stray hair", "Ansa Veld", cast.subject, False)
        assert (note.x, note.y, note.width, note.height) == place
    else:
        with pytest.raises(BadInput, match="outside the picture"):
            notes.pin_note(final, cast.as_subject, *place, "A stray hair")
    assert PinnedNote.objects.count() == len(lines()) == int(fits)


def test_a_note_is_settled_and_opened_again_by_the_photographer(cast: Cast) -> None:
    first, second = (notes.pin_note(final_of(cast, n), cast.as_subject, 0, 0, text="t" * 1001) for n in (1, 2))
    assert len(first.text) == 1000
    assert JournalLine.objects.order_by("pk")[0].detail == {"text": "t" * 200}
    change = Sitting.objects.get().change
    for done in (True, False):
        notes.settle_note(first, cast.as_owner, done)
        assert PinnedNote.objects.get(pk=first.pk).done is done
    assert not PinnedNote.objects.get(pk=second.pk).done
    assert [line[:2] for line in lines()[2:]] == [("note done", "final 0001"), ("note open", "final 0001")]
    assert Sitting.objects.get().change == change + 2
    with pytest.raises(Refused, match="says when a note is done"):
        notes.settle_note(first, cast.as_subject)
    with pytest.raises(BadInput, match="what should be done"):
        notes.pin_note(first.final, cast.as_subject, 0, 0, text=" \n")


def test_brief_and_description_are_one_finals_and_fit(cast: Cast) -> None:
    one, two = final_of(cast, 1), final_of(cast, 2)
    notes.set_brief(one, cast.as_owner, "  " + "b" * 5001)
    notes.set_alt_text(one, cast.as_owner, " A man \n laughs ")
    assert (len(one.brief), one.alt_text) == (5000, "A man laughs")
    two.refresh_from_db()
    assert (two.brief, two.alt_text) == ("", "")
    notes.set_alt_text(one, cast.as_owner, "d" * 250)
    with pytest.raises(BadInput, match="has 251 characters"):
        notes.set_alt_text(one, cast.as_owner, "d" * 251)
    assert Final.objects.get(pk=one.pk).alt_text == "d" * 250
    for verb in (notes.set_brief, notes.set_alt_text):
        with pytest.raises(Refused):
            verb(one, cast.as_subject, "mine")
    assert [line[0] for line in lines()] == ["brief written", "description written", "description written"]


@pytest.mark.parametrize("kind", Version.Kind.values)
def test_how_it_was_made_is_said_by_a_person_and_stands(cast: Cast, kind: str) -> None:
    version, other = version_of(final_of(cast)), version_of(final_of(cast, 2))
    source_type.declare(version, cast.as_owner, kind)
    row = Version.objects.get(pk=version.pk)
    assert (row.kind, row.kind_stated, row.kind_said_by) == (kind, "person", "Tamsin")
    line = JournalLine.objects.get()
    assert (line.verb, line.thing, line.before, line.after) == ("retouch declared", "final 0001", "humanEdits", kind)
    assert line.detail == {"version": 1, "stated": "person", "said_by": "Tamsin"}
    stale = Version.objects.get(pk=version.pk)
    stale.kind_stated = ""  # as the worker had read it, a moment before
    source_type._write(stale, "humanEdits", cast.as_owner, Version.Stated.FILE)
    assert Version.objects.get(pk=version.pk).kind == kind
    assert Version.objects.get(pk=other.pk).kind_stated == ""
    for wrong in ("", "digitalCapture", "retouched"):
        with pytest.raises(BadInput, match="how the retouch was made"):
            source_type.declare(version, cast.as_owner, wrong)
    with pytest.raises(Refused):
        source_type.declare(version, cast.as_subject, kind)
    assert len(lines()) == 1


def test_words_are_of_those_who_hold_an_invite_now(cast: Cast) -> None:
    version = version_of(final_of(cast))
    Invite.objects.update(expires_at=timezone.now() - timedelta(seconds=1))
    person = Visitor(invite=Invite.objects.get(pk=cast.subject.pk))
    verbs: list[Callable[[], object]] = [
        lambda: approvals.approve(version, person, version.sha256),
        lambda: approvals.send_back(version, person, "no"),
        lambda: notes.pin_note(version.final, person, 0, 0, text="t"),
    ]
    for verb in verbs:
        with pytest.raises((Missing, Refused)):
            verb()
    assert lines() == []
