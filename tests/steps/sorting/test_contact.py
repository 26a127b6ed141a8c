"""The contact sheet on paper: which frames, in which order, with whose marks, for whom; and where the loupe looks."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.utils import translation

from galleries.access import Visitor
from galleries.errors import BadInput, Missing, Refused
from galleries.imaging.framing.geometry import Rect
from galleries.models import Frame, Look, Mark, Proof
from galleries.papers.contact import SheetLook
from galleries.steps.sorting import contact, loupe
from tests.cast import Cast, make_cast
from tests.web.invitee.sheets import READING

S, R = ("S", "solid"), ("R", "dashed")


@pytest.fixture
def cast(db: None) -> Cast:
    return make_cast()


def proved(cast: Cast, number: int, look: Look | None = None, **fields: object) -> Frame:
    frame = cast.frame(number, look, **fields)
    sizes = {"large_width": 4, "large_height": 6, "small_width": 2, "small_height": 3}
    for recipe in ("old", "new"):
        Proof.objects.create(frame=frame, recipe=recipe, large_key="l", small_key=f"{number} {recipe}", **sizes)
    return frame


@pytest.fixture
def printed(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> Callable[..., tuple[list[SheetLook], dict[str, Any]]]:
    """What is handed to the paper, which `tests/papers` reads; a proof is its key here."""
    sheets: list[tuple[list[SheetLook], dict[str, Any]]] = []
    monkeypatch.setattr(
        contact, "contact_sheet_pdf", lambda _title, looks, **how: sheets.append((looks, how)) or b"pdf"
    )
    monkeypatch.setattr(contact.storage, "get", lambda _store, key: key.encode())

    def ask(by: Visitor, **how: Any) -> tuple[list[SheetLook], dict[str, Any]]:
        assert contact.contact_sheet(by, cast.sitting, **how) == b"pdf"
        return sheets[-1]

    return ask


def drawn(looks: list[SheetLook]) -> dict[str, list[str]]:
    return {look.title: [frame.number for frame in look.frames] for look in looks}


def test_frames_stand_by_look_in_the_order_they_were_shot_and_those_without_a_look_last(
    cast: Cast, printed: Callable[..., Any]
) -> None:
    wool, linen, bare, hidden = cast.look("Wool"), cast.look("Linen"), cast.look("Bare"), cast.look("Out", hidden=True)
    cast.look("Empty")
    Look.objects.filter(pk=bare.pk).update(kept_from_representation=True)
    proved(cast, 9)
    late, early = proved(cast, 1, wool), proved(cast, 2, wool)
    Frame.objects.filter(pk=early.pk).update(captured_at="2026-05-04T10:00Z")
    Frame.objects.filter(pk=late.pk).update(captured_at="2026-05-04T10:01Z")
    proved(cast, 3, linen)
    proved(cast, 4, linen, hidden=True)
    proved(cast, 5, bare)
    proved(cast, 6, hidden)
    cast.frame(7, linen)  # its proof is still being made
    wanted = {"Wool": ["0002", "0001"], "Linen": ["0003"], "Bare": ["0005"], "Not in a look yet": ["0009"]}
    assert drawn(printed(cast.as_subject)[0]) == wanted
    assert drawn(printed(cast.as_owner)[0]) == {**wanted, "Out": ["0006"]}
    assert list(drawn(printed(cast.as_subject)[0])) == list(wanted)
    del wanted["Bare"]
    looks, _how = printed(cast.as_representation)
    assert drawn(looks) == wanted
    assert [frame.thumbnail for look in looks for frame in look.frames] == [b"2 new", b"1 new", b"3 new", b"9 new"]


@pytest.mark.parametrize(
    ("role", "wanted"),
    [
        ("as_subject", {"0001": [("pick", *S)], "0002": []}),
        ("as_representation", {"0001": [("pick", *S), ("strike", *R)], "0002": [("alternate", *R)]}),
        ("as_owner", {"0001": [("pick", *S), ("strike", *R)], "0002": [("alternate", *R)]}),
    ],
)
def test_the_subject_gets_their_own_marks_the_others_both_sides(
    cast: Cast, printed: Callable[..., Any], role: str, wanted: dict[str, Any]
) -> None:
    one, two = proved(cast, 1), proved(cast, 2)
    when = {"acted_at": one.added_at, "updated_at": one.added_at}
    Mark.objects.create(invite=cast.representation, frame=one, kind="strike", **when)
    Mark.objects.create(invite=cast.subject, frame=one, kind="pick", **when)
    Mark.objects.create(invite=cast.representation, frame=two, kind="alternate", **when)
    other = make_cast("beside")
    Mark.objects.create(invite=other.subject, frame=proved(other, 1), kind="strike", **when)
    (look,), _how = printed(getattr(cast, role))
    marks = {frame.number: sorted((mark.kind, mark.letter, mark.line) for mark in frame.marks) for frame in look.frames}
    assert marks == wanted


def test_the_page_is_one_that_there_is_and_goes_on_as_asked_in_the_readers_language(
    cast: Cast, printed: Callable[..., Any]
) -> None:
    proved(cast, 1)
    for page in ("A4", "Letter"):
        _looks, how = printed(cast.as_owner, page=page, columns=4)
        assert (how["page"], how["columns"], how["language"]) == (page, 4, "en")
        assert "S = subject" in how["key"]
    with translation.override("de"):
        assert printed(cast.as_owner)[1]["language"] == "de"
    for page in ("A3", "a4", ""):
        with pytest.raises(BadInput, match=f"no page “{page}”; use A4 / Letter"):
            contact.contact_sheet(cast.as_owner, cast.sitting, page=page)


def test_without_a_proof_or_for_who_only_fetches_there_is_no_sheet(cast: Cast) -> None:
    cast.frame(1)
    with pytest.raises(BadInput, match="no proof to print"):
        contact.contact_sheet(cast.as_owner, cast.sitting)
    with pytest.raises(Refused):
        contact.contact_sheet(cast.as_recipient, cast.sitting)
    with pytest.raises(Missing):
        contact.contact_sheet(make_cast("beside").as_subject, cast.sitting)


@pytest.mark.parametrize(
    ("fields", "wanted"),
    [
        ({}, ["casting, colour"]),
        ({"purpose": "portfolio", "treatment": "monochrome"}, ["portfolio, black and white"]),
        (
            {"notes": "door open", "wardrobe": "linen", "distance_cm": 120, "fill": ""},
            ["casting, colour", "Wardrobe: linen", "Distance of the key (cm): 120", "Set-up notes: door open"],
        ),
        ({"gel": "amber", "gel_mired": 30}, ["casting, colour", "Gel: amber (+30 mired)"]),
        ({"gel": "blue", "gel_mired": -30}, ["casting, colour", "Gel: blue (-30 mired)"]),
        ({"gel": "none by now", "gel_mired": 0}, ["casting, colour", "Gel: none by now (+0 mired)"]),
        ({"gel": "blue"}, ["casting, colour", "Gel: blue"]),
        ({"gel_mired": 30}, ["casting, colour"]),
        ({"distance_cm": 0}, ["casting, colour", "Distance of the key (cm): 0"]),
    ],
)
def test_the_set_up_of_a_look_in_lines(fields: dict[str, Any], wanted: list[str]) -> None:
    assert contact.setup_lines(Look(title="Linen", **fields)) == wanted


def reading(width: int, height: int, eyes: tuple[list[float], list[float]] | None) -> dict[str, Any]:
    face = {**READING["face"], "right_eye": eyes[0], "left_eye": eyes[1]} if eyes else None  # type: ignore[dict-item]
    return {**READING, "width": width, "height": height, "face": face}


@pytest.mark.parametrize(
    ("read", "wanted"),
    [
        # pixels; 1400 × 900 round the middle between the eyes
        (reading(4000, 6000, ([1800, 2000], [2200, 2000])), Rect(1300, 1550, 1400, 900)),
        # eyes 1000 apart: 1.7 times that, in the same shape
        (reading(4000, 6000, ([1500, 2000], [2500, 2000])), Rect(1150, 1454, 1700, 1092)),
        # near an edge it is moved, in a smaller frame cut
        (reading(4000, 6000, ([100, 100], [500, 100])), Rect(0, 0, 1400, 900)),
        (reading(4000, 6000, ([3600, 5990], [3900, 5990])), Rect(2600, 5100, 1400, 900)),
        (reading(800, 1200, ([300, 400], [500, 400])), Rect(0, 0, 800, 900)),
        # no face: a third from the top, in the middle
        (reading(4000, 6000, None), Rect(1300, 1550, 1400, 900)),
    ],
)
def test_the_loupe_looks_at_the_eyes_and_stays_inside_the_frame(read: dict[str, Any], wanted: Rect) -> None:
    assert loupe.region(Frame(reading=read)) == wanted


def test_a_frame_that_was_not_read_has_no_eyes_yet() -> None:
    with pytest.raises(Missing, match="still being read"):
        loupe.region(Frame(reading=None))
