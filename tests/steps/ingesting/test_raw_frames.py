"""Raw files of cameras as frames: what is seen of them, and that nobody invited ever gets one.

The files are DNG after Adobe's specification (`tests.imaging.negatives`).
"""

from __future__ import annotations

from pathlib import Path

import pytest

from galleries import storage
from galleries.access import Act, may
from galleries.models import Final, Frame, Job, JournalLine, OwnCopy, RawFile
from galleries.steps.agreeing import agree, sidecars
from galleries.steps.finishing import versions
from galleries.steps.ingesting import ingest, proof
from galleries.steps.ingesting.watch import Watcher
from galleries.steps.keeping import archive_file, erase, inventory, own_archive, trace
from galleries.web.studio import desk_data
from tests.cast import Cast, make_cast
from tests.imaging.core_pictures import exif, heif, painted, saved
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


# One exposure, two files

RAW = dng(Negative(scene(), subsec="25"))


def picture(**how: object) -> bytes:
    return saved(painted(90, 60), exif=exif(**{"subsec": "25", **how}))


@pytest.mark.parametrize("raw_first", [True, False])
def test_a_raw_file_and_its_picture_are_one_frame_whichever_came_first(
    cast: Cast, tmp_path: Path, *, raw_first: bool
) -> None:
    files = [("KAL_0600.DNG", RAW), ("KAL_0600.JPG", picture())]
    first, second = files if raw_first else files[::-1]
    frame = frame_of(cast, tmp_path, *first)
    Frame.objects.filter(pk=frame.pk).update(hidden=True, reading={"width": 1})
    joined = frame_of(cast, tmp_path, *second)
    assert joined.pk == frame.pk
    frame = Frame.objects.get(pk=frame.pk)
    assert (frame.name, frame.shown, frame.file_format, frame.width) == ("KAL_0600.JPG", "file", "JPEG", 90)
    assert frame.hidden  # what a person said of it stays
    assert frame.reading == (None if raw_first else {"width": 1})
    beside = frame.raw_beside
    assert beside is not None
    assert (beside.name, beside.file_format, beside.bytes) == ("KAL_0600.DNG", "DNG", len(RAW))
    for key, data in ((frame.key, picture()), (beside.key, RAW)):
        assert storage.get(storage.private(), key) == data
    assert Job.objects.filter(kind="proof", thing=frame.pk, state="waiting").exists()
    assert JournalLine.objects.get(verb="raw file joined").detail["file"] == second[0]
    # Both are known, and come again as the same.
    assert ingest.known(cast.sitting, [frame.sha256, beside.sha256]) == {frame.sha256, beside.sha256}
    assert [brought(cast, tmp_path, *one).state for one in files] == ["same", "same"]
    assert "beside it the raw file KAL_0600.DNG" in str(desk_data.everything(cast.sitting)["frames"])


@pytest.mark.parametrize(
    ("name", "how", "together"),
    [
        ("KAL_0600.JPG", {}, True),
        ("copy of KAL_0600.jpg", {}, True),
        ("KAL_0601.JPG", {}, False),
        ("KAL.JPG", {}, False),
        ("KAL_0600.JPG", {"subsec": "26"}, False),
        ("KAL_0600.JPG", {"subsec": ""}, True),  # it tells no fraction: the second decides
        ("KAL_0600.JPG", {"taken": "2026:03:14 10:11:13", "subsec": ""}, False),
        ("KAL_0600.JPG", {"camera": "Nordlicht 30"}, False),
        ("KAL_0600.JPG", {"taken": "", "subsec": ""}, False),
    ],
)
def test_what_is_the_same_exposure(
    cast: Cast, tmp_path: Path, name: str, how: dict[str, str], *, together: bool
) -> None:
    frame = frame_of(cast, tmp_path, "KAL_0600.DNG", RAW)
    assert (frame_of(cast, tmp_path, name, picture(**how)).pk == frame.pk) == together


def test_a_heif_pairs_too_and_a_third_file_is_a_frame_of_its_own(cast: Cast, tmp_path: Path) -> None:
    frame = frame_of(cast, tmp_path, "KAL_0600.HEIC", heif(painted(90, 60), exif=exif(subsec="25").tobytes()))
    assert frame_of(cast, tmp_path, "KAL_0600.DNG", RAW).pk == frame.pk
    assert frame_of(cast, tmp_path, "KAL_0600.JPG", picture()).pk != frame.pk
    other = make_cast("another")
    assert frame_of(other, tmp_path, "KAL_0600.JPG", picture()).pk != frame.pk


def test_the_same_raw_file_twice_at_one_moment_joins_once(
    cast: Cast, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    check = ingest.scanner.check

    def meanwhile(path: Path) -> None:
        monkeypatch.setattr(ingest.scanner, "check", check)
        frame_of(cast, tmp_path, "KAL_0600.JPG", picture())
        frame_of(cast, tmp_path, "KAL_0600.DNG", RAW)
        check(path)

    before = Frame.objects.count()
    monkeypatch.setattr(ingest.scanner, "check", meanwhile)
    assert brought(cast, tmp_path, "KAL_0600.DNG", RAW).state == "same"
    assert Frame.objects.count() == before + 1


def test_of_a_card_the_pictures_come_before_their_raw_files(cast: Cast, tmp_path: Path) -> None:
    for name in ("KAL_0600.ARW", "KAL_0600.JPG", "KAL_0601.ARW", "KAL_0601.JPG"):
        (tmp_path / name).write_bytes(b"x")
    names = [path.name for path in ingest.files_in(tmp_path)]
    assert names == ["KAL_0600.JPG", "KAL_0600.ARW", "KAL_0601.JPG", "KAL_0601.ARW"]


def test_a_watched_folder_joins_the_second_half_when_it_comes(cast: Cast, tmp_path: Path) -> None:
    now = [0.0]
    watcher = Watcher(cast.sitting, tmp_path, cast.as_owner, clock=lambda: now[0])
    before = Frame.objects.count()
    for name, data in (("KAL_0600.DNG", RAW), ("KAL_0600.JPG", picture())):
        (tmp_path / name).write_bytes(data)
        watcher.look()
        now[0] += 1
        assert [outcome.state for outcome in watcher.look()] == ["new"]
    assert Frame.objects.count() == before + 1
    assert RawFile.objects.get().name == "KAL_0600.DNG"


def test_both_files_are_named_kept_checked_and_erased(cast: Cast, tmp_path: Path) -> None:
    frame = frame_of(cast, tmp_path, "KAL_0600.DNG", RAW)
    raw_only = trace._keys(frame)[0]
    frame_of(cast, tmp_path, "KAL_0600.JPG", picture())
    frame = Frame.objects.get(pk=frame.pk)
    cast.sitting.stage = "finishing"
    cast.sitting.save()
    rounds = cast.sitting.rounds.get()
    Final.objects.create(sitting=cast.sitting, frame=frame, round=rounds)
    finals = agree.listed(cast.sitting)
    assert "KAL_0600.JPG\nKAL_0600.DNG\n" in agree.as_text(finals)
    assert "KAL_0600\n" in agree.as_text(finals, endings=False).replace("KAL_0600\nKAL_0600", "twice")
    assert ",KAL_0600.DNG\r\n" in agree.as_csv(finals)
    assert "KAL_0600.xmp" in sidecars.sidecars(finals)
    # A copy served while the raw file was alone is still traced, and backup and archive know both.
    assert raw_only.bytes in {key.bytes for key in trace._keys(frame)}
    beside = frame.raw_beside
    assert beside is not None
    assert {(inventory.PRIVATE, frame.key), (inventory.PRIVATE, beside.key)} <= set(inventory.expected(cast.sitting))
    assert [row["fields"]["name"] for row in archive_file.rows_of(cast.sitting)["RawFile"]] == ["KAL_0600.DNG"]
    assert not [path for _place, path in own_archive._unstamped(cast.sitting, [frame], []).items() if "dng" in path]
    original = versions.add_retouch(cast.sitting, tmp_path / "KAL_0600.DNG", "KAL_0600.DNG", cast.as_owner)
    assert "not a retouch" in original.reason
    erase._remove_rows(cast.sitting)
    assert not RawFile.objects.exists()
