"""frame-report and cut-file: the same work on single files, nothing stored."""

from __future__ import annotations

import io
import json

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from PIL import Image

from galleries.painter import truth_of
from tests.pictures import camera_file, plan

# No database mark: pytest-django forbids any query here, which is the point.


@pytest.fixture(scope="module")
def card(tmp_path_factory):
    folder = tmp_path_factory.mktemp("card")
    name, data = camera_file(1, 1500)
    (folder / name).write_bytes(data)
    return folder / name


def run(*words):
    out = io.StringIO()
    call_command(*[str(word) for word in words], stdout=out, stderr=io.StringIO())
    return out.getvalue()


def test_the_report_names_what_was_painted(card):
    truth = truth_of(plan(), plan().frames[1], 1500)
    told = json.loads(run("frame-report", card, "--json"))
    picture = Image.open(card)
    assert sorted((told["width"], told["height"])) == sorted(picture.size)
    assert told["captured_at"].startswith(plan().frames[1].captured_at.isoformat(timespec="seconds"))
    eyes = {eye.subject_side: (eye.x, eye.y) for eye in truth.eyes}
    apart = ((eyes["left"][0] - eyes["right"][0]) ** 2 + (eyes["left"][1] - eyes["right"][1]) ** 2) ** 0.5
    for side, (x, y) in eyes.items():
        found = told["eyes"][side]
        assert ((found[0] - x) ** 2 + (found[1] - y) ** 2) ** 0.5 < 0.05 * apart
    assert told["eyes"]["left"][0] > told["eyes"]["right"][0]  # the subject's own left is on the picture's right
    assert told["crown_y"] < told["eyes"]["left"][1] < told["chin_y"]
    assert set(told["face"]) == {"x", "y", "width", "height"}
    assert str(card.name) in run("frame-report", card)


def test_a_picture_without_a_face_says_why_and_several_files_make_a_list(card, tmp_path):
    plain = tmp_path / "backdrop.png"
    Image.linear_gradient("L").resize((800, 600)).convert("RGB").save(plain)
    told = json.loads(run("frame-report", card, plain, "--json"))
    assert [row["face"] is None for row in told] == [False, True]
    assert told[1]["reason"]
    assert told[1]["eyes"] is told[1]["crown_y"] is told[1]["roll_deg"] is None


def test_a_file_that_is_no_picture_does_not_stop_the_rest(card, tmp_path):
    bad = tmp_path / "notes.jpg"
    bad.write_text("no picture")
    out = io.StringIO()
    with pytest.raises(SystemExit) as ended:
        call_command("frame-report", str(bad), str(tmp_path / "gone.jpg"), str(card), "--json", stdout=out, stderr=out)
    assert ended.value.code == 1
    rows = json.loads(out.getvalue().splitlines()[-1])
    assert [("error" in row) for row in rows] == [True, True, False]


def test_cuts_have_exactly_the_sizes_pixels_and_caps(card, tmp_path):
    slugs = ["print-4x6", "casting-square", "casting-4x5-small", "full"]
    words = [word for slug in slugs for word in ("--size", slug)]
    rows = json.loads(run("cut-file", card, *words, "--out", tmp_path / "cuts", "--json"))
    assert [(row["width"], row["height"]) for row in rows[:3]] == [(1200, 1800), (1080, 1080), (1200, 1500)]
    frame = json.loads(run("frame-report", card, "--json"))
    for row in rows:
        with Image.open(row["path"]) as picture:
            picture.load()
            assert picture.size == (row["width"], row["height"])
        x, y, w, h = row["crop"]
        assert x >= 0
        assert y >= 0
        assert x + w <= frame["width"]
        assert y + h <= frame["height"]
    assert rows[2]["bytes"] <= 500_000
    assert rows[3]["crop"] == [0, 0, frame["width"], frame["height"]]
    assert any("enlarged" in line for row in rows for line in row["warnings"])


def test_what_cannot_be_cut_is_one_sentence_and_nothing_is_written(card, tmp_path):
    with pytest.raises(CommandError, match=r"“print-9x9”.*print-8x10"):
        run("cut-file", card, "--size", "print-9x9", "--out", tmp_path / "none")
    with pytest.raises(CommandError, match=r"gone\.jpg"):
        run("cut-file", tmp_path / "gone.jpg", "--size", "full", "--out", tmp_path / "none")
    assert not (tmp_path / "none").exists()
