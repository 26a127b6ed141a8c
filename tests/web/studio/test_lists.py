"""Both lists side by side; the list closed, reopened, and handed to the editor."""

from __future__ import annotations

import csv
import io
import re
import zipfile

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from galleries.models import Frame, Invite, Letter, Mark
from galleries.steps.picking import pick
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    made = make_cast()
    look = made.look()
    for number in range(1, 5):
        made.frame(number, look)
    return made


def at(cast: Cast, name: str, *more: str) -> str:
    return reverse(name, args=[cast.sitting.slug, *more])


def mark(invite: Invite, number: int, kind: str, note: str = "") -> None:
    frame = Frame.objects.get(number=number)
    Mark.objects.create(invite=invite, frame=frame, kind=kind, note=note, acted_at=timezone.now())


def ids(*numbers: int) -> list[int]:
    return [Frame.objects.get(number=number).pk for number in numbers]


def test_frames_stand_under_who_picked_them(cast: Cast, client: Client) -> None:
    mark(cast.subject, 1, "pick", "my <own> favourite")
    mark(cast.representation, 1, "pick")
    mark(cast.subject, 2, "pick")
    mark(cast.representation, 3, "pick")
    mark(cast.subject, 4, "strike")
    text = client.get(at(cast, "studio-lists")).content.decode()
    sections = re.findall(r'class="strip standing (\w+)">(.*?)</section>', text, re.DOTALL)
    standings = {name: re.findall(r"<b>(\d{4})</b>", section) for name, section in sections}
    assert standings == {"agreed": ["0001"], "subject": ["0002"], "representation": ["0003"], "rest": ["0004"]}
    assert "my &lt;own&gt; favourite" in text
    chosen = [int(pk) for pk in re.findall(r'name="frame" value="(\d+)" checked', text)]
    assert chosen == ids(1, 2, 3)  # what the program proposes within the three included; a strike never is


def test_marks_made_elsewhere_are_news_to_the_open_page(cast: Cast, client: Client) -> None:
    page = client.get(at(cast, "studio-lists"))
    cursor = page.context["sitting"].change
    assert f'data-change="{cursor}"' in page.content.decode()
    news = at(cast, "studio-lists-news")
    assert client.get(news, {"since": cursor}).status_code == 204
    pick.set_mark(cast.as_subject, Frame.objects.get(number=2).pk, kind="pick")
    assert client.get(news, {"since": cursor}).json() == {"change": cursor + 1}
    assert cast.client_of(cast.representation).get(news).status_code == 302
    assert cast.client_of(cast.stranger).get(news).status_code == 404


def test_closing_makes_finals_and_lists_one_letter_each(cast: Cast, client: Client) -> None:
    assert client.post(at(cast, "studio-close"), {"frame": ids(2, 1)}).status_code == 302
    cast.sitting.refresh_from_db()
    assert cast.sitting.stage == "finishing"
    assert [final.frame.number for final in cast.sitting.finals.order_by("position")] == [2, 1]
    assert Letter.objects.filter(kind="closed").count() == 3  # subject, representation, photographer
    assert client.post(at(cast, "studio-close"), {"frame": ids(1)}).status_code == 403


@pytest.mark.parametrize("frames", [[], ["x"], ["999999"]])
def test_a_list_is_not_closed_with_nothing_or_nonsense(cast: Cast, client: Client, frames: list[str]) -> None:
    assert client.post(at(cast, "studio-close"), {"frame": frames}).status_code == 400
    cast.sitting.refresh_from_db()
    assert cast.sitting.stage == "proofing"


def test_a_closed_list_opens_again_only_with_a_reason(cast: Cast, client: Client) -> None:
    assert client.post(at(cast, "studio-reopen"), {"reason": "x"}).status_code == 409
    client.post(at(cast, "studio-close"), {"frame": ids(1)})
    assert client.post(at(cast, "studio-reopen"), {"reason": " "}).status_code == 400
    assert client.post(at(cast, "studio-reopen"), {"reason": "a third look is wanted"}).status_code == 302
    cast.sitting.refresh_from_db()
    assert cast.sitting.stage == "agreeing"
    page = client.get(at(cast, "studio-lists"))
    assert "a third look is wanted" in page.content.decode()


def test_the_agreed_list_goes_to_the_editor_in_four_forms(cast: Cast, client: Client) -> None:
    assert client.get(at(cast, "studio-agreed", "txt")).status_code == 404
    client.post(at(cast, "studio-close"), {"frame": ids(3, 1)})
    assert client.get(at(cast, "studio-agreed", "txt")).content == b"KAL_0003.JPG\nKAL_0001.JPG\n"
    assert client.get(at(cast, "studio-agreed", "names")).content == b"KAL_0003\nKAL_0001\n"
    rows = list(csv.reader(io.StringIO(client.get(at(cast, "studio-agreed", "csv")).content.decode(), newline="")))
    assert [row[1] for row in rows] == ["file", "KAL_0003.JPG", "KAL_0001.JPG"]
    packed = zipfile.ZipFile(io.BytesIO(client.get(at(cast, "studio-agreed", "sidecars")).content))
    assert packed.namelist() == ["KAL_0003.xmp", "KAL_0001.xmp"]
    assert client.get(at(cast, "studio-agreed", "doc")).status_code == 404


def test_sidecars_say_it_to_an_outside_reader(cast: Cast, client: Client, tmp_path: object) -> None:
    """xmp:Rating is -1 to 5 and dc:subject a Bag: ISO 16684-1; read here by ExifTool."""
    import json
    import subprocess
    from pathlib import Path

    client.post(at(cast, "studio-close"), {"frame": ids(3)})
    folder = Path(str(tmp_path), "raw")
    call_command("agreed", cast.sitting.slug, "--sidecars", str(folder), stdout=io.StringIO())
    said = subprocess.run(["exiftool", "-json", "-G1", str(folder / "KAL_0003.xmp")], capture_output=True, check=True)
    found = json.loads(said.stdout)[0]
    assert found["XMP-xmp:Rating"] == 5
    assert found["XMP-dc:Subject"] == ["agreed", "Linen shirt"]
    (folder / "KAL_0003.xmp").write_text("the editor's own")
    with pytest.raises(SystemExit):
        call_command("agreed", cast.sitting.slug, "--sidecars", str(folder), stdout=io.StringIO())
    assert (folder / "KAL_0003.xmp").read_text() == "the editor's own"


def test_the_command_prints_the_same_list(cast: Cast, client: Client) -> None:
    with pytest.raises(CommandError, match="no agreed list"):
        call_command("agreed", cast.sitting.slug)
    client.post(at(cast, "studio-close"), {"frame": ids(3, 1)})
    out = io.StringIO()
    call_command("agreed", cast.sitting.slug, "--no-endings", stdout=out)
    assert out.getvalue() == "KAL_0003\nKAL_0001\n"
    out = io.StringIO()
    call_command("agreed", cast.sitting.slug, "--json", stdout=out)
    assert out.getvalue() == '{"sitting": "ansa-veld", "frames": ["KAL_0003.JPG", "KAL_0001.JPG"]}\n'
