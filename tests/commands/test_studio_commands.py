"""ingest, proofs, looks and watch from the command line: lines for people, JSON for programs, honest exit status."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from galleries.models import Frame, Job, Sitting
from galleries.steps.people import account
from tests.cast import Cast, make_cast
from tests.pictures import put_card

pytestmark = pytest.mark.django_db
ROOT = Path(__file__).resolve().parent.parent.parent


@pytest.fixture
def cast() -> Cast:
    return make_cast()


def run(name: str, *args: str) -> tuple[str, int]:
    """What it printed and its exit status."""
    out, status = io.StringIO(), 0
    try:
        call_command(name, *args, stdout=out, stderr=io.StringIO())
    except SystemExit as end:
        status = int(end.code or 0)
    return out.getvalue(), status


def test_a_card_is_brought_in_once(cast: Cast, tmp_path: Path) -> None:
    put_card(tmp_path / "DCIM" / "100KAL", 3)
    (tmp_path / "DCIM" / "100KAL" / "KAL_0001.XMP").write_bytes(b"what a camera puts beside")
    said, status = run("ingest", str(tmp_path), "--sitting", cast.sitting.slug)
    assert (said.splitlines()[-1], status) == ("3 new, 0 there already, 0 refused.", 0)
    said, status = run("ingest", str(tmp_path), "--sitting", cast.sitting.slug, "--json")
    assert (json.loads(said)["same"], status) == (3, 0)
    assert Frame.objects.count() == 3


def test_a_refused_file_is_named_and_the_status_says_so(cast: Cast, tmp_path: Path) -> None:
    (good,) = put_card(tmp_path, 1)
    (tmp_path / "HALF.JPG").write_bytes(good.read_bytes()[:5000])
    said, status = run("ingest", str(tmp_path), "--sitting", cast.sitting.slug)
    assert status == 1
    assert said.startswith("refused: HALF.JPG: ")
    assert Frame.objects.count() == 1


@pytest.mark.parametrize("name", ["ingest", "watch"])
def test_a_wrong_folder_or_sitting_is_one_clear_line(cast: Cast, tmp_path: Path, name: str) -> None:
    with pytest.raises(CommandError, match="is not a folder"):
        run(name, str(tmp_path / "none"), "--sitting", cast.sitting.slug)
    with pytest.raises(CommandError, match="There is no sitting 'nobody'; there are: ansa-veld"):
        run(name, str(tmp_path), "--sitting", "nobody")
    Sitting.objects.update(stage="archived")
    put_card(tmp_path, 1)
    with pytest.raises(CommandError, match="archived"):
        run(name, str(tmp_path), "--sitting", cast.sitting.slug, *(["--for", "5"] if name == "watch" else []))


def test_an_empty_folder_is_not_all_done(cast: Cast, tmp_path: Path) -> None:
    assert run("ingest", str(tmp_path), "--sitting", cast.sitting.slug)[1] == 1


def test_proofs_are_made_and_failed_ones_tried_again(cast: Cast, tmp_path: Path) -> None:
    put_card(tmp_path, 2)
    run("ingest", str(tmp_path), "--sitting", cast.sitting.slug)
    said, status = run("proofs", cast.sitting.slug, "--list")
    assert (said, status) == ("0 of 2 frames have a proof; 2 lack the present stamp.\n", 1)
    said, status = run("proofs", cast.sitting.slug)
    assert (said, status) == ("2 of 2 frames have a proof; 0 lack the present stamp.\n", 0)
    cast.studio.name = "Northlight and Daughters"
    cast.studio.save()
    assert json.loads(run("proofs", cast.sitting.slug, "--list", "--json")[0])["missing"] == 2
    assert run("proofs", cast.sitting.slug, "--again")[1] == 0
    frame = cast.frame(99)  # a row whose file is gone
    said, status = run("proofs", cast.sitting.slug, "--again", "--json")
    found = json.loads(said)
    assert status == 1
    assert [one["frame"] for one in found["failed"]] == [frame.name]
    assert Job.objects.get(kind="proof", thing=frame.pk).state == "failed"


def test_looks_are_proposed_with_their_reasons_and_nothing_is_stored(cast: Cast) -> None:
    """Two outfits with a pause between them, as numbers: the arithmetic itself has its tests in tests/sorting."""
    start = datetime(2026, 3, 4, 10, tzinfo=UTC)
    for number in range(1, 13):
        later = number > 6
        wardrobe, backdrop = (
            ([62.0, 20.0, 24.0], [70.0, 1.0, 2.0]) if later else ([35.0, -12.0, 8.0], [48.0, 6.0, 12.0])
        )
        reading = {"wardrobe_lab": wardrobe, "backdrop_lab": backdrop, "light_x": 0.2, "light_y": 0.4}
        at = start + timedelta(seconds=20 * number + 900 * later)
        cast.frame(number, captured_at=at, camera="K1", reading=reading)
    unread = cast.frame(99)
    assert run("looks", cast.sitting.slug)[1] == 1  # one is not read yet
    unread.delete()
    before = list(Frame.objects.order_by("pk").values_list("look_id", flat=True))
    said, status = run("looks", cast.sitting.slug, "--json")
    found = json.loads(said)
    assert status == 0
    assert [look["frames"] for look in found["looks"]] == [6, 6]
    assert [look["first"] for look in found["looks"]] == ["KAL_0001.JPG", "KAL_0007.JPG"]
    assert found["looks"][1]["reasons"]
    assert list(Frame.objects.order_by("pk").values_list("look_id", flat=True)) == before
    assert run("looks", cast.sitting.slug)[0].startswith("1. ")


def test_the_watch_takes_what_lies_there_and_ends_on_time(cast: Cast, tmp_path: Path) -> None:
    put_card(tmp_path, 2)
    said, _status = run("watch", str(tmp_path), "--sitting", cast.sitting.slug, "--json", "--for", "2")
    assert [json.loads(line)["state"] for line in said.splitlines()] == ["new", "new"]
    with pytest.raises(CommandError, match=r"--every must be 0\.05 to 5"):
        run("watch", str(tmp_path), "--sitting", cast.sitting.slug, "--every", "60")


@pytest.mark.parametrize("name", ["ingest", "watch", "proofs", "looks", "agreed"])
def test_help_has_an_example(name: str) -> None:
    done = subprocess.run([sys.executable, "manage.py", name, "--help"], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0
    assert f"example:\n  manage.py {name} " in done.stdout


def test_every_table_stands_in_the_upkeep_and_records_cannot_be_changed(cast: Cast) -> None:
    from django.apps import apps
    from django.contrib import admin

    account.allow_upkeep(cast.owner)
    client: Client = cast.client_of(cast.owner)
    frame = cast.frame(1, cast.look())
    run_verb(cast, frame)
    for model in apps.get_app_config("galleries").get_models():
        assert model in admin.site._registry, model
        name = f"admin:galleries_{model._meta.model_name}"
        assert client.get(reverse(f"{name}_changelist")).status_code == 200, model
    line = cast.sitting.journal.first()
    assert line is not None
    where = reverse("admin:galleries_journalline_change", args=[line.pk])
    assert client.get(where).status_code == 200
    assert client.post(where, {"who": "somebody else"}).status_code == 403
    assert (
        client.post(reverse("admin:galleries_journalline_delete", args=[line.pk]), {"post": "yes"}).status_code == 403
    )
    for model_name in ("sitting", "studio", "invite"):
        thing = getattr(
            cast, "studio" if model_name == "studio" else "sitting" if model_name == "sitting" else "subject"
        )
        assert client.get(reverse(f"admin:galleries_{model_name}_change", args=[thing.pk])).status_code == 200


def run_verb(cast: Cast, frame: Frame) -> None:
    from galleries.steps.sorting import looks

    looks.set_hidden(cast.sitting, [frame.pk], True, cast.as_owner)


def test_the_upkeep_is_for_staff_only(cast: Cast) -> None:
    for client in (Client(), cast.client_of(cast.owner), cast.client_of(cast.subject)):
        assert client.get(reverse("admin:index")).status_code == 302
