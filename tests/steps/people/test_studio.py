"""The studio's name stands in every stamp: a new name stamps anew by itself, a name that comes back too."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.contrib.auth.models import User
from django.forms.models import model_to_dict
from django.test import Client
from django.urls import reverse

from galleries.errors import Refused
from galleries.models import Frame, Job, Proof, Studio
from galleries.steps import derived, jobs
from galleries.steps.ingesting import ingest, proof
from galleries.steps.keeping import upkeep
from galleries.steps.people import studio
from tests.cast import Cast, make_cast
from tests.pictures import put_card

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast(tmp_path: Path) -> Cast:
    cast = make_cast()
    Studio.objects.all().delete()
    Studio.objects.create(name="Harbour Light", photographer="Tamsin Orr", email="studio@portal.example")
    put_card(tmp_path / "card", 2)
    list(ingest.add_folder(cast.sitting, tmp_path / "card", cast.as_owner))
    jobs.run_waiting()
    return cast


def rename(cast: Cast, name: str) -> None:
    now = Studio.current()
    now.name = name
    studio.change(now, cast.as_owner)


def shown() -> set[str]:
    return {made.recipe for frame in Frame.objects.all() if (made := proof.current(frame))}


def test_a_new_name_stamps_every_proof_anew_and_the_old_name_again(cast: Cast) -> None:
    first, keys = shown(), {made.large_key for made in Proof.objects.all()}
    rename(cast, "Quay Street Portraits")
    assert Job.objects.filter(kind="restamp", state="waiting").count() == 1
    jobs.run_waiting()
    assert shown() == {derived.stamp_recipe()} != first
    assert not keys & {made.large_key for made in Proof.objects.newest().values()}
    assert Proof.objects.count() == 4  # the former ones stay: stray copies of them can still be traced
    rename(cast, "Harbour Light")
    jobs.run_waiting()
    assert shown() == first


def test_versions_are_stamped_anew_too(cast: Cast) -> None:
    final = cast.sitting.finals.create(frame=Frame.objects.first(), round=cast.sitting.rounds.get(), state="shown")
    frame = final.frame
    version = final.versions.create(
        number=1, sha256=frame.sha256, key=frame.key, name="v.jpg", bytes=1, width=frame.width, height=frame.height,
        proof_key="as it was",
    )  # fmt: skip
    rename(cast, "Quay Street Portraits")
    jobs.run_waiting()
    version.refresh_from_db()
    assert version.proof_key.startswith("sittings/")


@pytest.mark.parametrize("change", [{"stamp_text": "Orr"}, {"stamp_strength": "strong"}])
def test_another_text_or_strength_stamps_anew_and_the_way_back_is_told(cast: Cast, change: dict[str, str]) -> None:
    before, first = derived.stamp_recipe(), {made.large_key for made in Proof.objects.all()}
    now = Studio.current()
    for name, value in change.items():
        setattr(now, name, value)
    studio.change(now, cast.as_owner)
    told = studio.stamping()
    assert (told.done, told.of, told.broken, told.at_work) == (0, 2, 0, True)
    jobs.run_waiting()
    told = studio.stamping()
    assert (told.done, told.of, told.at_work) == (2, 2, False)
    assert derived.stamp_recipe() != before
    assert not first & {made.large_key for made in Proof.objects.newest().values()}


def test_a_proof_that_cannot_be_stamped_anew_is_counted(cast: Cast) -> None:
    rename(cast, "Quay Street Portraits")
    proof.restamp(0)
    Job.objects.filter(kind="proof", state="waiting", thing=Frame.objects.earliest("pk").pk).update(state="failed")
    assert studio.stamping().broken == 1


def test_other_data_of_the_studio_stamp_nothing(cast: Cast) -> None:
    now = Studio.current()
    now.telephone = "+44 20 7946 0000"
    studio.change(now, cast.as_owner)
    assert Studio.current().telephone
    assert not Job.objects.filter(kind="restamp").exists()


def test_nobody_invited_renames_the_studio(cast: Cast) -> None:
    now = Studio.current()
    now.name = "Mine"
    with pytest.raises(Refused):
        studio.change(now, cast.as_subject)
    assert Studio.current().name == "Harbour Light"


def test_the_administration_renames_by_the_same_verb(cast: Cast) -> None:
    chief = User.objects.create_superuser("chief", password="a long enough one")
    client, row = Client(), Studio.current()
    client.force_login(chief)
    form = {name: value for name, value in model_to_dict(row).items() if value is not None}
    answer = client.post(
        reverse("admin:galleries_studio_change", args=[row.pk]), {**form, "name": "Quay Street Portraits"}
    )
    assert answer.status_code == 302
    assert Job.objects.filter(kind="restamp").count() == 1


def test_a_name_changed_behind_the_verb_is_seen_by_the_upkeep_once(cast: Cast) -> None:
    Studio.objects.update(name="Quay Street Portraits")
    upkeep.stamps_of_today()
    jobs.run_waiting()
    assert shown() == {derived.stamp_recipe()}
    frame = Frame.objects.earliest("pk")
    Studio.objects.update(name="Third Name")
    upkeep.stamps_of_today()
    Job.objects.filter(kind="proof", state="waiting").update(state="failed")
    upkeep.stamps_of_today()
    assert not Job.objects.filter(kind="proof", thing=frame.pk, state="waiting").exists(), "a failure is not repeated"
