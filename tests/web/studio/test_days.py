"""The pages of a day: who comes in, what they say to bad input, papers and lists, and what many sitters cost."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from galleries.access import Visitor
from galleries.models import Day, DayFrame, Sitting
from galleries.steps import jobs
from galleries.steps.days import planning, showing, sitters_list
from tests.cast import Cast, make_cast
from tests.steps.days import school

pytestmark = pytest.mark.django_db
GETS = ("studio-day", "studio-day-frames", "studio-day-slates", "studio-day-list")
POSTS = ("studio-day-sitters", "studio-day-frames", "studio-day-back", "studio-day-show", "studio-day-remind")


@pytest.fixture
def cast() -> Cast:
    return make_cast()


@pytest.fixture
def day(cast: Cast) -> Day:
    return school.make(cast)


def at(day: Day, name: str, *more: object) -> str:
    return reverse(name, args=[day.holding.slug, *more])


def test_invited_people_and_strangers_hear_of_no_day(cast: Cast, day: Day, tmp_path: Path) -> None:
    school.bring(cast, day, tmp_path / "card", "A.")
    school.put_all_sure(cast, day)
    showing.show_all(day, cast.as_owner)
    ansa = Sitting.objects.get(sitter__day=day, subject_given="Ansa").invites.get(role="subject")
    for person, status in ((None, 302), (ansa, 302), (cast.subject, 302), (cast.stranger, 404), (cast.colleague, 404)):
        client = cast.client_of(person)
        for name in GETS:
            assert client.get(at(day, name)).status_code == status, (person, name)
        for name in POSTS:
            assert client.post(at(day, name)).status_code == status, (person, name)
        assert client.get(at(day, "studio-day-slate", 1)).status_code == status
    for page in ("sheet", "plan"):
        assert cast.client_of(ansa).get(f"/s/{day.holding.slug}/{page}").status_code == 404


def test_an_ordinary_sitting_is_no_day_and_a_days_overview_leads_to_its_page(cast: Cast, day: Day) -> None:
    client = cast.client_of(cast.owner)
    assert client.get(reverse("studio-day", args=[cast.sitting.slug])).status_code == 404
    assert client.get(at(day, "studio-sitting")).headers["Location"] == at(day, "studio-day")
    front = client.get(reverse("studio")).content.decode()
    assert at(day, "studio-day") in front
    assert "frames of the day" not in front, "what holds them is no sitting of its own to whoever looks"


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"typed": "Ansa Veld; nowhere"}, "Line 1: “nowhere” is not an e-mail address."),
        ({"typed": ""}, "There is no sitter in this list"),
        ({"name": "", "typed": "Ansa Veld"}, "This field is required"),
        ({"file": SimpleUploadedFile("list.csv", b"\x00\x01")}, "no text that can be read"),
    ],
)
def test_a_list_that_is_wrong_makes_no_day_and_says_why(cast: Cast, fields: dict[str, object], words: str) -> None:
    client = cast.client_of(cast.owner)
    before = Sitting.objects.count()
    answer = client.post(reverse("new-day"), {"name": "Kestrel School", "allowance": 3, **fields})
    assert answer.status_code == 400
    assert words in answer.content.decode()
    assert (Day.objects.count(), Sitting.objects.count()) == (0, before)


def test_more_sitters_by_their_form_and_what_is_wrong_stays_typed(cast: Cast, day: Day) -> None:
    client = cast.client_of(cast.owner)
    bad = client.post(at(day, "studio-day-sitters"), {"typed": "Kim Lee; nowhere"})
    assert bad.status_code == 400
    assert "Kim Lee; nowhere" in bad.content.decode()
    assert client.post(at(day, "studio-day-sitters"), {"typed": "Kim Lee; kim@lee.example"}).status_code == 302
    assert day.sitters.count() == 4


def test_strips_refuse_what_is_no_choice(cast: Cast, day: Day, tmp_path: Path) -> None:
    school.bring(cast, day, tmp_path / "card", "A.")
    client, frame = cast.client_of(cast.owner), day.holding.frames.order_by("pk").last()
    assert frame is not None
    for fields in (
        {"do": "place"},
        {"do": "move", "to": "stays"},
        {"do": "move", "frame": frame.pk, "to": "x"},
        {"do": "move", "frame": "９", "to": "stays"},
        {"do": "move", "frame": frame.pk, "to": cast.sitting.pk},
        {"strip-1": str(cast.sitting.pk), "frames-1": str(frame.pk), "do": "place"},
        {"strip-1": "9" * 30, "frames-1": str(frame.pk), "do": "place"},
    ):
        assert client.post(at(day, "studio-day-frames"), fields).status_code == 400, fields
    assert client.post(at(day, "studio-day-back")).status_code == 409
    assert client.get(at(day, "studio-day-frames")).status_code == 200


def test_a_frame_taken_for_a_slate_that_cannot_be_read_is_ticked_and_moved_as_a_frame(
    cast: Cast, day: Day, tmp_path: Path
) -> None:
    school.bring(cast, day, tmp_path / "card", "A..B")
    wrong, other = day.holding.frames.order_by("number")[1:3]
    DayFrame.objects.filter(frame=wrong).update(sight=DayFrame.Sight.UNREAD)
    client, page = cast.client_of(cast.owner), at(day, "studio-day-frames")
    slate = day.holding.frames.order_by("number")[0]
    answer = client.get(page).content.decode()
    ticks = [f'name="frame" value="{one.pk}"' in answer for one in (wrong, other, slate)]
    assert ticks == [True, True, False], "a slate that was read stays one"
    home = Sitting.objects.get(sitter__day=day, sitter__position=1)
    assert client.post(page, {"do": "move", "frame": [wrong.pk, other.pk], "to": home.pk}).status_code == 302
    jobs.run_waiting(day.holding, ["place"])
    assert list(home.frames.order_by("number").values_list("pk", "hidden")) == [(wrong.pk, False), (other.pk, False)]
    client.post(page, {"do": "move", "frame": slate.pk, "to": home.pk})
    jobs.run_waiting(day.holding, ["place"])
    assert home.frames.get(pk=slate.pk).hidden


def test_the_slates_are_a_page_each_and_the_list_runs_no_formula(cast: Cast) -> None:
    rows = sitters_list.read("name;e-mail;agent\n=1+1 Veld;ansa@veld.example;@agency\nJules Marlow;;\n")
    day = planning.make_day(cast.owner, "Kestrel School", None, rows)
    client: Client = cast.client_of(cast.owner)
    paper = client.get(at(day, "studio-day-slates"))
    assert paper.headers["Content-Type"] == "application/pdf"
    assert paper.content.startswith(b"%PDF")
    table = list(csv.reader(io.StringIO(client.get(at(day, "studio-day-list")).content.decode())))
    assert table[1][:4] == ["1", "'=1+1 Veld", "ansa@veld.example", "'@agency"]
    assert client.get(at(day, "studio-day-slate", 9)).status_code == 404


def test_the_pages_cost_the_same_with_three_sitters_and_with_fifteen(cast: Cast, day: Day, tmp_path: Path) -> None:
    school.bring(cast, day, tmp_path / "card", "A..B.")
    client = cast.client_of(cast.owner)

    def cost(name: str) -> int:
        with CaptureQueriesContext(
            connection,
        ) as asked:
            assert client.get(at(day, name)).status_code == 200
        return len(asked)

    names = ("studio-day", "studio-day-frames", "studio-day-list")
    few = {name: cost(name) for name in names}
    planning.add_sitters(day, Visitor(user=cast.owner), sitters_list.read("".join(f"Sitter {n}\n" for n in range(12))))
    assert {name: cost(name) for name in names} == few
