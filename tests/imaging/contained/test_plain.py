"""What goes through the door, without a door: questions, answers read against their type, errors, descriptors.

MessagePack's own encoder (msgspec) writes the hostile answers; nothing here starts a process.
"""

from __future__ import annotations

import os
import pickle
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest

from galleries.imaging import errors
from galleries.imaging.codes import Code
from galleries.imaging.contained import child, plain
from galleries.imaging.contained.entries import ENTRIES, Entry, Grey
from galleries.imaging.contained.plain import LONGEST, Handed, Question, Source, Trouble
from galleries.imaging.face.reading import FrameReading
from galleries.imaging.opening.picture import FrameFacts
from galleries.told import Told, told
from tests.imaging.heads import head

# Questions


def test_a_question_comes_out_as_it_went_in() -> None:
    question = Question("verify", (Source(0), 7), {"limits": (1, 2)}, 2.5)
    assert Question.unpacked(question.packed()) == question


@pytest.mark.parametrize("other", [None, ("verify",), {"entry": "verify"}])
def test_what_is_no_question_is_refused(other: object) -> None:
    with pytest.raises(TypeError, match="no question"):
        Question.unpacked(pickle.dumps(other))


# Answers


READING = FrameReading(
    width=40, height=30, read_scale=1.0, face=head(10, 10, 4), face_reason=told(Code.ONE_FACE), detail=0.4,
    monochrome=False, hash="0" * 16, backdrop_lab=(1.0, 2.0, 3.0),
)  # fmt: skip


@pytest.mark.parametrize(
    ("value", "kind"),
    [
        (b"\0\xff", bytes),
        ([b"a", b""], list[bytes]),
        ("text", str),
        (FrameFacts("JPEG", 4, 3, 1, 8, "RGB", "sRGB", True, told(Code.PROFILE_PIECES)), FrameFacts),
        (READING, FrameReading),
        (Grey(b"\0" * 6, 2, 3, 0.5), Grey),
        ((b"a", None), tuple[bytes, Told | None]),
        ((b"a", told(Code.PAPER_LACKS, outside_share=0.5)), tuple[bytes, Told | None]),
        ([told(Code.RIGHTS_FIELD, field="title", wanted="a", actual=None)], list[Told]),
    ],
    ids=lambda value: type(value).__name__ if not isinstance(value, type) else value.__name__,
)
def test_answers_of_every_kind_are_read_back(value: Any, kind: Any) -> None:
    assert plain.unpack(plain.pack(value), kind) == value


@pytest.mark.parametrize(("value", "number"), [(np.float32(0.5), 0.5), (np.int64(7), 7), (np.bool_(True), True)])
def test_numpys_numbers_are_numbers(value: Any, number: Any) -> None:
    assert plain.unpack(plain.pack([value]), list[type(number)]) == [number]


@pytest.mark.parametrize("value", [np.zeros(3), object(), {1, object()}, lambda: None])
def test_what_is_no_plain_data_is_not_sent(value: Any) -> None:
    with pytest.raises(TypeError, match="no plain data"):
        plain.pack(value)


FACTS: dict[str, Any] = msgspec.to_builtins(FrameFacts("JPEG", 4, 3, 1, 8, "RGB", "sRGB", True))


@pytest.mark.parametrize(
    "answer",
    [
        {**FACTS, "width": "4"},
        {**FACTS, "width": 4.5},
        {**FACTS, "format": b"JPEG"},
        {**FACTS, "profile_assumed": 1},
        {**FACTS, "profile_problem": "text"},
        {**FACTS, "captured_at": "yesterday"},
        {name: value for name, value in FACTS.items() if name != "height"},
        [FACTS],
        None,
        "JPEG",
    ],
)
def test_an_answer_of_another_form_is_refused(answer: Any) -> None:
    with pytest.raises(msgspec.ValidationError):
        plain.unpack(msgspec.msgpack.encode(answer), FrameFacts)
    assert plain.unpack(msgspec.msgpack.encode(FACTS), FrameFacts).width == 4


@pytest.mark.parametrize(
    "data", [b"", b"\xc1", msgspec.msgpack.encode(FACTS)[:-1], msgspec.msgpack.encode(FACTS) + b"\0"]
)
def test_damaged_answers_are_refused(data: bytes) -> None:
    with pytest.raises(msgspec.DecodeError):
        plain.unpack(data, FrameFacts)


def test_every_entry_has_a_type_that_can_be_read() -> None:
    for name, entry in ENTRIES.items():
        assert callable(entry.function), name
        msgspec.msgpack.Decoder(entry.answer)


# Errors


@pytest.mark.parametrize(
    "error",
    [
        errors.Unreadable(Code.NO_SIZE, kind="JPEG", width_px=0, height_px=3),
        errors.TooLarge(Code.TOO_MANY_BYTES, size_bytes=9, most_bytes=5),
        errors.DoesNotFit(Code.CAP_UNDER_RIGHTS),
        errors.ImagingError(Code.NETWORKS_MISSING, package="x"),
    ],
    ids=lambda error: type(error).__name__,
)
def test_an_error_comes_out_as_its_own_kind(error: errors.ImagingError) -> None:
    again = plain.unpack(plain.pack(Trouble.of(error)), Trouble).error()
    assert type(again) is type(error)
    assert again.told == error.told


@pytest.mark.parametrize("kind", ["", "Nothing", "error_name", "errno", "Told", "__builtins__", "Self"])
def test_a_name_that_is_no_error_of_ours_is_an_unreadable_file(kind: str) -> None:
    assert type(Trouble(kind, told(Code.NO_SIZE)).error()) is errors.Unreadable


@pytest.mark.parametrize(
    "trouble",
    [
        Trouble("Unreadable", Told("no.such_code")),
        Trouble("Unreadable", told(Code.NO_SIZE, kind="x" * (LONGEST + 1))),
        Trouble("Unreadable", told(Code.NO_SIZE).named("x" * (LONGEST + 1))),
        Trouble("Unreadable", Told(Code.NO_SIZE, {}, "", (told(Code.EMPTY),))),
    ],
)
def test_an_error_that_tells_too_much_is_refused(trouble: Trouble) -> None:
    with pytest.raises(ValueError):
        trouble.error()


def test_a_text_of_the_longest_length_is_let_through() -> None:
    trouble = Trouble("Unreadable", told(Code.NO_SIZE, kind="x" * LONGEST, width_px=10**9))
    assert trouble.error().told.data["kind"] == "x" * LONGEST


# Files as descriptors


@pytest.fixture
def descriptors() -> Any:
    kept: list[int] = []
    yield kept
    for descriptor in kept:
        os.close(descriptor)


@pytest.mark.parametrize("data", [b"", b"a", bytes(range(256)) * 5000])
def test_a_file_in_memory_holds_its_bytes(data: bytes, descriptors: list[int], tmp_path: Path) -> None:
    (tmp_path / "frame").write_bytes(data)
    for source in (data, tmp_path / "frame"):
        descriptors.append(plain.opened(source))
        handed = Handed(descriptors[-1])
        assert (handed.read_bytes(), handed.stat().st_size) == (data, len(data))
        assert handed.read_bytes() == data, "read from its beginning each time"


def test_a_file_that_shrinks_meanwhile_gives_what_is_left(
    descriptors: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    descriptors.append(plain.in_memory(b"all of it"))
    handed = Handed(descriptors[0])
    large = os.stat_result((0, 0, 0, 0, 0, 0, 5000, 0, 0, 0))
    monkeypatch.setattr(Handed, "stat", lambda self: large)
    assert handed.read_bytes() == b"all of it"


def test_a_descriptor_is_not_inherited_and_only_read(tmp_path: Path, descriptors: list[int]) -> None:
    (tmp_path / "frame").write_bytes(b"x")
    descriptors.append(plain.opened(tmp_path / "frame"))
    assert not os.get_inheritable(descriptors[0])
    with pytest.raises(OSError):
        os.write(descriptors[0], b"y")


def test_a_missing_file_is_named_without_its_folder(tmp_path: Path) -> None:
    with pytest.raises(errors.Unreadable) as caught:
        plain.opened(tmp_path / "missing.jpg")
    assert caught.value.told.data == {"name": "missing.jpg", "error": "ENOENT"}


def test_a_pipe_without_a_writer_is_not_waited_for(tmp_path: Path, descriptors: list[int]) -> None:
    os.mkfifo(tmp_path / "pipe")
    descriptors.append(plain.opened(tmp_path / "pipe"))
    assert Handed(descriptors[0]).stat().st_size == 0


# The child's answer


def asked(function: Any, *args: Any, **kwargs: Any) -> tuple[Any, int]:
    question = Question("one", args, kwargs, 1.0)
    data, good = child._answer({"one": Entry(function, Any)}, question, [55, 66])
    return plain.unpack(data, Any if good else Trouble), good


def test_sources_are_handed_over_as_files() -> None:
    def seen(*args: Any, **kwargs: Any) -> list[Any]:
        return [getattr(value, "_descriptor", value) for value in (*args, *kwargs.values())]

    assert asked(seen, Source(1), 5, name=Source(0)) == ([66, 5, 55], 1)


def raising(error: BaseException) -> Any:
    def function() -> None:
        raise error

    return function


def test_each_kind_of_failure_is_told() -> None:
    ours, good = asked(raising(errors.BadCrop(Code.NO_AREA, width_px=0, height_px=1)))
    assert (ours.kind, ours.told, good) == ("BadCrop", told(Code.NO_AREA, width_px=0, height_px=1), 0)
    memory, good = asked(raising(MemoryError()))
    assert (memory.kind, memory.told.code, good) == ("TooLarge", Code.DECODER_MEMORY, 0)
    strange, good = asked(raising(RuntimeError("x" * 900)))
    assert (strange.kind, strange.told.code, good) == ("", "", 0)
    assert strange.told.data == {"text": "x" * LONGEST}
    assert "RuntimeError" in strange.trace
    unsendable, good = asked(lambda: object())
    assert (unsendable.kind, good) == ("", 0)
