"""The sheet's own acts: marks sent and sent again, the cursor, the talk, 'I am through', looks kept back."""

from __future__ import annotations

import json
import re
from datetime import timedelta

import pytest
from django.core import mail
from django.urls import reverse
from django.utils import timezone

from galleries.models import Frame, Letter, Mark, Proof, Sitting
from galleries.steps.picking import pick
from galleries.web.invitee.strips import cells_of
from galleries.web.invitee.words import frame_words, label_of
from tests.cast import Cast, make_cast
from tests.web.invitee.sheets import READING, filled, proved

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    return make_cast()


def send(cast: Cast, acts: object, person: object = None) -> dict[str, object]:
    client = cast.client_of(person or cast.subject)  # type: ignore[arg-type]
    answer = client.post(reverse("marks", args=[cast.sitting.slug]), acts, "application/json")
    assert answer.status_code == 200, answer.content
    return answer.json()  # type: ignore[no-any-return]


@pytest.mark.parametrize("shown", [True, False])
def test_what_the_studio_suggests_is_read_as_words_where_the_sitting_says_so(cast: Cast, shown: bool) -> None:
    one, two, *_rest = filled(cast)
    Frame.objects.filter(pk=one.pk).update(suggested=True)
    Sitting.objects.filter(pk=cast.sitting.pk).update(suggestions_shown=shown)
    for person in (cast.subject, cast.representation):
        page = cast.client_of(person).get(reverse("sheet", args=[cast.sitting.slug]))
        text = page.content.decode()
        assert text.count('<span class="suggested typed">suggested by the studio</span>') == int(shown)
        assert (f"frame {one.label}, look 1, no mark yet, suggested by the studio" in text) == shown
        block = re.search(r'<script id="frames" type="application/json">(.*?)</script>', text)
        assert block is not None
        told = {row[0]: row[-1] for row in json.loads(block[1])}
        assert (told[one.pk], told[two.pk]) == (int(shown), 0)


def test_acts_are_taken_in_order_and_twice_is_once(cast: Cast) -> None:
    one, two, *_rest = filled(cast)
    at = timezone.now().isoformat()
    acts = [
        {"frame": one.pk, "kind": "pick", "act": "1", "at": at},
        {"frame": two.pk, "kind": "strike", "act": "2", "at": at},
        {"frame": 10**9, "kind": "pick", "act": "3", "at": at},
        {"frame": one.pk, "kind": "ring", "act": "4", "at": at},
    ]
    said = send(cast, acts)
    assert {answer["act"]: answer.get("kind", answer.get("kind_of_error")) for answer in said["answers"]} == {  # type: ignore[attr-defined]
        "1": "pick",
        "2": "strike",
        "3": "Missing",
        "4": "BadInput",
    }
    revision = Mark.objects.get(frame=one).revision
    send(cast, acts)
    assert Mark.objects.get(frame=one).revision == revision


def test_two_devices_come_to_the_same_whatever_arrives_first(cast: Cast) -> None:
    frame, *_rest = filled(cast)
    early = (timezone.now() - timedelta(minutes=2)).isoformat()
    late = (timezone.now() - timedelta(minutes=1)).isoformat()
    send(cast, [{"frame": frame.pk, "kind": "pick", "act": "late", "at": late}])
    said = send(cast, [{"frame": frame.pk, "kind": "strike", "act": "early", "at": early}])
    assert said["answers"][0]["kind"] == "pick"  # type: ignore[index]


def test_a_mark_made_offline_outlives_a_note_written_elsewhere(cast: Cast) -> None:
    """The note is later, but it says nothing about the mark."""
    frame, *_rest = filled(cast)
    Frame.objects.update(added_at=timezone.now() - timedelta(hours=1))
    early = (timezone.now() - timedelta(minutes=2)).isoformat()
    send(cast, [{"frame": frame.pk, "note": "chin a little lower", "act": "n", "at": timezone.now().isoformat()}])
    said = send(cast, [{"frame": frame.pk, "kind": "pick", "act": "k", "at": early}])
    assert said["answers"][0]["kind"] == "pick"  # type: ignore[index]
    assert said["answers"][0]["note"] == "chin a little lower"  # type: ignore[index]


def test_a_note_that_changed_meanwhile_is_shown_not_overwritten(cast: Cast) -> None:
    frame, *_rest = filled(cast)
    at = timezone.now().isoformat()
    send(cast, [{"frame": frame.pk, "note": "from the tablet", "act": "1", "at": at, "seen": 0}])
    said = send(cast, [{"frame": frame.pk, "note": "from the phone", "act": "2", "at": at, "seen": 0}])
    assert said["answers"][0]["conflict"] is True  # type: ignore[index]
    assert Mark.objects.get().note == "from the tablet"


@pytest.mark.parametrize("body", ['{"frame": 1}', "[1, 2]", "no json", '[{"frame": {"a": 1}}, 5]'])
def test_nonsense_is_one_sentence(cast: Cast, body: str) -> None:
    client = cast.client_of(cast.subject)
    answer = client.post(
        reverse("marks", args=[cast.sitting.slug]), body, "application/json", headers={"accept": "application/json"}
    )
    assert answer.status_code == 400
    assert answer.json()["error"].endswith(".")


@pytest.mark.parametrize("frame", [True, -1, "x", None, 2**70, 1.5, [1]])
def test_a_frame_that_is_no_number_is_refused_by_itself(cast: Cast, frame: object) -> None:
    good, *_rest = filled(cast)
    said = send(cast, [{"frame": frame, "kind": "pick", "act": "1"}, {"frame": good.pk, "kind": "pick", "act": "2"}])
    by_act = {answer["act"]: answer for answer in said["answers"]}  # type: ignore[attr-defined]
    assert by_act["1"]["kind_of_error"] == "Missing"
    assert by_act["2"]["kind"] == "pick"


def test_marking_a_closed_list_is_refused_in_words_and_the_rest_of_the_page_goes_on(cast: Cast) -> None:
    frame, *_rest = filled(cast)
    Sitting.objects.update(stage="finishing")
    said = send(cast, [{"frame": frame.pk, "kind": "pick", "act": "1"}])
    answer = said["answers"][0]  # type: ignore[index]
    assert answer["kind_of_error"] == "Refused"
    assert "closed" in answer["error"]
    assert said["stage"] == "finishing"


def test_a_button_works_without_scripts_and_twice_takes_it_away(cast: Cast) -> None:
    frame, *_rest = filled(cast)
    client, address = cast.client_of(cast.subject), reverse("marks", args=[cast.sitting.slug])
    assert client.post(address, {"mark": f"{frame.pk}:pick"}).status_code == 302
    assert Mark.objects.get().kind == "pick"
    page = client.get(reverse("sheet", args=[cast.sitting.slug])).content.decode()
    assert re.search(rf'value="{frame.pk}:pick" class="m pick" aria-pressed="true"', page)
    assert "picked by you" in page
    client.post(address, {"mark": f"{frame.pk}:pick"})
    assert Mark.objects.get().kind == ""
    assert client.post(address, {"mark": "x"}).status_code == 400


def test_a_long_sheet_comes_with_its_first_cells_and_whole_to_whoever_runs_no_scripts(cast: Cast) -> None:
    looks = [cast.look(f"Look {n}") for n in range(3)]
    first = proved(cast, 1, looks[0])
    proof = first.proofs.get()
    for look, numbers in zip(looks, (range(2, 21), range(21, 91), range(91, 96)), strict=True):
        for number in numbers:
            frame = cast.frame(number, look, reading=READING)
            Proof.objects.create(
                frame=frame, recipe="p-test", large_key=proof.large_key, large_width=400, large_height=600,
                small_key=proof.small_key, small_width=80, small_height=120,
            )  # fmt: skip
    client, address = cast.client_of(cast.subject), reverse("sheet", args=[cast.sitting.slug])

    def page(query: str = "") -> tuple[int, int, list[str]]:
        text = client.get(address + query).content.decode()
        told = json.loads(text.split('<script id="frames" type="application/json">')[1].split("</script>")[0])
        assert len(told) == 95
        onwards = re.findall(r'content="0; url=([^"]+)"', text)
        return text.count('<li class="frame"'), text.count('<li class="rest"'), onwards

    assert page() == (36, 2, [f"{address}?whole=1"])
    assert page("?order=smile") == (36, 2, [f"{address}?order=smile&amp;whole=1"])
    assert page("?whole=1") == (95, 0, [])

    press = {"mark": f"{Frame.objects.get(number=95).pk}:pick", "whole": "1"}
    answer = client.post(reverse("marks", args=[cast.sitting.slug]), press)
    assert answer.headers["Location"].startswith(f"{address}?whole=1#f")
    Sitting.objects.update(stage=Sitting.Stage.FINISHING)
    answer = client.post(reverse("marks", args=[cast.sitting.slug]), press)
    refused = answer.content.decode()
    assert answer.status_code in {403, 409}
    assert 'http-equiv="refresh"' not in refused  # the sentence on top stays to be read


@pytest.mark.parametrize("whole", [False, True])
def test_cells_are_written_for_the_first_screens(whole: bool) -> None:
    def cells(*each: int) -> list[int]:
        return cells_of(each, whole=whole)

    for each, few in (
        ([1000], [36]),
        ([59], [59]),
        ([60], [36]),
        ([20, 30, 40, 1], [20, 30, 0, 0]),
        ([20, 60, 5], [20, 16, 0]),
        ([], []),
    ):
        assert cells(*each) == (each if whole else few)


def test_nothing_is_said_while_nothing_changed(cast: Cast) -> None:
    frame, *_rest = filled(cast)
    client, address = cast.client_of(cast.representation), reverse("changes", args=[cast.sitting.slug])
    now = client.get(address).json()["change"]
    assert client.get(address, {"since": now}).status_code == 204
    pick.set_mark(cast.as_subject, frame.pk, kind="pick")
    said = client.get(address, {"since": now})
    assert said.status_code == 200
    assert said.json()["theirs"] == {str(frame.pk): [[cast.subject.pk, "pick"]]}
    assert said.json()["people"] == {str(cast.subject.pk): ["subject", "Ansa Veld"]}
    assert said.json()["mine"] == {}


def test_two_people_on_one_frame_do_not_disturb_each_other(cast: Cast) -> None:
    frame, *_rest = filled(cast)
    send(cast, [{"frame": frame.pk, "kind": "pick", "act": "1"}], cast.subject)
    send(cast, [{"frame": frame.pk, "kind": "strike", "act": "2"}], cast.representation)
    assert dict(Mark.objects.values_list("invite__role", "kind")) == {"subject": "pick", "representation": "strike"}
    page = cast.client_of(cast.subject).get(reverse("sheet", args=[cast.sitting.slug])).content.decode()
    assert 'class="drawn subject pick"' in page
    assert 'class="drawn representation strike"' in page
    assert "frame 0001, look 1, picked by you, struck by Ruben Achterberg" in page


def test_the_label_says_what_a_screen_reader_should_hear() -> None:
    words = frame_words()
    assert label_of(words, "0123", 2, "pick", [("representation", "pick", "Ruben")]) == (
        "frame 0123, look 2, picked by you, shortlisted by Ruben"
    )
    assert label_of(words, "0124", None, "", []) == "frame 0124, in no look yet, no mark yet"


def test_the_page_comes_with_how_far_its_reader_is(cast: Cast) -> None:
    """So that the tray does not move when its script says the same (`sheet.js`, `count`)."""
    frames = filled(cast)
    Sitting.objects.filter(pk=cast.sitting.pk).update(allowance=2)
    at = timezone.now().isoformat()

    def told() -> str:
        page = cast.client_of(cast.subject).get(reverse("sheet", args=[cast.sitting.slug])).content.decode()
        return re.search(r'<p id="allowance"[^>]*>(.*?)</p>', page, re.DOTALL)[1]  # type: ignore[index]

    assert told() == "Nothing picked yet; 2 finals are included."
    for frame, words in zip(frames, ("1 of 2 picked, 1 left.", "2 of 2 picked: just right."), strict=False):
        send(cast, [{"frame": frame.pk, "kind": "pick", "act": str(frame.pk), "at": at}])
        assert told() == words
    send(cast, [{"frame": frames[2].pk, "kind": "pick", "act": "third", "at": at}])
    assert told() == "3 picked, 1 more than the 2 included. That is allowed; go on choosing."
    Sitting.objects.filter(pk=cast.sitting.pk).update(stage="finishing")
    assert told() == "The list is closed. Picked by you: 3."


def test_every_picture_has_its_size_and_only_six_are_eager(cast: Cast) -> None:
    filled(cast, 3, 4)
    page = cast.client_of(cast.subject).get(reverse("sheet", args=[cast.sitting.slug])).content.decode()
    pictures = re.findall(r"<img [^>]*>", page.split("<dialog")[0])
    assert len(pictures) == 12
    assert all('width="80" height="120"' in picture for picture in pictures)
    assert sum('loading="lazy"' not in picture for picture in pictures) == 6
    assert ['fetchpriority="high"' in picture for picture in pictures] == [True] * 2 + [False] * 10
    assert 'style="' not in page


def test_the_talk_about_a_frame_and_the_shapes_of_the_sizes(cast: Cast) -> None:
    from galleries.steps.delivering import sizes

    sizes.load()
    frame, *_rest = filled(cast)
    address = reverse("remarks", args=[cast.sitting.slug, frame.pk])
    pick.set_mark(cast.as_subject, frame.pk, note="my best")
    agent = cast.client_of(cast.representation)
    said = agent.post(address, {"text": "Agreed, this one."}, headers={"accept": "application/json"}).json()
    assert [(one["who"], one["text"]) for one in said["remarks"]] == [("Ruben Achterberg", "Agreed, this one.")]
    assert said["notes"] == [{"who": "Ansa Veld", "text": "my best"}]
    assert cast.client_of(cast.subject).get(address).json()["notes"] == []
    assert agent.post(address, {"text": " "}).status_code == 400
    for crop in said["crops"]:
        assert 0 <= crop["x"] < crop["x"] + crop["width"] <= 1.0001
        assert 0 <= crop["y"] < crop["y"] + crop["height"] <= 1.0001
        assert crop["known"]
        # the eyes of the reading lie at a third of the height of the frame; every crop holds them
        assert crop["y"] < 2000 / 6000 < crop["y"] + crop["height"]
    assert (
        len({(round(crop["width"], 3), round(crop["height"], 3)) for crop in said["crops"]}) == len(said["crops"]) > 3
    )


@pytest.mark.parametrize("said", [False, True])
def test_through_is_said_once_on_the_page_it_was_pressed_on_or_on_the_next(cast: Cast, said: bool) -> None:
    filled(cast)
    client = cast.client_of(cast.subject)
    address, sheet = (reverse(name, args=[cast.sitting.slug]) for name in ("done", "sheet"))
    answer = client.post(address, {"said": "1"} if said else {}, headers={"accept": "application/json"})
    assert answer.json() == {"through": True}
    assert ("Everybody sees that you are through" in client.get(sheet).content.decode()) is not said


def test_through_moves_the_sitting_on_and_writes_one_letter_each(cast: Cast) -> None:
    filled(cast)
    client, address = cast.client_of(cast.subject), reverse("done", args=[cast.sitting.slug])
    assert client.get(address).status_code == 405
    assert client.post(address).status_code == 302
    cast.sitting.refresh_from_db()
    assert cast.sitting.stage == "agreeing"
    client.post(address)
    letters = Letter.objects.filter(kind="through").values_list("to", flat=True)
    assert sorted(letters) == ["ruben@achterberg.example", "tamsin@northlight.example"]
    assert not mail.outbox or all("through" not in letter.subject for letter in mail.outbox[2:])


def test_only_the_subject_keeps_a_look_back_and_only_where_allowed(cast: Cast) -> None:
    filled(cast)
    look = cast.sitting.looks.first()
    assert look is not None
    address, body = reverse("look-say", args=[cast.sitting.slug]), {"look": look.pk, "kept": "1"}
    assert cast.client_of(cast.subject).post(address, body).status_code == 403
    Sitting.objects.update(subject_chooses_looks=True)
    assert cast.client_of(cast.representation).post(address, body).status_code == 403
    assert cast.client_of(cast.subject).post(address, {"look": 10**6}).status_code == 404
    assert cast.client_of(cast.subject).post(address, body).status_code == 302
    look.refresh_from_db()
    assert look.kept_from_representation
    cast.client_of(cast.subject).post(address, {"look": look.pk, "kept": "0"})
    look.refresh_from_db()
    assert look.kept_from_representation  # letting go has a page of its own, where one sees what will be seen


def test_the_sheet_is_answered_with_few_queries_whatever_its_size(
    cast: Cast, django_assert_max_num_queries: object
) -> None:
    filled(cast, 3, 6)
    client = cast.client_of(cast.subject)
    with django_assert_max_num_queries(30):  # type: ignore[operator]
        client.get(reverse("sheet", args=[cast.sitting.slug]))
    with django_assert_max_num_queries(12):  # type: ignore[operator]
        client.get(reverse("changes", args=[cast.sitting.slug]))


def test_the_subject_is_told_when_a_strike_hides(cast: Cast) -> None:
    filled(cast, 1, 1)
    address, words = reverse("sheet", args=[cast.sitting.slug]), "What you strike, the agent does not see."
    assert words not in cast.client_of(cast.subject).get(address).content.decode()
    Sitting.objects.update(strikes_hide=True)
    assert words in cast.client_of(cast.subject).get(address).content.decode()
    assert words not in cast.client_of(cast.representation).get(address).content.decode()


def test_a_note_says_before_it_is_written_who_reads_it_and_they_do(cast: Cast) -> None:
    frame, *_rest = filled(cast)
    address = reverse("sheet", args=[cast.sitting.slug])
    page = cast.client_of(cast.subject).get(address).content.decode()
    assert page.index("Who may read your note?") < page.index('value="studio"') < page.index('id="note"')
    page = cast.client_of(cast.representation).get(address).content.decode()
    assert "Who may read your note?" not in page
    described = re.search(r'<textarea\s+id="note"[^>]*aria-describedby="([^"]+)"', page)
    assert described
    words = "The studio reads it, and everybody invited who sees this frame."
    assert re.search(rf'id="{described[1]}">\s*{words}', page)
    pick.set_mark(cast.as_subject, frame.pk, kind="pick", note="the collar")
    for person in (cast.representation, cast.owner):
        told = cast.client_of(person).get(reverse("remarks", args=[cast.sitting.slug, frame.pk])).json()
        assert told["notes"] == [{"who": "Ansa Veld", "text": "the collar"}]


def test_styles_and_first_row_of_pictures_are_asked_for_before_the_page_is_read(cast: Cast) -> None:
    """RFC 8288, Web Linking: nobody is told of a picture here that is not on their sheet."""
    one, two, *_rest = filled(cast)
    Frame.objects.filter(pk=one.pk).update(kept_by_subject=True)
    for person, first in ((cast.subject, one), (cast.representation, two)):
        answer = cast.client_of(person).get(reverse("sheet", args=[cast.sitting.slug]))
        told = re.findall(r"<([^>]+)>; rel=preload; as=image; fetchpriority=high", answer["Link"])
        html = answer.content.decode()
        assert told == re.findall(r'<img src="([^"]+)"[^>]*fetchpriority="high"', html)
        assert len(told) == 2
        styles = re.findall(r"<([^>]+)>; rel=preload; as=style", answer["Link"])
        assert styles == re.findall(r'<link rel="stylesheet" href="([^"]+)"', html.partition("</head>")[0])
        assert f"/{first.pk}/" in told[0]
    Frame.objects.update(hidden=True)
    assert "as=image" not in cast.client_of(cast.subject).get(reverse("sheet", args=[cast.sitting.slug]))["Link"]


def test_a_sheet_without_a_frame_says_so_and_the_way_on(cast: Cast) -> None:
    filled(cast, 1, 1)
    slug, empty = cast.sitting.slug, "No frame is on your sheet now. When the studio shows one, this page says so."
    there = cast.client_of(cast.subject).get(reverse("sheet", args=[slug])).content.decode()
    assert re.search(rf'id="empty" hidden>\s*{empty}', there)  # for when the last one goes while it stands open
    Frame.objects.update(hidden=True)
    for person in (cast.subject, cast.representation, cast.owner):
        page = cast.client_of(person).get(reverse("sheet", args=[slug])).content.decode()
        assert re.search(rf'id="empty" >\s*{empty}', page)
    second = cast.client_of(cast.subject).get(reverse("opinions", args=[slug])).content.decode()
    assert "so there is nothing to show" in second
    assert "Make the link" not in second
    # before anything else can be seen there is the plan already, for those who have one
    Sitting.objects.update(stage="planning")
    for person, plan in ((cast.subject, True), (cast.representation, True), (cast.recipient, False)):
        early = cast.client_of(person).get(reverse("delivery", args=[slug]))
        assert (reverse("plan", args=[slug]) in early.content.decode()) == plan, person
    Frame.objects.all().delete()
    desk = cast.client_of(cast.owner).get(reverse("studio-desk", args=[slug])).content.decode()
    assert f'<a href="{reverse("studio-upload", args=[slug])}">Bring frames in</a>' in desk
