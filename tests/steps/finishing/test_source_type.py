"""How a retouch was made: declared by a person or by the file itself, seen by who approves, stated in every file.

Outside writer and reader: ExifTool. Codes: IPTC NewsCodes 'Digital Source Type'.
"""

from __future__ import annotations

import importlib
import json
import subprocess
from pathlib import Path
from types import SimpleNamespace

import pytest
from django.apps import apps
from django.db import connection
from django.urls import reverse

from galleries import storage
from galleries.access import Visitor
from galleries.errors import BadInput, Refused
from galleries.models import Delivery, DeliverySize, Final, Version
from galleries.steps import jobs
from galleries.steps.delivering import licences, offer, orders, sizes
from galleries.steps.finishing import approvals, source_type, versions
from galleries.steps.keeping import restore
from tests import painted
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db
Kind, Stated = Version.Kind, Version.Stated
VOCABULARY = "http://cv.iptc.org/newscodes/digitalsourcetype/"


@pytest.fixture
def cast() -> Cast:
    return make_cast()


@pytest.fixture
def final(cast: Cast) -> Final:
    return painted.finals_of(cast, 1)[0]


def version_of(cast: Cast, final: Final, path: Path, says: str = "") -> Version:
    """A retouch that comes in, with this kind of source written into it by another program."""
    path.write_bytes(painted.retouched_file(0))
    if says:
        tag = f"-XMP-iptcExt:DigitalSourceType={VOCABULARY}{says}"
        subprocess.run(["exiftool", "-q", "-n", "-overwrite_original", tag, path], check=True)
    found = versions.add_retouch(cast.sitting, path, f"{final.frame.stem}_v1.jpg", cast.as_owner)
    assert found.version is not None, found
    jobs.run_waiting(cast.sitting, kinds=["version"])
    found.version.refresh_from_db()
    return found.version


@pytest.mark.parametrize(
    ("says", "kind"),
    [
        ("compositeWithTrainedAlgorithmicMedia", Kind.GENERATIVE),
        ("trainedAlgorithmicMedia", Kind.GENERATIVE),
        ("algorithmicallyEnhanced", Kind.ENHANCED),
        ("humanEdits", Kind.RETOUCHED),
    ],
)
def test_what_the_file_says_of_itself_is_taken_over(
    cast: Cast, final: Final, tmp_path: Path, says: str, kind: str
) -> None:
    version = version_of(cast, final, tmp_path / "a.jpg", says)
    assert (version.kind, version.kind_stated, version.kind_said_by) == (kind, Stated.FILE, "")


@pytest.mark.parametrize("says", ["", "digitalCapture", "somethingNew"])
def test_what_says_nothing_of_the_retouch_waits_for_a_person(
    cast: Cast, final: Final, tmp_path: Path, says: str
) -> None:
    version = version_of(cast, final, tmp_path / "a.jpg", says)
    assert (version.kind, version.kind_stated) == (Kind.RETOUCHED, Stated.NOBODY)
    assert orders.undeclared([final]) == []  # not approved yet: what is cut is the camera's own file
    approvals.approve(version, cast.as_subject, version.sha256)
    final.refresh_from_db()
    assert orders.undeclared([final]) == [final]
    page = cast.client_of(cast.owner).get(reverse("studio-delivery", args=[cast.sitting.slug])).content.decode()
    assert f"how these retouches were made: {final.frame.label}." in page
    source_type.declare(version, cast.as_owner, Kind.RETOUCHED)
    assert orders.undeclared([final]) == []


def test_a_persons_word_stands_against_the_file(cast: Cast, final: Final, tmp_path: Path) -> None:
    version = version_of(cast, final, tmp_path / "a.jpg")
    source_type.declare(version, cast.as_owner, Kind.GENERATIVE)
    assert (version.kind, version.kind_stated) == (Kind.GENERATIVE, Stated.PERSON)
    assert version.kind_said_by == cast.as_owner.name
    assert "retouch declared" in painted.verbs(cast.sitting)
    versions.render_version(version.pk)  # done again, as after a restart
    version.refresh_from_db()
    assert version.kind == Kind.GENERATIVE
    with pytest.raises(Refused):
        source_type.declare(version, cast.as_subject, Kind.RETOUCHED)
    with pytest.raises(BadInput):
        source_type.declare(version, cast.as_owner, "digitalCapture")


def test_a_person_of_any_name_is_a_person(cast: Cast, final: Final, tmp_path: Path) -> None:
    """The page used to compare the name with a word of the program's own."""
    version = version_of(cast, final, tmp_path / "a.jpg")
    cast.owner.first_name, cast.owner.last_name = "the", "file"
    cast.owner.save()
    source_type.declare(version, Visitor(user=cast.owner), Kind.RETOUCHED)
    page = cast.client_of(cast.owner).get(reverse("studio-final", args=[cast.sitting.slug, final.pk])).content.decode()
    assert "said by the file" in page
    assert "as the file itself says" not in page


@pytest.mark.parametrize(
    ("said_by", "now"), [("", ("", "")), ("the file", ("file", "")), ("Imke Tan", ("person", "Imke Tan"))]
)
def test_what_an_archive_of_before_says_is_taken_over(
    cast: Cast, final: Final, tmp_path: Path, said_by: str, now: tuple[str, str]
) -> None:
    version = version_of(cast, final, tmp_path / "a.jpg")
    Version.objects.filter(pk=version.pk).update(kind_said_by=said_by, kind_stated="")
    restore._carry_versions(cast.sitting, {"sent_at": None, "kind_said_by": said_by})
    version.refresh_from_db()
    assert (version.kind_stated, version.kind_said_by) == now


@pytest.mark.parametrize(
    ("said_by", "now"), [("", ("", "")), ("the file", ("file", "")), ("Imke Tan", ("person", "Imke Tan"))]
)
def test_rows_of_before_say_it_in_a_column(
    cast: Cast, final: Final, tmp_path: Path, said_by: str, now: tuple[str, str]
) -> None:
    version = version_of(cast, final, tmp_path / "a.jpg")
    Version.objects.filter(pk=version.pk).update(kind_said_by=said_by, kind_stated="")
    migration = importlib.import_module("galleries.migrations.0017_who_stated_the_kind")
    migration.state(apps, SimpleNamespace(connection=connection))
    version.refresh_from_db()
    assert (version.kind_stated, version.kind_said_by) == now
    migration.unstate(apps, SimpleNamespace(connection=connection))
    version.refresh_from_db()
    assert version.kind_said_by == said_by


def test_the_delivered_files_state_it_and_only_they_are_made_anew(cast: Cast, final: Final, tmp_path: Path) -> None:
    version = version_of(cast, final, tmp_path / "a.jpg")
    approvals.approve(version, cast.as_subject, version.sha256)
    sizes.load()
    licence = licences.compose(cast.sitting, licences.draft(cast.sitting), cast.as_owner)
    wanted = [DeliverySize.objects.get(slug="casting-4x5-small")]

    def told(changed_only: bool = False) -> str:
        made = orders.prepare(cast.sitting, wanted, licence, cast.as_owner, changed_only=changed_only)
        jobs.run_waiting(cast.sitting, kinds=["delivery"])
        made.refresh_from_db()
        assert made.state == Delivery.State.READY, offer.problem_of(made)
        path = tmp_path / f"{made.number}.jpg"
        path.write_bytes(storage.get(storage.private(), made.files.get().key))
        out = subprocess.run(["exiftool", "-j", "-n", "-DigitalSourceType", path], check=True, capture_output=True)
        return str(json.loads(out.stdout)[0]["DigitalSourceType"])

    assert told().removeprefix(VOCABULARY) == "humanEdits"
    with pytest.raises(BadInput, match="Nothing has changed"):
        orders.prepare(cast.sitting, wanted, licence, cast.as_owner, changed_only=True)
    source_type.declare(version, cast.as_owner, Kind.GENERATIVE)
    assert told(changed_only=True).removeprefix(VOCABULARY) == "compositeWithTrainedAlgorithmicMedia"


def test_the_photographer_says_it_on_the_page_and_who_approves_sees_it(
    cast: Cast, final: Final, tmp_path: Path
) -> None:
    version = version_of(cast, final, tmp_path / "a.jpg")
    studio, slug = cast.client_of(cast.owner), cast.sitting.slug
    assert "Nobody has said so yet" in studio.get(reverse("studio-final", args=[slug, final.pk])).content.decode()
    answer = studio.post(reverse("studio-version-made", args=[slug, version.pk]), {"kind": Kind.GENERATIVE})
    assert answer.status_code == 302
    subject = cast.client_of(cast.subject)
    seen = subject.get(reverse("final", args=[slug, final.pk])).content.decode()
    assert "Edited with a generative tool" in seen
