"""From a card to frames: every byte verified, nothing twice, a broken file named and kept apart."""

from __future__ import annotations

import errno
import hashlib
import io
import threading
from datetime import UTC, datetime
from pathlib import Path
from unittest.mock import Mock

import pytest
from django.conf import settings
from PIL import Image

from galleries import storage
from galleries.errors import Conflict, Refused
from galleries.models import Frame, Job, JournalLine, Refusal, Sitting
from galleries.steps.ingesting import ingest
from tests.cast import make_cast
from tests.imaging.core_pictures import broken_files
from tests.pictures import camera_file, plan, put_card

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast():
    return make_cast(stage="planning")


def picture(kind: str = "JPEG", **save: object) -> bytes:
    out = io.BytesIO()
    Image.linear_gradient("L").resize((300, 200)).convert("RGB").save(out, kind, **save)
    return out.getvalue()


def test_a_card_becomes_frames_with_what_the_camera_wrote(cast, tmp_path):
    paths = put_card(tmp_path / "DCIM" / "100", 3)
    heard = []
    outcomes = list(
        ingest.add_folder(cast.sitting, tmp_path, cast.as_owner, seen=lambda done, of: heard.append((done, of)))
    )
    assert [outcome.state for outcome in outcomes] == ["new"] * 3
    assert heard == [(1, 3), (2, 3), (3, 3)]
    for path, planned in zip(paths, plan().frames, strict=False):
        frame = Frame.objects.get(name=path.name)
        stored = storage.get(storage.private(), frame.key)
        assert stored == path.read_bytes()
        assert frame.sha256 == hashlib.sha256(stored).hexdigest()
        assert frame.number == int(path.stem.rsplit("_", 1)[1])
        assert frame.captured_at is not None
        assert frame.captured_at.replace(tzinfo=None) == planned.captured_at
        assert frame.look is not None
        assert (frame.width, frame.height) == ((600, 900) if frame.height > frame.width else (900, 600))
    assert Job.objects.filter(kind="proof", state="waiting").count() == 3
    assert JournalLine.objects.filter(verb="frame added").count() == 3


def test_the_files_of_a_card_are_looked_at_side_by_side_and_told_in_their_order(cast, tmp_path, monkeypatch):
    paths = put_card(tmp_path, 6)
    monkeypatch.setattr(ingest.os, "sched_getaffinity", lambda _pid: {0, 1})
    gate, look, ahead = threading.Barrier(2), ingest._looked_at, []

    def looked_at(path):
        ahead.append(path)
        gate.wait(30)  # nobody passes alone
        return look(path)

    monkeypatch.setattr(ingest, "_looked_at", looked_at)
    outcomes = ingest.add_folder(cast.sitting, tmp_path, cast.as_owner)
    assert next(outcomes).name == paths[0].name
    assert len(ahead) <= 4, "no further ahead than there are cores"
    assert [outcome.name for outcome in outcomes] == [path.name for path in paths[1:]]
    assert [outcome.state for outcome in ingest.add_folder(cast.sitting, tmp_path, cast.as_owner)] == ["same"] * 6
    assert len(ahead) == 6, "what is there is not looked at again"


def lying_about():
    folder = Path(settings.INCOMING_DIR)
    return list(folder.iterdir()) if folder.is_dir() else []


def test_what_is_kept_are_the_bytes_that_were_verified(cast, tmp_path, monkeypatch):
    """Another shot takes the file's place on the card while it is looked at."""
    (path,), look, other = put_card(tmp_path, 1), ingest._looked_at, make_cast("other")
    first = path.read_bytes()

    def looked_at(brought):
        facts = look(brought)
        path.write_bytes(camera_file(1)[1])
        return facts

    monkeypatch.setattr(ingest, "_looked_at", looked_at)
    for outcomes in ([ingest.add_frame(cast.sitting, path, path.name, cast.as_owner)],
                     ingest.add_folder(other.sitting, tmp_path, other.as_owner)):  # fmt: skip
        for outcome in outcomes:
            kept = storage.get(storage.private(), outcome.frame.key)
            assert (hashlib.sha256(kept).hexdigest(), kept) == (outcome.frame.sha256, first)
        path.write_bytes(first)
    assert not lying_about()


@pytest.mark.parametrize("same_disk", [True, False])
def test_a_file_is_copied_once_and_nothing_lies_about(cast, tmp_path, monkeypatch, same_disk):
    copies = []
    monkeypatch.setattr(storage.FolderStore, "_save", lambda _store, name, _file: copies.append(name) or name)
    if not same_disk:
        monkeypatch.setattr(storage.os, "link", Mock(side_effect=OSError(errno.EXDEV, "another disk")))
    put_card(tmp_path, 3)
    outcomes = ingest.add_folder(cast.sitting, tmp_path, cast.as_owner)
    frame = next(outcomes).frame
    outcomes.close()  # broken off
    assert copies == ([] if same_disk else [frame.key])
    if same_disk:
        path = Path(storage.private().path(frame.key))
        assert (path.stat().st_nlink, path.stat().st_mode & 0o777) == (1, 0o600)
    assert not lying_about()


def test_another_file_of_a_known_name_and_length_is_a_frame_all_the_same(cast, tmp_path):
    (path,) = put_card(tmp_path, 1)
    first = path.read_bytes()
    list(ingest.add_folder(cast.sitting, tmp_path, cast.as_owner))
    path.write_bytes(first[:2] + b"\xff\xfe\x00\x04ab" + first[2:])
    cast.sitting.frames.update(bytes=path.stat().st_size)
    assert [outcome.state for outcome in ingest.add_folder(cast.sitting, tmp_path, cast.as_owner)] == ["new"]
    assert cast.sitting.frames.count() == 2
    assert not lying_about()


def test_the_same_bytes_twice_are_one_frame(cast, tmp_path):
    put_card(tmp_path, 2)
    (tmp_path / "copy of the first.jpg").write_bytes(camera_file(0)[1])
    states = [outcome.state for outcome in ingest.add_folder(cast.sitting, tmp_path, cast.as_owner)]
    assert sorted(states) == ["new", "new", "same"]
    assert [o.state for o in ingest.add_folder(cast.sitting, tmp_path, cast.as_owner)] == ["same"] * 3
    assert Frame.objects.count() == 2
    assert len(list(storage.private().keys(storage.home(cast.sitting.uid)))) == 2
    digest = Frame.objects.first().sha256
    assert ingest.known(cast.sitting, [digest, "0" * 64]) == {digest}


def test_the_same_bytes_in_two_sittings_are_two_frames(cast, tmp_path):
    other = make_cast("another", stage="planning")
    (path,) = put_card(tmp_path, 1)
    for one in (cast, other):
        assert ingest.add_frame(one.sitting, path, path.name, one.as_owner).state == "new"


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("cut.jpg", lambda: camera_file(0)[1][:-20_000], "KAL|cut|truncat|end|broken|read"),
        ("notes.jpg", lambda: b"dear editor, the files follow", "no picture|not a picture|JPEG"),
        ("page.jpg", lambda: b"<svg xmlns='http://www.w3.org/2000/svg'/>", "no picture|not a picture|JPEG"),
        ("anim.jpg", lambda: picture("GIF"), "GIF|JPEG"),
        ("empty.jpg", lambda: b"", "empty|no picture|not a picture"),
    ],
)
def test_a_refused_file_is_listed_with_its_reason_and_the_rest_goes_on(cast, tmp_path, name, content, words):
    put_card(tmp_path, 1)
    (tmp_path / name).write_bytes(content())
    outcomes = {outcome.name: outcome for outcome in ingest.add_folder(cast.sitting, tmp_path, cast.as_owner)}
    assert sorted(outcome.state for outcome in outcomes.values()) == ["new", "refused"]
    refusal = Refusal.objects.get()
    assert refusal.name == name
    assert refusal.why == outcomes[name].reason
    assert any(word in refusal.why for word in words.split("|")), refusal.why
    assert refusal.why.endswith(".")


def test_over_the_limits_is_refused_before_decoding(cast, tmp_path, settings):
    settings.MAX_FRAME_SIDE = 1_000
    path = tmp_path / "wide.png"
    Image.new("RGB", (1_200, 10)).save(path)
    outcome = ingest.add_frame(cast.sitting, path, path.name, cast.as_owner)
    assert outcome.state == "refused"
    assert "1,200" in outcome.reason or "1200" in outcome.reason


@pytest.mark.parametrize(("kind", "ending"), [("TIFF", "jpg"), ("PNG", "tif"), ("HEIF", "png"), ("JPEG", "heic")])
def test_content_decides_and_never_the_name(cast, tmp_path, kind, ending):
    import pillow_heif

    pillow_heif.register_heif_opener()
    path = tmp_path / f"KAL_0001.{ending}"
    path.write_bytes(picture(kind))
    outcome = ingest.add_frame(cast.sitting, path, path.name, cast.as_owner)
    assert outcome.state == "new", outcome.reason
    assert outcome.frame.file_format == kind
    assert outcome.frame.key.endswith(storage.ENDINGS[kind])


def test_a_damaged_transfer_is_not_kept(cast, tmp_path):
    (path,) = put_card(tmp_path, 1)
    with pytest.raises(Conflict, match="arrived damaged"):
        ingest.add_frame(cast.sitting, path, path.name, cast.as_owner, digest="0" * 64)
    assert not Frame.objects.exists()
    assert not Refusal.objects.exists()


def test_an_archived_sitting_takes_no_frames(cast, tmp_path):
    (path,) = put_card(tmp_path, 1)
    Sitting.objects.update(stage="archived")
    cast.sitting.refresh_from_db()
    with pytest.raises(Refused, match="is archived"):
        ingest.add_frame(cast.sitting, path, path.name, cast.as_owner)
    with pytest.raises(Refused, match="is archived"):
        list(ingest.add_folder(cast.sitting, tmp_path, cast.as_owner))


def test_companions_and_hidden_files_are_passed_over(cast, tmp_path):
    (path,) = put_card(tmp_path, 1)
    for name in ("KAL_0001.WAV", "KAL_0001.xmp", ".DS_Store", "Thumbs.db"):
        (tmp_path / name).write_bytes(b"x")
    (tmp_path / ".trash").mkdir()
    (tmp_path / ".trash" / "old.jpg").write_bytes(b"x")
    assert ingest.files_in(tmp_path) == [path]


@pytest.mark.parametrize(
    ("name", "number"),
    [("KAL_0412.JPG", 412), ("_MG_7.tif", 7), ("a12b034-edit.jpg", 34), ("portrait.jpg", None), ("IMG.0099", None)],
)
def test_frame_numbers(name, number):
    assert ingest.frame_number(name) == number


@pytest.mark.parametrize(
    ("sent", "kept"),
    [
        ("C:\\cards\\KAL_1.JPG", "KAL_1.JPG"),
        ("../../etc/passwd", "passwd"),
        ("a\x00b\nc.jpg", "abc.jpg"),
        ("", "unnamed"),
    ],
)
def test_names_lose_their_path_and_their_control_characters(sent, kept):
    assert ingest.clean_name(sent) == kept


def test_the_cameras_clock_is_kept_as_it_was_written():
    assert ingest._camera_clock(datetime(2026, 5, 3, 10, 4)) == datetime(2026, 5, 3, 10, 4, tzinfo=UTC)
    assert ingest._camera_clock(None) is None


def test_every_broken_file_is_refused_with_one_sentence_and_none_is_stored(cast, tmp_path):
    """The frozen set of broken files (cut short, bytes flipped, lying headers, bombs, wrong content)."""
    broken = broken_files()
    assert len(broken) >= 200
    for number, (_what, data) in enumerate(broken):
        (tmp_path / f"BAD_{number:04d}.JPG").write_bytes(data)
    (good,) = put_card(tmp_path / "last", 1)
    outcomes = {outcome.name: outcome for outcome in ingest.add_folder(cast.sitting, tmp_path, cast.as_owner)}
    assert outcomes.pop(good.name).state == "new"
    accepted = [name for name, outcome in outcomes.items() if outcome.state != "refused"]
    assert not accepted
    for name, outcome in outcomes.items():
        assert outcome.reason.endswith("."), (name, outcome.reason)
        assert "\n" not in outcome.reason
        assert "Traceback" not in outcome.reason
    assert Frame.objects.count() == 1
    assert len(list(storage.private().keys(storage.home(cast.sitting.uid)))) == 1
