"""A test gets what an earlier one was answered, and never its own answer again."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from galleries.imaging.contained import door, plain
from galleries.imaging.errors import ImagingError
from tests import answered
from tests.imaging.core_pictures import files

HERE, OF_IMAGING = "/tests/steps/test_x.py", "/tests/imaging/test_x.py"


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The entries that a real child was asked for, in their order; nothing is kept at first."""
    entries: list[str] = []
    real = answered._ask

    def heard(question: plain.Question, sources: Sequence[int], memory: int) -> tuple[bytes, bool]:
        entries.append(question.entry)
        return real(question, sources, memory)

    monkeypatch.setattr(answered, "_ask", heard)
    monkeypatch.setattr(answered, "shared_folder", lambda: None)
    answered._kept.clear()
    answered._state["bytes"] = 0
    answered.for_test(HERE)
    return entries


def test_the_next_test_gets_the_answer_and_the_same_test_asks_anew(asked: list[str]) -> None:
    sound = files()["jpeg"]
    first = door.verify(sound)
    assert door.verify(sound) == first
    assert asked == ["verify"] * 2, "a test's own question is worked out each time"
    answered.for_test(HERE)
    assert door.verify(sound) == first
    assert len(asked) == 2, "the next test is given it"
    assert door.verify(sound) == first
    assert door.verify(files()["png"]).width == first.width
    assert len(asked) == 4, "other bytes are another question"
    answered.for_test(OF_IMAGING)
    door.verify(sound)
    assert len(asked) == 5


def test_a_refusal_is_not_kept(asked: list[str]) -> None:
    for _test in range(2):
        answered.for_test(HERE)
        with pytest.raises(ImagingError):
            door.verify(files()["jpeg"][:200])
    assert asked == ["verify"] * 2


def test_another_process_of_the_run_gets_the_answer_too(
    asked: list[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(answered, "shared_folder", lambda: tmp_path)
    sound = files()["jpeg"]
    first = door.verify(sound)
    answered._kept.clear()  # as it is in another process
    answered.for_test(HERE)
    assert door.verify(sound) == first
    assert asked == ["verify"]
    assert door.verify(sound) == first
    assert asked == ["verify"] * 2, "a test's own question is worked out each time"
    answered.for_test(OF_IMAGING)
    door.verify(sound)
    assert asked == ["verify"] * 3
    answered.for_test(HERE)
    with pytest.raises(ImagingError):
        door.verify(sound[:200])
    assert len(list(tmp_path.iterdir())) == 1
