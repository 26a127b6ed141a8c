"""On set: the newest frame and the look that is being shot; papers to print."""

from __future__ import annotations

import html
import io
import os
import re
import shlex
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.management import call_command
from django.test import Client
from django.urls import reverse

from galleries.management.commands import watch
from galleries.models import Look, Sitting
from galleries.steps.picking import pick
from galleries.steps.sorting import loupe
from tests.cast import Cast
from tests.painted import add_file, camera_files, frames_of

pytestmark = pytest.mark.django_db


def at(cast: Cast, name: str) -> str:
    return reverse(name, args=[cast.sitting.slug])


def test_news_are_the_newest_frames_first_and_204_while_nothing_comes(cast: Cast, client: Client) -> None:
    cast.frame(1)
    cast.frame(2)
    found = client.get(at(cast, "studio-set-news")).json()
    assert [frame["label"] for frame in found["frames"]] == ["0002", "0001"]
    assert client.get(at(cast, "studio-set-news"), {"since": found["change"]}).status_code == 204


def test_the_studio_judges_without_the_stamp_and_at_the_eyes(cast: Cast, client: Client) -> None:
    frame = frames_of(cast, 1, proofs=True)[0]
    cast.frame(9)  # came later; its proof is not made yet
    coming, ready = client.get(at(cast, "studio-set-news")).json()["frames"]
    assert (coming["large"], coming["eyes"]) == ("", "")
    assert ready["large"] == reverse("view-picture", args=[frame.pk])
    assert ready["eyes"] == reverse("studio-eyes", args=[cast.sitting.slug, frame.pk])
    (left, _), (right, _) = ready["pupils"]  # in what the loupe shows
    shown = loupe.region(frame)
    assert 0 < left < right < 1
    face = frame.reading["face"]
    wanted = sorted((face[side][0] + 0.5 - shown.x) / shown.width for side in ("right_eye", "left_eye"))
    assert [left, right] == pytest.approx(wanted, abs=1e-4)
    assert coming["pupils"] == []


def test_the_line_that_is_printed_watches_the_folder_as_it_stands(
    cast: Cast, client: Client, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = client.get(at(cast, "studio-set")).content.decode()
    found = re.search(r'<code id="watching">(.*?)</code>', page)
    assert found is not None
    monkeypatch.setenv("HOME", str(tmp_path))
    words = [os.path.expanduser(word) for word in shlex.split(html.unescape(found[1]))]  # what a shell does with it
    assert words.pop(0) == f"PORTAL_HOME={settings.SITE_DIR}"
    assert os.access(words[0], os.X_OK)
    assert Path(words[1]).samefile(Path(settings.BASE_DIR) / "manage.py")
    assert words[2] == "watch"
    looks, (name, data) = watch.Command._look, camera_files()[0]

    def look(self: watch.Command, *args: Any) -> None:
        if not seen:
            (tmp_path / "tether" / cast.sitting.slug / name).write_bytes(data)  # the folder was made
        seen.append(name)
        looks(self, *args)
        if cast.sitting.frames.exists():
            raise KeyboardInterrupt  # as Ctrl-C would

    seen: list[str] = []
    monkeypatch.setattr(watch.Command, "_look", look)
    call_command(*words[2:], "--for", "60")
    assert cast.sitting.frames.get().name == name


def test_frames_go_to_the_look_that_was_started(cast: Cast, client: Client) -> None:
    client.post(at(cast, "studio-set-look"), {"title": "Rain coat"})
    cast.sitting.refresh_from_db()
    assert cast.sitting.current_look is not None
    name, data = camera_files()[0]
    outcome = add_file(cast.sitting, name, data, cast.as_owner)
    assert outcome.frame is not None
    assert outcome.frame.look == cast.sitting.current_look
    assert client.get(at(cast, "studio-set-news")).json()["look"] == "Rain coat"
    client.post(at(cast, "studio-set-look"), {"do": "end"})
    cast.sitting.refresh_from_db()
    assert cast.sitting.current_look is None


def test_the_subject_marks_on_set_after_one_press_and_the_shoot_goes_on(cast: Cast, client: Client) -> None:
    Sitting.objects.filter(pk=cast.sitting.pk).update(stage="planning")
    frame, subject = cast.frame(1), cast.client_of(cast.subject)
    assert subject.get(at(cast, "sheet")).status_code == 403
    assert at(cast, "studio-publish") in client.get(at(cast, "studio-set")).content.decode()
    answer = client.post(at(cast, "studio-publish"), {"from": "set"})
    assert answer.headers["Location"] == at(cast, "studio-set")
    assert at(cast, "studio-publish") not in client.get(at(cast, "studio-set")).content.decode()
    cast.sitting.refresh_from_db()
    pick.set_mark(cast.as_subject, frame.pk, kind="pick")
    name, data = camera_files()[0]
    assert add_file(cast.sitting, name, data, cast.as_owner).state == "new"
    assert subject.get(at(cast, "sheet")).status_code == 200


def test_the_next_planned_look_or_a_chosen_one_is_started(cast: Cast, client: Client) -> None:
    first, second = cast.look("Linen"), cast.look("Scarf")
    client.post(at(cast, "studio-set-look"), {"title": "", "look": ""})
    cast.sitting.refresh_from_db()
    assert cast.sitting.current_look == first
    client.post(at(cast, "studio-set-look"), {"title": "", "look": second.pk})
    cast.sitting.refresh_from_db()
    assert cast.sitting.current_look == second
    assert client.post(at(cast, "studio-set-look"), {"look": "999"}).status_code == 404


def test_the_contact_sheet_is_a_paper_of_the_size_asked_for(cast: Cast, client: Client) -> None:
    assert client.get(at(cast, "studio-contact")).status_code == 400  # no proof yet
    frames_of(cast, 1, proofs=True)
    look = Look.objects.first()
    assert look is not None
    look.backdrop, look.gel, look.gel_mired = "grey canvas", "half CTO", 109
    look.save()
    for page, box in (("A4", (595.28, 841.89)), ("Letter", (612.0, 792.0))):
        answer = client.get(at(cast, "studio-contact"), {"page": page})
        assert answer.headers["Content-Type"] == "application/pdf"
        found = re.search(rb"/MediaBox \[\s*0 0 ([\d.]+) ([\d.]+)", answer.content)
        assert found is not None
        # ISO 216 and ANSI/ASME Y14.1 (8.5 × 11 in) in points of 1/72 in
        assert (float(found[1]), float(found[2])) == pytest.approx(box, abs=0.5)
    assert client.get(at(cast, "studio-contact"), {"page": "A0"}).status_code == 400


def test_words_on_the_contact_sheet_are_read_by_an_outside_reader(cast: Cast, client: Client) -> None:
    import subprocess

    frames = frames_of(cast, 1, proofs=True)
    Look.objects.update(title="Linen shirt", backdrop="grey canvas", gel="half CTO", gel_mired=109)
    paper = client.get(at(cast, "studio-contact")).content
    text = subprocess.run(["pdftotext", "-", "-"], input=paper, capture_output=True, check=True).stdout.decode()
    for words in ("Linen shirt", "Backdrop: grey canvas", "Gel: half CTO (+109 mired)", frames[0].label):
        assert words in text


def test_set_up_notes_stand_on_their_page(cast: Cast, client: Client) -> None:
    cast.look("Linen shirt", key_light="beauty dish", distance_cm=120, gel="half CTO", gel_mired=109)
    page = client.get(at(cast, "studio-setup")).content.decode()
    assert "Key light: beauty dish" in page
    assert "+109 mired" in page


def test_an_archived_sitting_starts_no_look_with_frames(cast: Cast, client: Client) -> None:
    Sitting.objects.filter(pk=cast.sitting.pk).update(stage="archived")
    assert client.get(at(cast, "studio-set")).status_code == 200
    assert io.BytesIO(client.get(at(cast, "studio-set-news")).content).read()


@pytest.mark.parametrize(
    ("name", "mired", "words", "shift"),
    [
        # Published shifts by strength and Wratten pairs: the project's notes on gels name the sources.
        ("half CTO on the rim", "", "as CTO 1/2: a flash of 5500 K becomes 3438 K", 109),
        ("CTB 1/4", "", "as CTB 1/4", -35),
        ("85B", "", "as 85B: a flash of 5500 K becomes 3196 K", 131),  # published: 5500 to 3200 K
        ("full cto", "150", "+150 mired, as CTO full", None),
        ("full cto", "60", "The published shift of CTO full is +159", None),
        ("", "-500", "No lamp is left", None),
        ("", "warm", "whole number of mired", None),
    ],
)
def test_the_gel_says_what_it_does(
    cast: Cast, client: Client, name: str, mired: str, words: str, shift: int | None
) -> None:
    found = client.get(at(cast, "studio-gel"), {"name": name, "mired": mired}).json()
    assert words in found["words"]
    assert found.get("mired") == shift


def test_a_gel_nobody_knows_says_nothing(cast: Cast, client: Client) -> None:
    assert client.get(at(cast, "studio-gel"), {"name": "rose", "mired": ""}).json() == {}
