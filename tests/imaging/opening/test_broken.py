"""Two hundred broken files: each gets one sentence, none crashes the opener, hangs it or makes it grow."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from galleries.imaging import errors
from galleries.imaging.contained import children, door
from galleries.imaging.opening import decode
from tests.imaging.core_pictures import broken_files, files
from tests.telling import sentence_of

BROKEN = broken_files()


@pytest.fixture(scope="module", autouse=True)
def _ended() -> Iterator[None]:
    yield
    door.close()


def _is_one_sentence(text: str) -> bool:
    return (
        text[0].isupper()
        and text.endswith(".")
        and "\n" not in text
        and ". " not in text
        and 15 <= len(text) <= 200
        and "Error" not in text
    )


def test_there_are_two_hundred_and_all_differ() -> None:
    assert len({data for _, data in BROKEN}) >= 200


def test_each_is_refused_with_one_sentence() -> None:
    wrong = []
    for what, data in BROKEN:
        try:
            facts = decode.verify(data)
            wrong.append(f"{what}: opened as {facts.width} × {facts.height}")
        except errors.ImagingError as error:
            if not _is_one_sentence(sentence_of(error)):
                wrong.append(f"{what}: {error}")
    assert not wrong


def test_the_child_gives_the_same_verdicts_and_neither_grows_nor_dies() -> None:
    sound = files()["jpeg"]
    door.close()
    door.verify(sound)
    child = children.pool.idle[0]
    grown: list[int] = []
    for _ in range(2):
        for what, data in BROKEN:
            started = time.monotonic()
            with pytest.raises(errors.ImagingError) as refused:
                door.verify(data, seconds=20)
            assert "stopped the decoder" not in sentence_of(refused.value), what
            assert time.monotonic() - started < 25, what
        grown.append(_resident_kb(child.process.pid))
    assert door.verify(sound).width == 160
    assert children.pool.idle[0] is child
    assert grown[1] - grown[0] < 8_000


def _resident_kb(pid: int) -> int:
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmRSS:"))


@pytest.mark.parametrize("name", sorted(files()))
def test_the_sound_originals_open(name: str) -> None:
    facts = decode.verify(files()[name])
    assert (facts.width, facts.height) == (160, 120)
