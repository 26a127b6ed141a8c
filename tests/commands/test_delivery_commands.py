"""manage.py cut, deliver, rights and trace, as a person or a script calls them."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import OperationalError

from galleries import storage
from galleries.models import Delivery, DeliverySize
from galleries.steps.delivering import offer, sizes
from galleries.steps.finishing import approvals
from galleries.steps.ingesting import proof
from galleries.steps.keeping import trace
from tests import painted
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db

ROOT = Path(__file__).resolve().parents[2]
SIZE = ["--size", "web-square"]


@pytest.fixture
def cast() -> Cast:
    made = make_cast()
    sizes.load()
    for final in painted.finals_of(made, proofs=True):
        approvals.deliver_as_it_is(final, made.as_owner)
    return made


def test_from_crops_to_a_file_that_says_its_rights(
    cast: Cast, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    call_command("cut", "ansa-veld", *SIZE, "--sheet", str(tmp_path / "sheet.jpg"), "--json")
    crops = json.loads(capsys.readouterr().out)
    assert [crop["size"] for crop in crops] == ["web-square", "web-square"]
    assert all(crop["crop"][2] == crop["crop"][3] for crop in crops)
    assert (tmp_path / "sheet.jpg").read_bytes()[:2] == b"\xff\xd8"

    call_command("deliver", "ansa-veld", *SIZE, "--out", str(tmp_path / "out"), "--json")
    told = json.loads(capsys.readouterr().out)
    assert told["state"] == "ready"
    with zipfile.ZipFile(told["archive"]) as archive:
        archive.extractall(tmp_path)
        assert archive.testzip() is None
    picture = next(tmp_path.rglob("*_web-square.jpg"))

    call_command("rights", str(picture))
    said = capsys.readouterr().out
    assert "Delivered as veld-ansa_linen-shirt_" in said
    assert "under licence 1." in said
    assert "Made by Tamsin Okonedo-Vale." in said
    assert "Data mining of any kind is prohibited" in said

    with pytest.raises(CommandError, match="Nothing has changed"):
        call_command("deliver", "ansa-veld", *SIZE, "--changed-only")
    assert Delivery.objects.count() == 1


def test_rights_of_what_is_not_ours(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "camera.jpg").write_bytes(painted.camera_files()[0][1])
    call_command("rights", str(tmp_path / "camera.jpg"))
    assert "No delivery here holds exactly these bytes." in capsys.readouterr().out
    (tmp_path / "text.jpg").write_bytes(b"no picture at all")
    with pytest.raises(SystemExit) as ended:
        call_command("rights", str(tmp_path / "text.jpg"), "--json")
    assert ended.value.code == 1
    with pytest.raises(CommandError, match="cannot be read"):
        call_command("rights", str(tmp_path / "none.jpg"))


def test_rights_are_read_where_there_are_no_tables(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_tables(digest: str) -> None:
        raise OperationalError("no such table: galleries_deliveredfile")

    monkeypatch.setattr(offer, "of_file", no_tables)
    (tmp_path / "camera.jpg").write_bytes(painted.camera_files()[0][1])
    call_command("rights", str(tmp_path / "camera.jpg"))
    shown = capsys.readouterr().out
    assert "There is no database with deliveries here" in shown
    assert "No delivery here" not in shown


@pytest.mark.parametrize("command", ["rights", "frame-report"])
def test_where_there_is_no_site_a_command_that_reads_a_file_leaves_none(tmp_path: Path, command: str) -> None:
    (tmp_path / "camera.jpg").write_bytes(painted.camera_files()[0][1])
    ended = subprocess.run(
        [sys.executable, ROOT / "manage.py", command, tmp_path / "camera.jpg"],
        env={"PATH": os.environ["PATH"], "PORTAL_HOME": str(tmp_path / "home")},
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert ended.returncode == 0, ended.stderr
    assert "camera.jpg" in ended.stdout
    assert command != "rights" or "There is no database with deliveries here" in ended.stdout
    assert not (tmp_path / "home").exists()


def test_a_stray_copy_is_traced(cast: Cast, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    frame = cast.sitting.frames.first()
    shown = proof.current(frame)
    (tmp_path / "leak.jpg").write_bytes(storage.get(storage.proofs(), trace.traced_copy(shown, cast.representation)))
    call_command("trace", str(tmp_path / "leak.jpg"), "--sitting", "ansa-veld", "--json")
    told = json.loads(capsys.readouterr().out)
    assert told["frame"] == frame.name
    assert [one["name"] for one in told["invites"]] == [cast.representation.name]
    (tmp_path / "base.jpg").write_bytes(storage.get(storage.proofs(), shown.large_key))
    with pytest.raises(SystemExit):
        call_command("trace", str(tmp_path / "base.jpg"), "--sitting", "ansa-veld")
    assert "not found" in capsys.readouterr().out


@pytest.mark.parametrize(
    "line",
    [
        ["cut", "nobody"],
        ["deliver", "nobody"],
        ["deliver", "ansa-veld", "--size", "no-such-size"],
        ["trace", "/no/such/file"],
        ["verify", "nobody"],
    ],
)
def test_mistakes_are_told_in_one_line(cast: Cast, line: list[str]) -> None:
    with pytest.raises(CommandError) as caught:
        call_command(*line)
    assert len(str(caught.value).splitlines()) == 1


def test_a_delivery_that_fails_says_why(cast: Cast) -> None:
    DeliverySize.objects.filter(slug="web-square").update(byte_cap=24_000)
    with pytest.raises(CommandError, match=r"could not be made: .*would fit"):
        call_command("deliver", "ansa-veld", *SIZE)


@pytest.mark.parametrize(
    "name", ["sizes", "cut", "deliver", "rights", "retention", "restore", "verify", "trace", "signing-certificate"]
)
def test_help_has_an_example(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        call_command(name, "--help")
    assert ended.value.code == 0
    said = capsys.readouterr().out
    assert f"example:\n  manage.py {name}" in said
    assert "--json" in said
