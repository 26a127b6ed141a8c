"""The photographer's desk: what it is told, and every act it sends."""

from __future__ import annotations

import gzip
import json
from collections.abc import Iterable
from datetime import datetime, timedelta, timezone
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone as clock

from galleries.imaging.codes import Code
from galleries.models import Frame, Look, Mark, Proof
from galleries.sorting.eyes import Usual
from galleries.told import told
from galleries.web.invitee import showing
from galleries.web.studio.desk_data import flag_words, flags
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db
START = datetime(2026, 3, 4, 10, 0, tzinfo=timezone.utc)  # noqa: UP017


@pytest.fixture
def looks(cast: Cast) -> tuple[Look, Look]:
    """Two looks of four frames each, 1 to 4 and 5 to 8."""
    pair = cast.look("Linen shirt"), cast.look("Rain coat", proposed_reason="the wardrobe turned from grey to blue")
    for number in range(1, 9):
        cast.frame(number, pair[0 if number < 5 else 1], captured_at=START + timedelta(seconds=10 * number))
    return pair


def act(client: Client, cast: Cast, **body: object) -> Any:
    return client.post(
        reverse("studio-desk-act", args=[cast.sitting.slug]),
        body,
        content_type="application/json",
        headers={"Accept": "application/json"},
    )


def numbers(look: Look) -> list[int | None]:
    return list(look.frames.order_by("captured_at").values_list("number", flat=True))


def pk(number: int) -> int:
    return Frame.objects.get(number=number).pk


def test_data_comes_whole_and_then_only_when_something_changed(cast: Cast, client: Client, looks: object) -> None:
    at = reverse("studio-desk-data", args=[cast.sitting.slug])
    found = client.get(at).json()
    assert [frame["label"] for frame in found["frames"]] == [f"{n:04d}" for n in range(1, 9)]
    assert found["looks"][1]["reason"] == "the wardrobe turned from grey to blue"
    assert client.get(at, {"since": found["change"]}).status_code == 204
    act(client, cast, do="hide", frames=[pk(1)], hidden=True)
    assert client.get(at, {"since": found["change"]}).status_code == 200


def test_both_sides_marks_are_told_apart(cast: Cast, client: Client, looks: object) -> None:
    now = clock.now()
    Mark.objects.create(invite=cast.subject, frame_id=pk(1), kind="pick", acted_at=now)
    Mark.objects.create(invite=cast.representation, frame_id=pk(1), kind="strike", acted_at=now)
    found = client.get(reverse("studio-desk-data", args=[cast.sitting.slug])).json()
    assert found["frames"][0]["marks"] == {"s": "pick", "r": "strike"}


def test_frames_are_moved_hidden_and_all_is_taken_back(cast: Cast, client: Client, looks: tuple[Look, Look]) -> None:
    first, second = looks
    state = act(client, cast, do="move", frames=[pk(1), pk(2)], look=second.pk).json()
    assert numbers(second) == [1, 2, 5, 6, 7, 8]
    assert state["undo"] == "2 frames moved to “Rain coat”"
    act(client, cast, do="hide", frames=[pk(3)], hidden=True)
    assert Frame.objects.get(number=3).hidden
    act(client, cast, do="undo")
    assert not Frame.objects.get(number=3).hidden
    act(client, cast, do="undo")
    assert numbers(first) == [1, 2, 3, 4]
    assert act(client, cast, do="undo").status_code == 409


def test_frames_go_to_a_new_look_or_to_none(cast: Cast, client: Client, looks: object) -> None:
    act(client, cast, do="move", frames=[pk(4)], look="new", title="Scarf")
    assert numbers(Look.objects.get(title="Scarf")) == [4]
    act(client, cast, do="move", frames=[pk(4)], look=None)
    assert Frame.objects.get(number=4).look is None


def test_a_look_is_split_renamed_merged_and_brought_back(cast: Cast, client: Client, looks: tuple[Look, Look]) -> None:
    first, second = looks
    act(client, cast, do="split", frame=pk(3), title="Linen, sleeves up")
    middle = Look.objects.get(title="Linen, sleeves up")
    assert (numbers(first), numbers(middle)) == ([1, 2], [3, 4])
    act(client, cast, do="rename", look=middle.pk, title="Sleeves")
    act(client, cast, do="merge", look=middle.pk, into=second.pk)
    assert numbers(second) == [3, 4, 5, 6, 7, 8]
    act(client, cast, do="undo")
    assert numbers(Look.objects.get(title="Sleeves")) == [3, 4]


def test_a_proposed_boundary_is_accepted_moved_or_removed(cast: Cast, client: Client, looks: tuple[Look, Look]) -> None:
    first, second = looks
    act(client, cast, do="start", look=second.pk, frame=pk(4))
    assert (numbers(first), numbers(second)) == ([1, 2, 3], [4, 5, 6, 7, 8])
    act(client, cast, do="start", look=second.pk, frame=pk(6))
    assert (numbers(first), numbers(second)) == ([1, 2, 3, 4, 5], [6, 7, 8])
    act(client, cast, do="accept", look=second.pk)
    second.refresh_from_db()
    assert second.proposed_reason == ""
    assert all(frame.placed_by_hand for frame in second.frames.all())
    act(client, cast, do="join", look=second.pk)
    assert numbers(first) == list(range(1, 9))
    assert act(client, cast, do="join", look=first.pk).status_code == 400
    assert act(client, cast, do="start", look=first.pk, frame=pk(2)).status_code == 400


def test_looks_are_reordered_hidden_and_given_a_purpose(cast: Cast, client: Client, looks: tuple[Look, Look]) -> None:
    first, second = looks
    assert [look["id"] for look in act(client, cast, do="order", order=[second.pk, first.pk]).json()["looks"]] == [
        second.pk,
        first.pk,
    ]
    act(client, cast, do="hide look", look=first.pk, hidden=True)
    act(client, cast, do="purpose", look=first.pk, purpose="portfolio")
    first.refresh_from_db()
    assert (first.hidden, first.purpose) == (True, "portfolio")


@pytest.mark.parametrize(
    "body",
    [
        {"do": "dance"},
        {"do": "move", "frames": []},
        {"do": "move", "frames": ["x"], "look": None},
        {"do": "split"},
        {"do": "order", "order": [1]},
        {"do": "purpose", "look": 0, "purpose": "x"},
        {"do": "rename", "look": None},
        {"do": "hide", "frames": [10**30], "hidden": True},
        {"do": "hide", "frames": [-(10**30), 2**53 + 1], "hidden": True},
        {"do": "start", "look": 10**20, "frame": 1.5},
        {"do": ["move"]},
    ],
)
def test_acts_that_make_no_sense_change_nothing(cast: Cast, client: Client, looks: object, body: Any) -> None:
    before = list(Frame.objects.order_by("pk").values())
    assert act(client, cast, **body).status_code in {400, 404}
    assert list(Frame.objects.order_by("pk").values()) == before


def test_frames_and_looks_of_another_sitting_are_out_of_reach(cast: Cast, client: Client, looks: object) -> None:
    other = make_cast("other-sitting")
    theirs, look = other.frame(99, other.look()), other.look("Theirs")
    assert act(client, cast, do="move", frames=[theirs.pk], look=None).status_code == 404
    assert act(client, cast, do="move", frames=[theirs.pk], look="new").status_code == 404
    assert not cast.sitting.looks.filter(title__startswith="Look").exists()
    assert act(client, cast, do="move", frames=[pk(1)], look=look.pk).status_code == 404
    assert act(client, cast, do="hide", frames=[theirs.pk], hidden=True).status_code == 404
    at = reverse("studio-eyes", args=[cast.sitting.slug, theirs.pk])
    assert client.get(at).status_code == 404


def reading(openness: float | None = 0.3, sharpness: float = 0.5, face: bool = True) -> dict[str, Any]:
    eyes = {"right_openness": openness, "left_openness": openness}
    return {"face": eyes if face else None, "sharpness": sharpness}


def shot(cast: Cast, look: Look, sharpness: Iterable[float], first: int, **more: Any) -> list[str]:
    """Frames of those sharpnesses; their labels."""
    labels = []
    for number, sharp in enumerate(sharpness, first):
        one = cast.frame(number, look)
        Frame.objects.filter(pk=one.pk).update(reading={**reading(sharpness=sharp), **more})
        labels.append(one.label)
    return labels


def test_a_look_soft_from_end_to_end_is_told_once_and_its_frames_are_held_against_each_other(
    cast: Cast, client: Client, looks: tuple[Look, Look]
) -> None:
    """Enlarged frames, or a soft lens: only the one that is far behind the rest is flagged, whatever its own reading
    said of it alone."""
    shot(cast, looks[0], [0.12, 0.11, 0.12, 0.13, 0.12, 0.06], 20, soft=True)
    shot(cast, looks[1], [0.35, 0.34, 0.36, 0.3, 0.33, 0.2], 40, soft=False)
    data = client.get(reverse("studio-desk-data", args=[cast.sitting.slug])).json()
    soft = {row["label"]: row["compared"] for row in data["frames"] if "soft" in row["flags"]}
    assert soft == {
        "0025": "sharpness 0.06 (the sharpest of its look: 0.12)",
        "0045": "sharpness 0.20 (the sharpest of its look: 0.35)",
    }
    assert list(data["soft"]) == [str(looks[0].pk)]
    assert "0.12" in data["soft"][str(looks[0].pk)]


def test_a_picture_says_that_it_is_small_or_holds_less_than_its_pixels(
    cast: Cast, client: Client, looks: tuple[Look, Look]
) -> None:
    enlarged, small = shot(cast, looks[0], [0.3], 60, fine_detail=-18.0), shot(cast, looks[0], [0.3], 61)
    Frame.objects.update(width=4000, height=6000)
    Frame.objects.filter(name__contains=small[0]).update(width=800, height=1200)
    data = client.get(reverse("studio-desk-data", args=[cast.sitting.slug])).json()
    notes = {row["label"]: row["note"] for row in data["frames"]}
    assert notes[enlarged[0]] == "less fine detail than its pixels could hold: enlarged, or soft all over"
    assert notes[small[0]] == "a small picture (800 × 1200): its sharpness says little about a print"


def test_a_reason_behind_several_unknown_numbers_is_told_once(
    cast: Cast, client: Client, looks: tuple[Look, Look]
) -> None:
    why = [told(Code.UNKNOWN_IRIS, radius_px=5, least_px=least).as_dict() for least in (8, 20)]
    (label,) = shot(cast, looks[0], [0.3], 62, unknown={"pupil": why[0], "sharpness": why[1], "openness": why[0]})
    data = client.get(reverse("studio-desk-data", args=[cast.sitting.slug])).json()
    notes = {row["label"]: row["note"] for row in data["frames"]}
    assert notes[label] == "the iris has a radius of 5 px, 8 are needed"


@pytest.mark.parametrize(
    ("read", "expected"),
    [
        (None, ["unread"]),
        (reading(face=False), ["noface"]),
        (reading(), []),
        (reading(openness=0.19), ["closed"]),
        (reading(openness=None), []),  # what could not be read is not guessed
        (reading(sharpness=0.24), ["soft"]),  # the reading could not say: beside the others of its look
        ({**reading(sharpness=0.45), "soft": True}, []),  # beside the sharpest of its look it is not
        ({**reading(sharpness=0.1), "soft": False}, ["soft"]),
        (reading(openness=0.1, sharpness=0.1), ["closed", "soft"]),
    ],
)
def test_flags_are_hints_from_the_reading(read: dict[str, Any] | None, expected: list[str]) -> None:
    assert flags(Frame(look_id=1, reading=read), Usual(None, 0.5)) == expected


def test_eyes_are_held_against_what_is_usual_in_the_look(cast: Cast, client: Client, looks: tuple[Look, Look]) -> None:
    """A person whose eyes are narrow by nature is not flagged from end to end; one whose eyes are wide is in time."""
    for number, (look, openness) in enumerate([(looks[0], 0.18)] * 6 + [(looks[1], 0.4)] * 6 + [(looks[1], 0.22)], 20):
        Frame.objects.filter(pk=cast.frame(number, look).pk).update(reading=reading(openness=openness))
    rows = client.get(reverse("studio-desk-data", args=[cast.sitting.slug])).json()["frames"]
    assert [row["label"] for row in rows if "closed" in row["flags"]] == ["0032"]
    told = {row["label"]: row["compared"] for row in rows}
    assert told["0032"] == "eyes open 0.22 (usual in its look: 0.40)"  # the number, and what it was held against
    assert told["0031"] == ""
    assert all(row["small"].endswith("?of=desk") for row in rows)  # also while a frame's proof is being made


def test_desk_and_sheet_show_the_eyes_at_the_same_place(cast: Cast, client: Client, looks: tuple[Look, Look]) -> None:
    frame = cast.frame(40, looks[0])
    face = {"right_eye": [39.5, 29.5], "left_eye": [59.5, 31.5]}
    Frame.objects.filter(pk=frame.pk).update(reading={"face": face, "width": 100, "height": 200})
    Proof.objects.create(
        frame=frame,
        recipe="p",
        large_key="l",
        large_width=1,
        large_height=1,
        small_key="s",
        small_width=1,
        small_height=1,
    )
    rows = client.get(reverse("studio-desk-data", args=[cast.sitting.slug])).json()["frames"]
    (desk,) = (row["eyes"] for row in rows if row["id"] == frame.pk)
    strips = showing.sheet_of(cast.as_subject, cast.sitting).strips
    (sheet,) = (list(shown.eyes)[:2] for strip in strips for shown in strip.frames if shown.frame.pk == frame.pk)
    assert desk == sheet == [0.5, 0.155]  # pixel middles: the pupils lie at 40 and 60 of 100, counted from the edge


def test_the_desk_asks_the_database_a_fixed_number_of_times(
    cast: Cast, client: Client, looks: object, django_assert_max_num_queries: Any
) -> None:
    at = reverse("studio-desk-data", args=[cast.sitting.slug])
    for number in range(20, 80):
        cast.frame(number, None)
    with django_assert_max_num_queries(14):
        client.get(at)


def test_the_desks_data_travels_compressed(cast: Cast, client: Client, looks: object) -> None:
    at = reverse("studio-desk-data", args=[cast.sitting.slug])
    for number in range(20, 80):
        cast.frame(number, None)
    packed = client.get(at, headers={"accept-encoding": "gzip"})
    whole = client.get(at)
    assert packed.headers["Content-Encoding"] == "gzip"
    assert "Accept-Encoding" in packed.headers["Vary"]
    assert json.loads(gzip.decompress(packed.content)) == whole.json()
    assert len(packed.content) < len(whole.content) / 4
    assert "csrf" not in whole.content.decode().lower()  # nothing in it is worth guessing by its length


def test_a_skin_cast_is_told_against_the_looks_median_and_a_move_brings_another_median(
    cast: Cast, client: Client, looks: tuple[Look, Look]
) -> None:
    linen, coat = looks
    for number in range(9, 15):
        cast.frame(number, linen, captured_at=START + timedelta(seconds=10 * number))
    skin = {frame.number: [14.0, 17.0] for frame in linen.frames.all()} | {9: [14.0, 27.0], 10: None}
    for frame in linen.frames.all():
        Frame.objects.filter(pk=frame.pk).update(reading={"face": {}, "skin_ab": skin[frame.number]})
    rows = {
        row["label"]: row for row in client.get(reverse("studio-desk-data", args=[cast.sitting.slug])).json()["frames"]
    }
    assert rows["0009"]["flags"][-2:] == ["cast", "yellow"]
    assert rows["0009"]["cast"] == [0.0, 10.0]
    assert rows["0010"]["cast"] is None
    assert [label for label, row in rows.items() if "cast" in row["flags"]] == ["0009"]
    act(client, cast, do="move", frames=[pk(9)], look=coat.pk)
    rows = {
        row["label"]: row for row in client.get(reverse("studio-desk-data", args=[cast.sitting.slug])).json()["frames"]
    }
    assert rows["0009"]["cast"] is None  # alone in a look nothing is usual


def test_the_desk_has_a_word_for_every_flag(cast: Cast, client: Client) -> None:
    page = client.get(reverse("studio-desk", args=[cast.sitting.slug])).content.decode()
    for flag, word in flag_words().items():
        assert f'data-{flag}="{word}"' in page
