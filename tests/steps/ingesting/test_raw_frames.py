"""Raw files of cameras as frames: what is seen of them, and that nobody invited ever gets one.

The files are DNG after Adobe's specification (`tests.imaging.negatives`).
"""

from __future__ import annotations

from pathlib import Path

import pytest

from galleries import storage
from galleries.access import Act, may
from galleries.models import Frame, OwnCopy
from galleries.steps.finishing import versions
from galleries.steps.ingesting import ingest, proof
from galleries.steps.keeping import own_archive
from galleries.web.studio import desk_data
from tests.cast import Cast, make_cast
from tests.imaging.negatives import Negative, dng, scene, with_preview

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    return make_cast()


def brought(cast: Cast, folder: Path, name: str, data: bytes) -> ingest.Outcome:
    path = folder / name
    path.write_bytes(data)
    return ingest.add_frame(cast.sitting, path, name, cast.as_owner)


def frame_of(cast: Cast, folder: Path, name: str, data: bytes) -> Frame:
    outcome = brought(cast, folder, name, data)
    assert outcome.frame is not None, outcome.reason
    return outcome.frame


def test_a_raw_frame_says_which_picture_is_shown_and_gets_its_proof(cast: Cast, tmp_path: Path) -> None:
    frame = frame_of(cast, tmp_path, "KAL_0501.whatever", dng(Negative(scene(600, 400), orientation=6)))
    assert (frame.file_format, frame.shown, frame.key.rpartition(".")[2]) == ("DNG", "sensor", "dng")
    assert (frame.width, frame.height, frame.sensor_width, frame.sensor_height) == (400, 600, 400, 600)
    proof.render(frame.pk)
    stamped = proof.current(frame)
    assert stamped is not None
    assert (stamped.large_width, stamped.large_height) == (400, 600)
    row = next(one for one in desk_data.everything(cast.sitting)["frames"] if one["id"] == frame.pk)
    assert "DNG of 400 × 600 pixels: developed from the sensor's data" in row["note"]


def test_of_a_raw_file_the_subject_gets_the_picture_it_shows_and_never_the_file(cast: Cast, tmp_path: Path) -> None:
    frame = frame_of(cast, tmp_path, "KAL_0502.DNG", with_preview())
    for visitor in (cast.as_subject, cast.as_representation):
        assert not may(visitor, Act.SEE_ORIGINAL, frame)
    copy = OwnCopy(sitting=cast.sitting, invite=cast.as_subject.invite, with_originals=True)
    names = own_archive._unstamped(cast.sitting, [frame], [])
    assert copy.with_originals
    ((_store, key),) = [place for place, path in names.items() if path.startswith("pictures/originals/")]
    assert key != frame.key
    assert storage.get(storage.private(), key)[:3] == b"\xff\xd8\xff"


def test_a_raw_file_is_no_version(cast: Cast, tmp_path: Path) -> None:
    cast.sitting.stage = "finishing"
    cast.sitting.save()
    path = tmp_path / "KAL_0001.dng"
    path.write_bytes(with_preview())
    outcome = versions.add_retouch(cast.sitting, path, path.name, cast.as_owner)
    assert outcome.kind == "refused"
    assert "raw file" in outcome.reason
