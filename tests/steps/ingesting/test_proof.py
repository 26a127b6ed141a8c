"""Stamped proofs: made once, kept apart, without a word of the camera in them."""

from __future__ import annotations

import io
import json
import subprocess

import pytest
from PIL import Image, ImageChops, ImageCms

from galleries import storage
from galleries.models import Frame, Job, Proof, Studio
from galleries.steps import jobs
from galleries.steps.ingesting import ingest, proof
from tests.cast import make_cast
from tests.pictures import put_card

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast(tmp_path):
    cast = make_cast(stage="planning")
    put_card(tmp_path / "card", 2, long_side=1200)
    list(ingest.add_folder(cast.sitting, tmp_path / "card", cast.as_owner))
    return cast


def picture(key: str) -> Image.Image:
    return Image.open(io.BytesIO(storage.get(storage.proofs(), key)))


def test_each_frame_gets_a_large_a_middle_and_a_small_stamped_srgb_file_and_is_read(cast):
    assert jobs.run_waiting(cast.sitting, ["proof"]) == 2
    for frame in Frame.objects.all():
        made = proof.current(frame)
        large, small = picture(made.large_key), picture(made.small_key)
        assert large.size == (made.large_width, made.large_height)
        assert small.size == (made.small_width, made.small_height)
        assert max(large.size) == min(2048, max(frame.width, frame.height))
        middle = picture(made.middle_key)
        assert (max(middle.size), max(small.size)) == (1080, 480)
        for one in (large, middle, small):
            profile = ImageCms.ImageCmsProfile(io.BytesIO(one.info["icc_profile"]))
            assert "sRGB" in ImageCms.getProfileDescription(profile)
        assert frame.reading["face"] is not None
        assert frame.reading_version == 2
        unstamped = Image.open(io.BytesIO(storage.get(*proof.view(frame, max(large.size))))).convert("RGB")
        changed = ImageChops.difference(large.convert("RGB"), unstamped).convert("L").point(lambda v: 255 * (v > 25))
        assert 0.01 < sum(changed.histogram()[255:]) / (large.width * large.height) < 0.5


def test_no_camera_word_is_in_a_proof_by_exiftool(cast, tmp_path):
    jobs.run_waiting(cast.sitting, ["proof"])
    for made in Proof.objects.all():
        for key in (made.large_key, made.middle_key, made.small_key):
            path = tmp_path / "p.jpg"
            path.write_bytes(storage.get(storage.proofs(), key))
            found = json.loads(
                subprocess.run(["exiftool", "-j", "-G", "-a", str(path)], capture_output=True, check=True).stdout
            )[0]
            groups = {name.split(":")[0] for name in found} - {"SourceFile"}
            assert groups <= {"ExifTool", "File", "JFIF", "ICC_Profile", "Composite"}, found
            assert not [name for name in found if "GPS" in name or "Serial" in name]


def test_making_them_again_changes_nothing(cast):
    jobs.run_waiting(cast.sitting, ["proof"])
    before = (list(Proof.objects.values("pk", "large_key")), sorted(storage.proofs().keys("sittings")))
    for frame in Frame.objects.all():
        proof.render(frame.pk)
    assert (list(Proof.objects.values("pk", "large_key")), sorted(storage.proofs().keys("sittings"))) == before


def test_a_new_studio_name_asks_for_new_stamps(cast):
    jobs.run_waiting(cast.sitting, ["proof"])
    Studio.objects.update(name="Harbour Light")
    assert proof.restamp_all() == 2
    jobs.run_waiting(cast.sitting, ["proof"])
    assert Proof.objects.count() == 4
    assert proof.restamp_all() == 0


def test_an_original_that_went_bad_fails_with_a_sentence(cast):
    frame = Frame.objects.first()
    store = storage.private()
    data = storage.get(store, frame.key)
    store.delete(frame.key)
    storage.put(store, frame.key, data[: len(data) // 2])
    jobs.run_waiting(cast.sitting, ["proof"])
    job = Job.objects.get(kind="proof", thing=frame.pk)
    assert job.state == "failed"
    assert job.why.endswith(".")
    assert Proof.objects.count() == 1


def test_when_the_last_proof_is_made_sorting_is_asked_for(cast):
    jobs.run_waiting(cast.sitting, ["proof"])
    assert Job.objects.get(kind="sort").state == "waiting"


def test_a_last_frame_that_fails_leaves_nothing_unsorted(cast):
    frame = Frame.objects.order_by("pk").last()
    store = storage.private()
    data = storage.get(store, frame.key)
    store.delete(frame.key)
    storage.put(store, frame.key, data[: len(data) // 2])
    jobs.run_waiting(cast.sitting, ["proof"])
    assert Job.objects.get(kind="proof", thing=frame.pk).state == "failed"
    jobs.run_waiting(cast.sitting)
    assert Job.objects.get(kind="sort").state == "done"
    assert Frame.objects.exclude(pk=frame.pk).get().look is not None


def test_a_last_frame_that_stops_its_worker_each_time_leaves_nothing_unsorted(cast, settings):
    frame = Frame.objects.order_by("pk").last()
    lost = Job.objects.get(kind="proof", thing=frame.pk)
    jobs.claim(lost.pk)
    jobs.run_waiting(cast.sitting, ["proof"])
    assert not Job.objects.filter(kind="sort").exists()
    Job.objects.filter(pk=lost.pk).update(attempts=settings.JOB_ATTEMPTS - 1, lease_until=None)
    jobs.sweep()
    assert Job.objects.get(pk=lost.pk).state == "failed"
    assert Job.objects.get(kind="sort").state == "waiting"


def test_the_photographers_view_is_private_and_made_once(cast):
    frame = Frame.objects.first()
    first = storage.get(*proof.view(frame, 600))
    assert first == storage.get(*proof.view(frame, 600))
    assert max(Image.open(io.BytesIO(first)).size) == 600
    assert not list(storage.proofs().keys("sittings"))
