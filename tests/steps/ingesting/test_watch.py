"""The watched folder: slow writers, renames, half-dead writers, restarts. The clock is the test's own."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest
from django.conf import settings

from galleries.errors import Refused
from galleries.models import Frame, Refusal, Sitting
from galleries.steps.ingesting.watch import GRACE_SECONDS, STILL_SECONDS, Watcher
from tests.cast import Cast, make_cast
from tests.pictures import camera_file

pytestmark = pytest.mark.django_db


class Clock:
    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now

    def tick(self, seconds: float = STILL_SECONDS + 0.01) -> None:
        self.now += seconds


@pytest.fixture
def cast() -> Cast:
    return make_cast()


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path


@pytest.fixture
def look(cast: Cast, clock: Clock, folder: Path) -> Callable[[], list[tuple[str, str]]]:
    """One look of the watcher, as (name, state)."""
    watcher = Watcher(cast.sitting, folder, cast.as_owner, clock)

    def once() -> list[tuple[str, str]]:
        return [(outcome.name, outcome.state) for outcome in watcher.look()]

    once.watcher = watcher  # type: ignore[attr-defined]
    return once


NAME, DATA = camera_file(0)


def test_a_file_is_taken_when_it_has_stood_still(folder: Path, clock: Clock, look: Callable[[], object]) -> None:
    (folder / NAME).write_bytes(DATA)
    assert look() == []
    clock.tick(STILL_SECONDS / 2)
    assert look() == []
    clock.tick()
    assert look() == [(NAME, "new")]
    clock.tick(100)
    assert look() == []
    assert not list(Path(settings.INCOMING_DIR).glob("*"))


def test_a_slow_writer_is_waited_for(folder: Path, clock: Clock, look: Callable[[], object]) -> None:
    step = len(DATA) // 5 + 1
    with open(folder / NAME, "wb") as out:
        for start in range(0, len(DATA), step):
            out.write(DATA[start : start + step])
            out.flush()
            os.utime(folder / NAME, ns=(start, start + 1))
            assert look() == []
            clock.tick(STILL_SECONDS * 0.9)
    clock.tick()
    assert look() == [(NAME, "new")]
    assert Frame.objects.get().bytes == len(DATA)


def test_a_writer_that_pauses_for_long_is_not_taken_for_dead(
    folder: Path, clock: Clock, look: Callable[[], object]
) -> None:
    path = folder / NAME
    path.write_bytes(DATA[: len(DATA) // 2])
    for _second in range(6):
        assert look() == []
        clock.tick(1)
    assert not Refusal.objects.exists()
    path.write_bytes(DATA)
    assert look() == []
    clock.tick()
    assert look() == [(NAME, "new")]


def test_a_writer_that_died_is_named_and_gets_another_chance(
    folder: Path, clock: Clock, look: Callable[[], object]
) -> None:
    path = folder / NAME
    path.write_bytes(DATA[: len(DATA) // 2])
    seen: list[object] = []
    for _second in range(int(GRACE_SECONDS) * 3):
        seen += look()  # type: ignore[arg-type]
        clock.tick(1)
    assert seen == [(NAME, "refused")]  # once, however long it lies there
    assert Refusal.objects.get().name == NAME
    path.write_bytes(DATA)
    look()
    clock.tick()
    assert look() == [(NAME, "new")]
    assert not Refusal.objects.exists()


def test_a_file_renamed_into_the_folder_is_taken(
    folder: Path, clock: Clock, look: Callable[[], object], tmp_path_factory: pytest.TempPathFactory
) -> None:
    elsewhere = tmp_path_factory.mktemp("camera") / "transfer.tmp"
    elsewhere.write_bytes(DATA)
    os.utime(elsewhere, (1_600_000_000, 1_600_000_000))  # its time is old: a rename does not renew it
    (folder / f".{NAME}.part").write_bytes(DATA[:50])  # hidden: a transfer of another program
    elsewhere.rename(folder / NAME)
    look()
    clock.tick()
    assert look() == [(NAME, "new")]


def test_a_restart_in_the_middle_stores_nothing_twice(cast: Cast, folder: Path, clock: Clock) -> None:
    names = []
    for index in range(3):
        name, data = camera_file(index)
        (folder / name).write_bytes(data)
        names.append(name)
    first = Watcher(cast.sitting, folder, cast.as_owner, clock)
    first.look()
    clock.tick()
    assert len(first.look()) == 3
    fresh, data = camera_file(12)
    (folder / fresh).write_bytes(data)
    again = Watcher(cast.sitting, folder, cast.as_owner, clock)
    again.look()
    clock.tick()
    outcomes = [(outcome.name, outcome.state) for outcome in again.look()]
    assert outcomes[0] == (fresh, "new")  # the shot just taken does not wait for those from before
    assert sorted(outcomes[1:]) == sorted((name, "same") for name in names)
    assert Frame.objects.count() == 4


def test_a_counter_that_came_round_again_is_another_frame(
    cast: Cast, folder: Path, clock: Clock, look: Callable[[], object]
) -> None:
    (folder / NAME).write_bytes(DATA)
    look()
    clock.tick()
    look()
    other = folder / "101"
    other.mkdir()
    (other / NAME).write_bytes(camera_file(1)[1])
    look()
    clock.tick()
    assert look() == [(NAME, "new")]
    assert Frame.objects.count() == 2


def test_files_that_vanish_or_are_empty_or_foreign_do_no_harm(
    folder: Path, clock: Clock, look: Callable[[], object]
) -> None:
    (folder / NAME).write_bytes(DATA)
    (folder / "EMPTY.JPG").write_bytes(b"")
    (folder / "KAL_0001.XMP").write_bytes(b"<x/>")
    look()
    (folder / NAME).unlink()
    clock.tick()
    assert look() == []
    assert look.watcher.waiting == 0  # type: ignore[attr-defined]


def test_a_file_over_the_limit_is_refused_without_being_read_whole(
    cast: Cast, folder: Path, clock: Clock, look: Callable[[], object], settings: object
) -> None:
    settings.MAX_FRAME_BYTES = 1000  # type: ignore[attr-defined]
    (folder / NAME).write_bytes(DATA)
    seen: list[object] = []
    for _second in range(60):
        seen += look()  # type: ignore[arg-type]
        clock.tick(1)
    assert seen == [(NAME, "refused")]


def test_an_archived_sitting_ends_the_watch(cast: Cast, folder: Path, clock: Clock, look: Callable[[], object]) -> None:
    (folder / NAME).write_bytes(DATA)
    look()
    Sitting.objects.filter(pk=cast.sitting.pk).update(stage="archived")  # by another process
    clock.tick()
    with pytest.raises(Refused, match="archived"):
        look()


def test_frames_go_to_the_look_that_another_process_started(
    cast: Cast, folder: Path, clock: Clock, look: Callable[[], object]
) -> None:
    look()
    coat = cast.look("Rain coat")
    Sitting.objects.filter(pk=cast.sitting.pk).update(current_look=coat)
    (folder / NAME).write_bytes(DATA)
    look()
    clock.tick()
    look()
    assert Frame.objects.get().look == coat
