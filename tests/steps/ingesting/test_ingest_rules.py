"""The rules of coming in, without pictures: a body's length and limits, a frame's row, when sorting is asked for."""

from __future__ import annotations

import hashlib
import io
import os
import time
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from django.db import IntegrityError

from galleries import storage
from galleries.access import Visitor
from galleries.errors import BadInput, Conflict, Missing, Refused
from galleries.imaging.codes import Code
from galleries.imaging.errors import Unsupported
from galleries.models import Final, Frame, Job, JournalLine, Proof, Refusal, Sitting
from galleries.steps import derived
from galleries.steps.ingesting import file_names, incoming, ingest, proof
from galleries.steps.ingesting.watch import GRACE_SECONDS, Watcher
from galleries.told import Told
from tests.cast import Cast, make_cast

SIZES = {"large_width": 4, "large_height": 6, "small_width": 2, "small_height": 3}
FACTS = SimpleNamespace(
    format="JPEG", width=4000, height=6000, bits=8, orientation=6, profile_name="p" * 130, profile_assumed=True,
    camera="c" * 130, captured_at=datetime(2026, 5, 4, 10, 0, 1), shown="file",
    profile_problem=None, sensor_width=0, sensor_height=0, is_raw=False,
)  # fmt: skip


# A body on its way in


@pytest.fixture
def room(tmp_path: Path, settings: Any) -> Path:
    settings.INCOMING_DIR, settings.MAX_FRAME_BYTES = tmp_path / "incoming", 100
    return tmp_path / "incoming"


@pytest.mark.parametrize("length", [1, 99, 100])
def test_a_body_is_there_whole_while_it_is_needed_and_gone_after(room: Path, length: int) -> None:
    data = os.urandom(length)
    with incoming.arriving(io.BytesIO(data + b"of the next request").read, length) as arrived:
        assert arrived.path.read_bytes() == data
        assert (arrived.bytes, arrived.sha256) == (length, hashlib.sha256(data).hexdigest())
        assert arrived.path.parent == room
    assert list(room.iterdir()) == []


@pytest.mark.parametrize(
    ("sent", "announced", "error"),
    [(b"", 0, BadInput), (b"x", -1, BadInput), (b"x" * 101, 101, incoming.TooMuch), (b"x" * 9, 10, Conflict),
     (b"", 10, Conflict)],
)  # fmt: skip
def test_a_body_without_a_length_too_long_or_cut_off_leaves_nothing(
    room: Path, sent: bytes, announced: int, error: type[Exception]
) -> None:
    with pytest.raises(error), incoming.arriving(io.BytesIO(sent).read, announced):
        raise AssertionError("it was let in")
    assert not room.exists() or list(room.iterdir()) == []


def test_a_reader_that_gives_more_than_it_is_asked_for_is_cut_off_too(room: Path) -> None:
    with pytest.raises(incoming.TooMuch), incoming.arriving(lambda _n: b"x" * 60, 100):
        raise AssertionError("it was let in")
    assert list(room.iterdir()) == []


def test_a_body_is_read_in_pieces_no_larger_than_what_is_left(room: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(incoming, "CHUNK", 40)
    asked: list[int] = []
    source = io.BytesIO(b"x" * 100)

    def read(most: int) -> bytes:
        asked.append(most)
        return source.read(most)

    with incoming.arriving(read, 90):
        pass
    assert asked == [40, 40, 10]


def test_only_what_a_killed_process_left_long_ago_is_swept(room: Path) -> None:
    assert incoming.sweep() == 0
    room.mkdir()
    names = {"old.part": 7 * 3600, "young.part": 5 * 3600, "old.zip": 7 * 3600}
    for name, age in names.items():
        (room / name).touch()
        os.utime(room / name, (time.time() - age,) * 2)
    assert incoming.sweep() == 1
    assert sorted(path.name for path in room.iterdir()) == ["old.zip", "young.part"]
    assert incoming.sweep(older_than=4 * 3600) == 1
    assert [path.name for path in room.iterdir()] == ["old.zip"]


# A frame's row


@pytest.fixture
def cast(db: None) -> Cast:
    return make_cast(stage="planning")


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "KAL_0412.JPG"
    path.write_bytes(b"a camera's file")
    return path


@pytest.fixture
def lets_in(monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    seen: list[Path] = []

    def verify(path: Path, _limits: object, *, seconds: float) -> SimpleNamespace:
        assert seconds > 0
        seen.append(path)
        return FACTS

    monkeypatch.setattr(ingest.door, "verify", verify)
    return seen


def test_a_frames_row_says_what_was_found_and_the_cameras_clock_as_it_stood(
    cast: Cast, file: Path, lets_in: list[Path]
) -> None:
    Refusal.objects.create(sitting=cast.sitting, name="KAL_0412.JPG", reason="r", bytes=3)
    Refusal.objects.create(sitting=cast.sitting, name="KAL_0413.JPG", reason="r")
    other = make_cast("beside").sitting.refusals.create(name="KAL_0412.JPG", reason="r")
    digest = hashlib.sha256(b"a camera's file").hexdigest()
    outcome = ingest.add_frame(cast.sitting, file, "DCIM\\100/KAL_0412.JPG", cast.as_owner, digest=digest.upper())
    frame = cast.sitting.frames.get()
    assert (outcome.state, outcome.frame, outcome.name, outcome.reason) == ("new", frame, "KAL_0412.JPG", "")
    assert (frame.name, frame.number, frame.bytes, frame.sha256) == ("KAL_0412.JPG", 412, 15, digest)
    assert (frame.file_format, frame.width, frame.height, frame.bits, frame.orientation) == ("JPEG", 4000, 6000, 8, 6)
    assert (frame.profile, frame.profile_assumed, frame.camera) == ("p" * 120, True, "c" * 120)
    assert frame.captured_at == datetime(2026, 5, 4, 10, 0, 1, tzinfo=UTC)
    assert storage.get(storage.private(), frame.key) == b"a camera's file"
    assert set(Refusal.objects.values_list("name", "sitting")) == {
        ("KAL_0413.JPG", cast.sitting.pk), ("KAL_0412.JPG", other.sitting_id)
    }  # fmt: skip
    job = cast.sitting.jobs.get()
    assert (job.kind, job.thing, job.recipe) == ("proof", frame.pk, derived.stamp_recipe())
    line = cast.sitting.journal.get()
    assert (line.verb, line.who, line.thing, line.detail) == (
        "frame added", cast.as_owner.who, "KAL_0412.JPG", {"sha256": digest}
    )  # fmt: skip
    assert Sitting.objects.get(pk=cast.sitting.pk).change == 1
    again = ingest.add_frame(cast.sitting, file, "other.jpg", cast.as_owner)
    assert (again.state, again.frame, len(lets_in)) == ("same", frame, 1)
    assert (cast.sitting.jobs.count(), cast.sitting.journal.count()) == (1, 1)


def test_a_frame_comes_in_whole_or_not_at_all(
    cast: Cast, file: Path, lets_in: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_words: object, **_more: object) -> None:
        raise ArithmeticError

    monkeypatch.setattr(JournalLine, "write", broken)
    with pytest.raises(ArithmeticError):
        ingest.add_frame(cast.sitting, file, file.name, cast.as_owner)
    assert (Frame.objects.count(), Job.objects.count(), cast.sitting.looks.count()) == (0, 0, 0)


def test_of_the_same_bytes_twice_at_the_same_moment_the_second_is_the_first(
    cast: Cast, file: Path, lets_in: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    first = ingest.add_frame(cast.sitting, file, file.name, cast.as_owner).frame
    lookups = Frame.objects.filter
    monkeypatch.setattr(
        Frame.objects, "filter", lambda *a, **k: Frame.objects.none() if "sha256" in k else lookups(*a, **k)
    )
    outcome = ingest.add_frame(cast.sitting, file, "again.jpg", cast.as_owner)
    assert (outcome.state, outcome.frame, cast.sitting.frames.count()) == ("same", first, 1)
    assert cast.sitting.journal.count() == 1


def test_another_broken_constraint_is_a_fault_and_not_the_same_bytes(
    cast: Cast, file: Path, lets_in: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_words: object, **_more: object) -> None:
        Frame.objects.filter(sitting=cast.sitting).update(width=None)

    ingest.add_frame(cast.sitting, file, file.name, cast.as_owner)
    file.write_bytes(file.read_bytes() + b"more")
    monkeypatch.setattr(JournalLine, "write", broken)
    with pytest.raises(IntegrityError):
        ingest.add_frame(cast.sitting, file, "other.jpg", cast.as_owner)
    assert cast.sitting.frames.count() == 1


@pytest.mark.parametrize("act", ["frame", "folder"])
def test_frames_are_the_photographers_to_bring_and_not_to_an_archived_sitting(
    cast: Cast, file: Path, lets_in: list[Path], act: str
) -> None:
    def bring(by: Visitor) -> object:
        if act == "frame":
            return ingest.add_frame(cast.sitting, file, file.name, by)
        return list(ingest.add_folder(cast.sitting, file.parent, by))

    for by, error in ((cast.as_subject, Refused), (cast.as_recipient, Refused), (Visitor(user=cast.stranger), Missing)):
        with pytest.raises(error):
            bring(by)
    cast.sitting.stage = "archived"
    with pytest.raises(Refused, match="is archived"):
        bring(cast.as_owner)
    assert (lets_in, Frame.objects.count(), Refusal.objects.count()) == ([], 0, 0)
    for stage in ("proofing", "delivered"):
        cast.sitting.stage = stage
        bring(cast.as_owner)
    assert Frame.objects.count() == 1


def test_a_file_is_listed_as_refused_once_for_each_of_its_lengths(
    cast: Cast, file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_what: object, **_how: object) -> None:
        raise Unsupported(Code.NO_PICTURE)

    monkeypatch.setattr(ingest.door, "verify", refuse)
    for content in (b"text", b"more", b"longer"):
        file.write_bytes(content)
        outcome = ingest.add_frame(cast.sitting, file, file.name, cast.as_owner)
        assert (outcome.state, outcome.frame) == ("refused", None)
        assert outcome.reason.endswith(".")
    assert sorted(cast.sitting.refusals.values_list("bytes", flat=True)) == [4, 6]
    assert not list(storage.private().keys("sittings"))  # type: ignore[attr-defined]
    other = make_cast("beside").sitting
    ingest.refuse(other, "x.jpg", file, Told(Code.NO_PICTURE))
    ingest.clear_refusals(cast.sitting)
    assert list(Refusal.objects.values_list("sitting", flat=True)) == [other.pk]


def test_what_a_sitting_has_already_is_asked_of_this_sitting_only(cast: Cast) -> None:
    mine, theirs = cast.frame(1).sha256, make_cast("beside").frame(2).sha256
    assert ingest.known(cast.sitting, iter([mine, theirs, "f" * 64])) == {mine}
    assert ingest.known(cast.sitting, []) == set()


def test_files_of_a_card_are_taken_at_any_depth_and_what_is_not_for_us_is_not(tmp_path: Path) -> None:
    wanted = ["100/KAL_1.JPG", "100/KAL_2.tif", "KAL_1.Cr3", "KAL_1.nef", "a.heic", "noending", "thumbs.db.jpg"]
    unwanted = [
        ".hidden.jpg", ".Trashes/KAL_3.JPG", "100/.x/y/KAL_4.JPG", "Thumbs.db", "100/DESKTOP.INI", "KAL_1.XMP",
        "100/KAL_1.WAV", "notes.txt",
    ]  # fmt: skip
    for name in (*wanted, *unwanted):
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"x")
    (tmp_path / "link.jpg").symlink_to(tmp_path / "a.heic")
    assert [str(path.relative_to(tmp_path)) for path in ingest.files_in(tmp_path)] == wanted


# Proofs


def listed(sitting: Sitting, frame: Frame, state: str = "done") -> Job:
    return Job.objects.create(kind="proof", thing=frame.pk, sitting=sitting, state=state, recipe="today")


@pytest.mark.parametrize(
    ("rows", "sorts"),
    [
        ([("done", True)], True),
        ([("done", True), ("waiting", False)], False),
        ([("done", True), ("running", False)], False),
        ([("done", True), ("running", True)], True),  # its proof is there, its job is about to end
        ([("done", True), ("failed", False)], True),
        ([("done", True), ("waiting", True)], True),
        ([], True),
    ],
)
def test_sorting_is_asked_for_when_no_proof_is_still_to_come(
    cast: Cast, rows: list[tuple[str, bool]], sorts: bool
) -> None:
    for number, (state, proved) in enumerate(rows):
        frame = cast.frame(number)
        listed(cast.sitting, frame, state)
        if proved:
            Proof.objects.create(frame=frame, recipe="today", large_key="l", small_key="s", **SIZES)
        elif state != "failed":  # of another recipe, which does not count
            Proof.objects.create(frame=frame, recipe="before", large_key="l", small_key="s", **SIZES)
    other = make_cast("beside")
    listed(other.sitting, other.frame(1), "waiting")
    Job.objects.create(kind="letter", thing=1, sitting=cast.sitting, state="waiting")
    proof._sort_after_the_last(cast.sitting, "today")
    asked = Job.objects.filter(kind="sort")
    assert list(asked.values_list("sitting", "thing")) == ([(cast.sitting.pk, cast.sitting.pk)] if sorts else [])


def test_a_proof_given_up_without_a_sitting_asks_for_nothing(db: None) -> None:
    proof.given_up(Job(kind="proof", thing=1))
    proof.render(10**9)  # a frame that was removed meanwhile
    assert not Job.objects.exists()


def test_only_frames_whose_newest_proof_is_of_another_recipe_are_stamped_anew(cast: Cast) -> None:
    recipe = derived.stamp_recipe()
    frames = {
        "none": [], "today": [recipe], "before": ["before"], "before, then today": ["before", recipe],
        "today, then before": [recipe, "before"],
    }  # fmt: skip
    numbers = {}
    for number, (name, recipes) in enumerate(frames.items()):
        numbers[name] = cast.frame(number)
        for one in recipes:
            Proof.objects.create(frame=numbers[name], recipe=one, large_key="l", small_key="s", **SIZES)
    archived = make_cast("beside", stage="archived")
    Proof.objects.create(frame=archived.frame(1), recipe="before", large_key="l", small_key="s", **SIZES)
    stale = {name for name, frame in numbers.items() if frame in derived.not_of_today(cast.sitting.frames.all())}
    assert stale == {"none", "before", "today, then before"}
    assert proof.restamp_all() == 2
    jobs_listed = Job.objects.order_by("thing").values_list("thing", "sitting", "recipe")
    assert list(jobs_listed) == [
        (numbers[name].pk, cast.sitting.pk, recipe) for name in ("before", "today, then before")
    ]
    Job.objects.update(state="failed")
    assert proof.restamp_all(again=False) == 2
    assert set(Job.objects.values_list("state", flat=True)) == {"failed"}
    proof.restamp_all()
    assert set(Job.objects.values_list("state", flat=True)) == {"waiting"}
    newest = proof.current(numbers["today, then before"])
    assert newest is not None
    assert (newest.recipe, proof.current(numbers["none"])) == ("before", None)


def test_a_new_name_of_the_studio_stamps_versions_anew_too_where_work_goes_on(cast: Cast) -> None:
    def version(of: Cast, number: int, proof_key: str) -> int:
        final = Final.objects.create(sitting=of.sitting, frame=of.frame(number), round=of.sitting.rounds.get())
        made = final.versions.create(
            number=1, sha256=f"{number:064x}", key="k", name="n", bytes=1, width=4, height=6, proof_key=proof_key
        )
        return int(made.pk)

    stamped, _unstamped, _archived = (
        version(cast, 1, "p"),
        version(cast, 2, ""),
        version(make_cast("b", "archived"), 3, "p"),
    )
    proof.restamp(1)
    assert list(Job.objects.values_list("kind", "thing", "sitting")) == [("version", stamped, cast.sitting.pk)]


# The watched folder


@pytest.mark.parametrize("fault", [Conflict("damaged"), FileNotFoundError(), ValueError("odd")])
def test_a_file_that_goes_wrong_in_the_hand_is_looked_at_again(
    cast: Cast, file: Path, monkeypatch: pytest.MonkeyPatch, fault: Exception
) -> None:
    now = [0.0]
    watcher = Watcher(cast.sitting, file.parent, cast.as_owner, lambda: now[0])

    def add_frame(*_words: object, **_more: object) -> None:
        raise fault

    with monkeypatch.context() as patch:
        patch.setattr(ingest, "add_frame", add_frame)
        for _look in range(3):
            assert watcher.look() == []
            now[0] += 1
    assert watcher.waiting == 1
    monkeypatch.setattr(ingest.door, "verify", lambda *_what, **_how: FACTS)
    assert [outcome.state for outcome in watcher.look()] == ["new"]
    assert watcher.waiting == 0
    assert watcher.look() == []


def test_a_file_that_does_not_decode_is_tried_less_and_less_often_and_then_named(
    cast: Cast, file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    now, tried = [0.0], []

    def refuse(*_what: object, **_how: object) -> None:
        tried.append(now[0])
        raise Unsupported(Code.NO_PICTURE)

    monkeypatch.setattr(ingest.door, "verify", refuse)
    watcher = Watcher(cast.sitting, file.parent, cast.as_owner, lambda: now[0])
    outcomes: list[ingest.Outcome] = []
    while not outcomes and now[0] < 60:
        outcomes = watcher.look()
        assert cast.sitting.refusals.exists() is bool(outcomes)  # it is not named before it is given up
        now[0] += 0.5
    assert [later - sooner for sooner, later in pairwise(tried)] == [1, 2, 4, 8, 16]
    assert tried[-1] >= GRACE_SECONDS > tried[-2]
    assert [outcome.state for outcome in outcomes] == ["refused"]


def test_after_a_restart_what_looks_new_comes_first(
    cast: Cast, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for number in (1, 2, 3):
        (tmp_path / f"KAL_000{number}.JPG").write_bytes(b"x" * number)
    cast.frame(1, bytes=1)
    cast.frame(2, bytes=99)  # another file of that name
    make_cast("beside").frame(3, bytes=3)
    now, taken = [0.0], []
    monkeypatch.setattr(Watcher, "_take", lambda _self, path: taken.append(path.name))
    watcher = Watcher(cast.sitting, tmp_path, cast.as_owner, lambda: now[0])
    watcher.look()
    now[0] += 1
    watcher.look()
    assert taken == ["KAL_0002.JPG", "KAL_0003.JPG", "KAL_0001.JPG"]


# Names


@pytest.mark.parametrize(
    ("name", "own"),
    [
        ("KAL_0412.JPG", True), ("_DSC0001.jpg", True), ("100A9999.TIF", True), ("kal_0412.jpg", True),
        ("copy of KAL_0412.JPG", False), ("KAL_0412 (1).JPG", False), ("KAL_0412-2.JPG", False),
        ("KAL_0000.JPG", False),
        ("KAL_412.JPG", False), ("KAL_0412.JPEG", False), ("K\u00c4L_0412.JPG", False), ("KAL_0412.JPG.JPG", False),
        ("", False), ("KAL_0412.JPG\n", False), ("KAL_\u0661\u0662\u0663\u0664.JPG", False),
    ],
)  # fmt: skip
def test_a_cameras_name_is_known_by_its_form(name: str, own: bool) -> None:
    """DCF (JEITA CP-3461, from memory): eight characters, of which the last four are a number from 0001, and three."""
    assert file_names.is_cameras(name) is own


@pytest.mark.parametrize(
    ("first", "later", "kept"),
    [
        ("copy of KAL_0412.JPG", "KAL_0412.JPG", "KAL_0412.JPG"),
        ("KAL_0412.JPG", "copy of KAL_0412.JPG", "KAL_0412.JPG"),
        ("KAL_0412.JPG", "KAL_0413.JPG", "KAL_0412.JPG"),  # two names of a camera: the first stays
        ("Ansa, best.jpg", "Ansa, best (1).jpg", "Ansa, best.jpg"),
        ("a.jpg", "../card/KAL_0412.JPG", "KAL_0412.JPG"),
    ],
)
@pytest.mark.django_db
def test_the_cameras_own_name_wins_over_a_copys(first: str, later: str, kept: str) -> None:
    cast, other = make_cast(stage="planning"), make_cast("other", "planning")
    frame = cast.frame(1, name=first, sha256="a" * 64)
    theirs = other.frame(1, name="copy of it.jpg", sha256="a" * 64)
    lines = JournalLine.objects.count()
    renamed = ingest.take_names(cast.sitting, {"a" * 64: later, "b" * 64: "KAL_0001.JPG"}, cast.as_owner)
    frame.refresh_from_db()
    theirs.refresh_from_db()
    assert (frame.name, theirs.name) == (kept, "copy of it.jpg")
    assert [one.pk for one in renamed] == ([frame.pk] if kept != first else [])
    written = [(line.verb, line.thing, line.detail) for line in JournalLine.objects.order_by("pk")[lines:]]
    assert written == ([("frame named", kept, {"was": first})] if renamed else [])
    if renamed:
        assert frame.number == 412
        assert ingest.take_names(cast.sitting, {"a" * 64: later}, cast.as_owner) == []


@pytest.mark.django_db
def test_names_are_the_photographers_to_give_while_the_sitting_is_open() -> None:
    cast = make_cast(stage="planning")
    cast.frame(1, name="copy of KAL_0412.JPG", sha256="a" * 64)
    for by in (cast.as_subject, cast.as_representation):
        with pytest.raises(Refused):
            ingest.take_names(cast.sitting, {"a" * 64: "KAL_0412.JPG"}, by)
    Sitting.objects.update(stage="archived")
    with pytest.raises(Refused):
        ingest.take_names(Sitting.objects.get(pk=cast.sitting.pk), {"a" * 64: "KAL_0412.JPG"}, cast.as_owner)
    assert Frame.objects.get(sitting=cast.sitting).name == "copy of KAL_0412.JPG"
