"""The rules inside the list: who sees which note and place, what is not covered, what a closing keeps."""

from __future__ import annotations

import csv
import io
import zipfile
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone

from galleries.access import Visitor
from galleries.errors import BadInput, Conflict, Missing, Refused
from galleries.models import Final, Frame, Invite, JournalLine, Letter, Look, Mark, Round, Sitting, Standing
from galleries.papers import table
from galleries.steps.agreeing import agree, proposals, sidecars
from tests.cast import Cast, make_cast

AT = datetime(2026, 5, 4, 12, tzinfo=UTC)


@pytest.fixture
def cast(db: None) -> Cast:
    return make_cast()


def mark(invite: Invite, frame: Frame, kind: str = "", note: str = "", minute: int = 0, **more: Any) -> None:
    acted_at = AT + timedelta(minutes=minute)
    Mark.objects.create(invite=invite, frame=frame, kind=kind, note=note, acted_at=acted_at, **more)


def second_agent(cast: Cast, name: str = "Iza Morell", **more: Any) -> Invite:
    return cast.sitting.invites.create(
        **{"role": "representation", "name": name, "email": f"{name.split()[0].lower()}@morell.example",
           "expires_at": timezone.now() + timedelta(days=9), **more}
    )  # fmt: skip


def everything(sitting: Sitting) -> list[Any]:
    return [
        list(rows.order_by("pk").values())
        for rows in (sitting.finals, sitting.rounds, sitting.journal, sitting.letters)
    ]


# Both lists side by side


def test_a_note_for_the_studio_alone_is_read_by_the_studio_alone(cast: Cast) -> None:
    frame, noted = cast.frame(1), cast.frame(2)
    mark(cast.subject, frame, note="the scar stays between us", note_for_studio=True)
    mark(cast.subject, noted, note="softer", minute=2)
    mark(cast.representation, noted, note="for the drama", minute=1)
    lines = {line.frame.pk: line for line in agree.tally(cast.sitting, cast.as_owner).lines}
    assert lines[frame.pk].for_studio == (("Ansa Veld", "the scar stays between us"),)
    assert lines[frame.pk].notes == ()
    assert lines[noted.pk].notes == (("Ruben Achterberg", "for the drama"), ("Ansa Veld", "softer"))
    (line,) = agree.tally(cast.sitting, cast.as_representation).lines
    assert (line.frame.pk, line.notes, line.for_studio) == (noted.pk, lines[noted.pk].notes, ())


def test_lists_are_compared_by_the_agent_and_the_photographer_only(cast: Cast) -> None:
    for by in (cast.as_subject, cast.as_recipient):
        with pytest.raises(Refused):
            agree.tally(cast.sitting, by)
    with pytest.raises(Missing):
        agree.tally(cast.sitting, make_cast("beside").as_owner)


def test_marks_of_another_sitting_and_of_assistants_do_not_count(cast: Cast) -> None:
    frame, other = cast.frame(1), make_cast("beside")
    assistant = second_agent(cast, "Mirre Solland", role="assistant")
    mark(assistant, frame, "pick", "mine")
    mark(other.subject, other.frame(1), "pick")
    tally = agree.tally(cast.sitting, cast.as_owner)
    assert not tally.lines
    assert tally.allowance == 3


def test_frames_stand_by_their_looks_place_and_number_and_loose_ones_last(cast: Cast) -> None:
    one, two = cast.look("One"), cast.look("Two")
    Look.objects.filter(pk=one.pk).update(position=5)
    for number, look in ((9, None), (3, one), (4, two), (2, two), (1, one)):
        mark(cast.subject, cast.frame(number, look), "alternate")
    assert [line.frame.number for line in agree.tally(cast.sitting, cast.as_owner).lines] == [2, 4, 1, 3, 9]


def test_places_are_counted_without_a_gap_for_whoever_is_not_shown_a_frame(cast: Cast) -> None:
    """A gap would tell of a frame that is kept from whoever asks."""
    kept = cast.look("Bare", kept_from_representation=True)
    frames = [cast.frame(1), cast.frame(2, kept), cast.frame(3), cast.frame(4)]
    for place, frame in enumerate(frames, 1):
        mark(cast.subject, frame, "strike" if frame.number == 4 else "pick")
        Standing.objects.create(invite=cast.subject, frame=frame, place=place)
    Standing.objects.create(invite=cast.representation, frame=frames[0], place=1)  # ranked, and not marked

    def places(by: Visitor) -> dict[int | None, int | None]:
        return {line.frame.number: line.place_subject for line in agree.tally(cast.sitting, by).lines}

    assert places(cast.as_owner) == {1: 1, 2: 2, 3: 3, 4: None}
    assert places(cast.as_representation) == {1: 1, 3: 2, 4: None}
    assert {line.place_representation for line in agree.tally(cast.sitting, cast.as_owner).lines} == {None}


@pytest.mark.parametrize(
    ("subject", "representation", "standing"),
    [
        ("pick", "pick", "agreed"), ("pick", "", "subject"), ("pick", "alternate", "subject"),
        ("alternate", "pick", "representation"), ("strike", "pick", "representation"),
        ("alternate", "alternate", ""), ("strike", "", ""),
    ],
)  # fmt: skip
def test_a_line_stands_with_whoever_picks_it(subject: str, representation: str, standing: str) -> None:
    line = agree.Line(Frame(), subject, representation)
    assert line.standing == standing
    tally = agree.Tally(3, (line,))
    assert tally.of(standing) == [line]
    assert tally.agreed == ([line] if standing == "agreed" else [])


# What is not covered


@pytest.mark.parametrize(("allowance", "agreed", "words"), [
    (2, 2, []), (2, 3, ["1 agreed frame more than the 2 included."]),
    (1, 3, ["2 agreed frames more than the 1 included."]), (0, 1, ["1 agreed frame more than the 0 included."]),
])  # fmt: skip
def test_more_than_the_allowance_is_said_by_how_many(cast: Cast, allowance: int, agreed: int, words: list[str]) -> None:
    sitting = Sitting(allowance=allowance)
    lines = [agree.Line(Frame(), "pick", "pick")] * agreed + [agree.Line(Frame(), "pick", "")]
    assert agree.coverage(sitting, lines, Look.objects.none()) == words


def test_only_looks_with_frames_that_somebody_sees_can_lack_a_pick(cast: Cast) -> None:
    for title, fields in (("Linen", {}), ("Out", {"hidden": True}), ("Bare", {"kept_from_representation": True})):
        look = cast.look(title, casting_kind=f"{title} kind, ,", **fields)
        for number in (1, 2):
            cast.frame(look.position * 10 + number, look)
    cast.look("Empty", casting_kind="period")
    assert agree.tally(cast.sitting, cast.as_representation).words == (
        "No pick of either side in “Linen”.", "No pick for casting among them.",
        "No look for “Linen kind” among the picks.",
    )  # fmt: skip
    assert "No pick of either side in “Linen · Bare”." in agree.tally(cast.sitting, cast.as_owner).words
    assert not any("Out" in words or "Empty" in words for words in agree.tally(cast.sitting, cast.as_owner).words)


def test_a_kind_is_covered_whatever_its_letters_and_a_strike_covers_nothing(cast: Cast) -> None:
    one, two = cast.look("One", casting_kind="Period, drama"), cast.look("Two", casting_kind="PERIOD")
    mark(cast.subject, cast.frame(1, one), "pick")
    struck = cast.frame(2, two)
    mark(cast.subject, struck, "strike")
    words = agree.tally(cast.sitting, cast.as_owner).words
    assert words == ("No pick of either side in “Two”.",)
    tally = agree.tally(cast.sitting, cast.as_owner)
    assert agree.not_on_list(tally, [struck.pk], cast.sitting, cast.as_owner) == [
        "Nothing of “One” is on the list.", "Nothing for drama is on the list.",
    ]  # fmt: skip
    with pytest.raises(Refused):
        agree.not_on_list(tally, [], cast.sitting, cast.as_subject)


@pytest.mark.parametrize("whose", ["photographer's look", "subject's look", "subject's frame"])
def test_the_photographer_hears_whose_word_keeps_a_pick_off_the_list(cast: Cast, whose: str) -> None:
    mine = whose == "photographer's look"
    look = cast.look(
        "Bare", kept_from_representation=whose != "subject's frame", kept_by_subject=whose == "subject's look"
    )
    frame = cast.frame(1, look, kept_by_subject=whose == "subject's frame")
    mark(cast.subject, frame, "pick")
    sentence = "You keep the look of frame 0001" if mine else "The subject keeps frame 0001 from the representation"
    (words,) = agree._kept_back(agree.tally(cast.sitting, cast.as_owner).lines)
    assert words.startswith(sentence)
    assert words in agree.tally(cast.sitting, cast.as_owner).words
    there = everything(cast.sitting)
    with pytest.raises(Refused, match=sentence):
        agree.close(cast.sitting, [frame.pk], cast.as_owner)
    with pytest.raises(BadInput, match="hidden or not of this sitting"):  # to the agent there is no such frame
        agree.close(cast.sitting, [frame.pk], cast.as_representation)
    assert everything(cast.sitting) == there


def test_who_is_still_marking_is_whose_marks_count_and_whose_link_holds(cast: Cast) -> None:
    done, gone = second_agent(cast, "Iza Morell"), second_agent(cast, "Pia Sorn")
    passed = second_agent(cast, "Oda Lund", passed_from=cast.representation)
    Invite.objects.filter(pk=done.pk).update(picks_done_at=AT)
    Invite.objects.filter(pk=gone.pk).update(revoked_at=AT)
    make_cast("beside")
    assert agree.still_marking(cast.sitting) == [cast.subject, cast.representation]
    assert passed.voice == cast.representation


# Closing and opening again


def test_a_closing_says_who_closed_which_round_and_tells_everybody_of_the_sheet(cast: Cast) -> None:
    assistant, gone = second_agent(cast, "Mirre Solland", role="assistant"), second_agent(cast, "Pia Sorn")
    Invite.objects.filter(pk=gone.pk).update(revoked_at=AT)
    other = make_cast("beside")
    one, two = cast.frame(1), cast.frame(2)
    finals = agree.close(cast.sitting, [two.pk, one.pk, two.pk], cast.as_owner)
    assert [(final.frame, final.position, final.on_list) for final in finals] == [(two, 0, True), (one, 1, True)]
    closed = cast.sitting.rounds.get()
    assert {final.round for final in finals} == {closed}
    assert (closed.closed_by, closed.closed_by_user, closed.closed_by_invite) == ("Tamsin", cast.owner, None)
    assert closed.closed_at is not None
    letters = cast.sitting.letters.order_by("pk")
    people = {cast.subject, cast.representation, assistant, None}
    assert {letter.invite for letter in letters} == people
    assert {(letter.kind, letter.about) for letter in letters} == {("closed", "round-1")}
    assert len(letters) == 4
    assert other.sitting.rounds.get().closed_at is None
    assert not other.sitting.letters.exists()


def test_the_next_round_keeps_finals_by_frame_and_drops_from_the_list_what_is_not_named(cast: Cast) -> None:
    one, two, three = (cast.frame(number) for number in (1, 2, 3))
    other = make_cast("beside")
    foreign = other.sitting.finals.create(frame=other.frame(9), round=other.sitting.rounds.get())
    first, second = agree.close(cast.sitting, [one.pk, two.pk], cast.as_owner)
    Final.objects.filter(pk=second.pk).update(state="approved", brief="calm skin")
    opened = agree.reopen(cast.sitting, cast.as_owner, f"  {'w' * 400} ")
    assert (opened.number, opened.reason, opened.closed_at) == (2, "w" * 300, None)
    kept, new = agree.close(cast.sitting, [two.pk, three.pk], cast.as_representation)
    assert (kept.pk, kept.round, kept.position, kept.state, kept.brief) == (
        second.pk,
        opened,
        0,
        "approved",
        "calm skin",
    )
    assert (new.frame, new.round, new.position) == (three, opened, 1)
    assert list(cast.sitting.finals.filter(on_list=False)) == [first]
    assert Round.objects.get(number=1, sitting=cast.sitting).closed_by_user == cast.owner
    assert Final.objects.get(pk=foreign.pk).on_list
    again = agree.listed(cast.sitting)
    assert [final.pk for final in again] == [kept.pk, new.pk]
    assert Letter.objects.filter(sitting=cast.sitting, about="round-2").count() == 3
    line = JournalLine.objects.get(verb="list reopened")
    assert (line.before, line.after, line.detail) == ("finishing", "agreeing", {"reason": "w" * 300})


def test_of_two_who_close_at_the_same_moment_the_second_is_told_and_changes_nothing(cast: Cast) -> None:
    frame = cast.frame(1)
    late = Sitting.objects.get(pk=cast.sitting.pk)
    Round.objects.filter(sitting=late).update(closed_at=AT, closed_by="Ruben Achterberg")
    there = everything(cast.sitting)
    with pytest.raises(Conflict, match="at the same moment"):
        agree.close(late, [frame.pk], cast.as_owner)
    Round.objects.filter(sitting=late).update(closed_at=None)
    Sitting.objects.filter(pk=late.pk).update(stage="finishing")  # seen after the question who may
    with pytest.raises(Conflict):
        agree.close(late, [frame.pk], cast.as_owner)
    Round.objects.filter(sitting=late).update(closed_at=AT)
    assert everything(cast.sitting) == there


@pytest.mark.parametrize(
    ("stage", "reason", "error"),
    [("agreeing", "warmer", Conflict), ("proofing", "warmer", Conflict), ("planning", "warmer", Conflict),
     ("archived", "warmer", Conflict), ("finishing", " \n", BadInput)],
)  # fmt: skip
def test_what_is_not_closed_is_not_reopened_nor_without_a_reason(
    cast: Cast, stage: str, reason: str, error: type[Exception]
) -> None:
    Sitting.objects.filter(pk=cast.sitting.pk).update(stage=stage)
    cast.sitting.refresh_from_db()
    with pytest.raises(error):
        agree.reopen(cast.sitting, cast.as_owner, reason)
    assert Round.objects.filter(sitting=cast.sitting).count() == 1


def test_of_two_who_reopen_the_second_opens_no_round(cast: Cast) -> None:
    Sitting.objects.filter(pk=cast.sitting.pk).update(stage="delivered")
    cast.sitting.rounds.update(closed_at=AT)
    first, second = (Sitting.objects.get(pk=cast.sitting.pk) for _ in range(2))
    agree.reopen(first, cast.as_owner, "warmer")
    with pytest.raises(Conflict):
        agree.reopen(second, cast.as_owner, "colder")
    assert [round_.reason for round_ in cast.sitting.rounds.order_by("number")] == ["", "warmer"]


@pytest.mark.parametrize("by_letter", [True, False])
@pytest.mark.parametrize("rounds", ["none", "closed", "open"])
def test_proofs_are_shown_in_one_open_round_and_by_letter_only_when_asked(
    db: None, rounds: str, by_letter: bool
) -> None:
    cast = make_cast(stage="planning")
    cast.frame(1)
    if rounds == "none":
        cast.sitting.rounds.all().delete()
    elif rounds == "closed":
        cast.sitting.rounds.update(number=4, closed_at=AT)
    make_cast("beside")  # whose round is open
    agree.publish(cast.sitting, cast.as_owner, by_letter=by_letter)
    assert cast.sitting.rounds.get(closed_at=None).number == {"none": 1, "closed": 5, "open": 1}[rounds]
    told = {cast.subject, cast.representation} if by_letter else set()
    assert {letter.invite for letter in cast.sitting.letters.all()} == told


@pytest.mark.parametrize("fields", [None, {"hidden": True}])
def test_where_every_frame_is_hidden_there_is_nothing_to_show(db: None, fields: dict[str, Any] | None) -> None:
    cast = make_cast(stage="planning")
    if fields:
        cast.frame(1, **fields)
    make_cast("beside").frame(1)
    with pytest.raises(BadInput, match="no frames to show"):
        agree.publish(cast.sitting, cast.as_owner)
    cast.sitting.refresh_from_db()
    assert (cast.sitting.stage, cast.sitting.published_at) == ("planning", None)


def test_the_list_is_shown_without_what_is_kept_from_who_looks(cast: Cast) -> None:
    frames = [cast.frame(1), cast.frame(2, cast.look("Linen"))]
    agree.close(cast.sitting, [frame.pk for frame in frames], cast.as_owner)
    Frame.objects.filter(pk=frames[0].pk).update(kept_by_subject=True)
    numbers = {by: [final.frame.number for final in agree.listed_for(by, cast.sitting)]
               for by in (cast.as_owner, cast.as_subject, cast.as_representation)}  # fmt: skip
    assert list(numbers.values()) == [[1, 2], [1, 2], [2]]
    with pytest.raises(Refused):
        agree.listed_for(cast.as_recipient, cast.sitting)


# What the editor gets


@pytest.mark.parametrize(
    ("cell", "plain"),
    [("=1+1", "'=1+1"), ("+49", "'+49"), ("-5", "'-5"), ("@x", "'@x"), ("\tx", "'\tx"), ("\rx", "'\rx"),
     (None, ""), (412, "412"), (-1, "'-1"), ("a=b", "a=b"), ("", "")],
)  # fmt: skip
def test_no_cell_is_a_formula_to_a_spreadsheet(cell: object, plain: str) -> None:
    assert table.cell(cell) == plain


def final(name: str, number: int | None = None, look: Look | None = None, brief: str = "") -> Final:
    return Final(frame=Frame(name=name, number=number, look=look), brief=brief)


def test_the_table_for_the_editor_has_a_row_for_each_final_in_order() -> None:
    """RFC 4180: lines end in CR LF, a cell with a comma or a quote stands in quotes."""
    look = Look(title='Coat, "dark"', purpose="portfolio")
    text = agree.as_csv([final("KAL_0412.JPG", 412, look, "calm skin"), final("loose.tif")])
    assert text.endswith("\r\n")
    assert list(csv.reader(io.StringIO(text, newline=""))) == [
        ["position", "file", "number", "look", "purpose", "brief", "raw"],
        ["1", "KAL_0412.JPG", "412", 'Coat, "dark"', "portfolio", "calm skin", ""],
        ["2", "loose.tif", "", "", "", "", ""],
    ]
    assert agree.as_text([final("a.b.JPG"), final("noending")], endings=False) == "a.b\nnoending\n"


def test_one_sidecar_for_each_camera_file_name_and_the_first_speaks() -> None:
    linen, wool = Look(title="Linen & wool"), Look(title="Coat")
    finals = [final("KAL_1.JPG", 1, linen), final("KAL_1.TIF", 1, wool), final("KAL_2.JPG", 2)]
    made = sidecars.sidecars(finals)
    assert list(made) == ["KAL_1.xmp", "KAL_2.xmp"]
    assert "Linen &amp; wool" in made["KAL_1.xmp"]
    assert "Coat" not in made["KAL_1.xmp"]
    for text in made.values():
        assert "agreed" in text
        assert "5" in text.split("Rating", 1)[1][:5]  # the highest of ISO 16684-1
    packed = sidecars.as_zip(finals)
    assert packed == sidecars.as_zip(finals)  # nothing hangs on the clock
    with zipfile.ZipFile(io.BytesIO(packed)) as opened:
        assert {name: opened.read(name).decode() for name in opened.namelist()} == made


def test_a_sidecar_that_an_editor_wrote_is_left_alone(tmp_path: Path) -> None:
    folder = tmp_path / "on" / "disk"
    folder.mkdir(parents=True)
    (folder / "KAL_1.xmp").write_text("an editor's own work")
    finals = [final("KAL_1.JPG"), final("KAL_2.JPG")]
    assert sidecars.write_into(folder, finals) == [folder / "KAL_2.xmp"]
    assert (folder / "KAL_1.xmp").read_text() == "an editor's own work"
    assert (folder / "KAL_2.xmp").read_text() == sidecars.sidecars(finals)["KAL_2.xmp"]
    assert sidecars.write_into(folder, finals) == []


def test_a_proposal_keeps_to_the_sittings_allowance_and_takes_what_both_want_first(cast: Cast) -> None:
    frames = [cast.frame(number, cast.look(f"Look {number}")) for number in range(1, 5)]
    for frame in frames:
        mark(cast.subject, frame, "pick")
    for frame in frames[1:3]:
        mark(cast.representation, frame, "pick")
    cast.sitting.allowance = 2
    proposal = proposals.propose(agree.tally(cast.sitting, cast.as_owner), cast.sitting)
    assert set(proposal.chosen) == {frame.pk for frame in frames[1:3]}
