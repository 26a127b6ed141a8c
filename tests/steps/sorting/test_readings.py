"""Numbers of readings that are kept between requests are those of the file and the reader that there are now."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from galleries.models import Frame
from galleries.steps.sorting import readings
from galleries.steps.sorting.readings import NOT_READ, numbers_of, readings_of
from tests.cast import Cast, make_cast
from tests.web.invitee.sheets import READING, proved

pytestmark = pytest.mark.django_db
FACE = READING["face"]


@pytest.fixture
def cast() -> Iterator[Cast]:
    readings._kept.clear()
    cast = make_cast()
    for number in (1, 2, 3):
        proved(cast, number, reading=read(0.3), reading_version=4, sha256=f"{number:064d}")
    yield cast
    readings._kept.clear()


def read(openness: float) -> dict[str, object]:
    features = {"features": [0.56, 0.0, 0.28]}
    return {**READING, "face": {**FACE, **features, "right_openness": openness}}  # type: ignore[dict-item]


def openness(cast: Cast) -> list[float | None]:
    told = readings_of(cast.sitting)
    return [told.of(pk).eyes.openness for pk in cast.sitting.frames.order_by("number").values_list("pk", flat=True)]


def test_a_reading_that_is_known_is_not_asked_for_again(cast: Cast) -> None:
    first = readings_of(cast.sitting)
    with CaptureQueriesContext(connection) as asked:
        assert readings_of(cast.sitting) is first
    assert len(asked) == 1
    assert '"reading"' not in asked[0]["sql"]
    assert first.numbers == {frame.pk: numbers_of(frame.read) for frame in cast.sitting.frames.all()}


@pytest.mark.parametrize(
    "changes",
    [
        {"reading_version": 5},  # by a later release
        {"sha256": "b" * 64},  # a JPEG joined its raw file: another file, read by the same reader
    ],
)
def test_another_reader_or_another_file_is_read(cast: Cast, changes: dict[str, object]) -> None:
    assert openness(cast) == [0.3, 0.3, 0.3]
    cast.sitting.frames.filter(number=2).update(reading=read(0.1), **changes)
    assert openness(cast) == [0.3, 0.1, 0.3]


def test_frames_come_and_go_and_lose_their_reading(cast: Cast) -> None:
    assert len(readings_of(cast.sitting).places) == 3
    cast.sitting.frames.filter(number=1).update(reading=None, reading_version=0)
    cast.sitting.frames.filter(number=3).delete()
    fourth = proved(cast, 4, reading=read(0.2), reading_version=4)
    assert openness(cast) == [None, 0.3, 0.2]
    told = readings_of(cast.sitting)
    assert set(told.numbers) == set(told.places) == set(cast.sitting.frames.values_list("pk", flat=True))
    assert told.of(fourth.pk).is_read
    assert told.of(10**6) == NOT_READ


def test_a_reading_that_no_version_stands_for_is_read_each_time(cast: Cast) -> None:
    Frame.objects.update(reading_version=0)
    assert openness(cast) == [0.3, 0.3, 0.3]
    Frame.objects.filter(number=2).update(reading=read(0.1))
    assert openness(cast) == [0.3, 0.1, 0.3]


def test_no_more_are_kept_than_there_is_room_for(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(readings, "MOST", 4)
    other = make_cast("another")
    proved(other, 1, reading=read(0.25), reading_version=4)
    assert openness(cast) + openness(other) == [0.3, 0.3, 0.3, 0.25]
    assert len(readings._kept) == 2
    proved(other, 2, reading=read(0.15), reading_version=4)
    assert openness(other) == [0.25, 0.15]
    assert set(readings._kept) == {other.sitting.uid}
    assert openness(cast) == [0.3, 0.3, 0.3]


@pytest.mark.parametrize("face", [None, {}, {"right_eye": [39.5, 29.5], "left_eye": [59.5, 31.5]}])
def test_a_reading_that_lacks_something_has_the_rest(face: dict[str, object] | None) -> None:
    told = numbers_of({"face": face, "width": 100, "height": 200, "sharpness": 0.4})
    assert (told.is_read, told.has_face, told.differences, told.eyes.sharpness) == (True, bool(face), (), 0.4)
    assert (told.place is None) == (not face)
    assert numbers_of({}) == NOT_READ
