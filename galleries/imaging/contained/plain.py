"""What goes through the door: questions in, plain data out, neither by way of anything that could run.

A question comes from the parent, which the child trusts: it is pickled. An answer comes from a child that may
be somebody else's by now: it is MessagePack, read against the type that was asked for and nothing more.
"""

from __future__ import annotations

import os
import pickle  # nosec B403 - one way only: parent to child
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO, cast

import msgspec

from galleries.imaging import errors
from galleries.imaging.codes import Code
from galleries.told import Told

LONGEST = 500  # signs of a text in what the child tells


@dataclass(frozen=True)
class Source:
    """Stands in a question for the bytes behind the descriptor of this number."""

    number: int


class Handed:
    """A file handed over as an open descriptor; as much of `pathlib.Path` as the opener asks for."""

    name = "handed over"

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor

    def stat(self) -> os.stat_result:
        return os.fstat(self._descriptor)

    def open(self, mode: str) -> BinaryIO:
        """As the opener opens a file: for reading bytes."""
        return cast("BinaryIO", open(os.dup(self._descriptor), mode))

    def read_bytes(self) -> bytes:
        size, parts, at = self.stat().st_size, [], 0
        while at < size and (part := os.pread(self._descriptor, min(size - at, 1 << 30), at)):
            parts.append(part)
            at += len(part)
        return parts[0] if len(parts) == 1 else b"".join(parts)


@dataclass(frozen=True)
class Question:
    """One call: an entry's name, what it is given, and its limits."""

    entry: str
    args: tuple[Any, ...]
    kwargs: dict[str, Any]
    seconds: float

    def packed(self) -> bytes:
        return pickle.dumps(self, protocol=5)

    @staticmethod
    def unpacked(data: bytes) -> Question:
        question = pickle.loads(data)  # noqa: S301  # nosec B301 - from the parent, never the other way
        if not isinstance(question, Question):
            raise TypeError("This is no question.")
        return question


class Trouble(msgspec.Struct):
    """An error of the child: one of `errors` by name, with its code and values."""

    kind: str
    told: Told
    trace: str = ""

    @classmethod
    def of(cls, error: errors.ImagingError) -> Trouble:
        return cls(type(error).__name__, error.told)

    def error(self) -> errors.ImagingError:
        """The error again. Raises ValueError for a code that imaging does not have, or a text of unseemly length."""
        kind = getattr(errors, self.kind, None)
        if not (isinstance(kind, type) and issubclass(kind, errors.ImagingError)):
            kind = errors.Unreadable
        texts = [self.told.about, *(value for value in self.told.data.values() if isinstance(value, str))]
        if self.told.more or any(len(text) > LONGEST for text in texts):
            raise ValueError("more than an error of ours would tell")
        return kind.of(self.told)


def _without_numpy(value: Any) -> Any:
    # Known by name: who only asks loads no numpy.
    if type(value).__module__ == "numpy" and getattr(value, "ndim", 1) == 0:
        return value.item()
    raise TypeError(f"{type(value).__name__} is no plain data.")


_encoder = msgspec.msgpack.Encoder(enc_hook=_without_numpy)


def pack(value: Any) -> bytes:
    return _encoder.encode(value)


def unpack(data: bytes, kind: Any) -> Any:
    """The answer as `kind`; `msgspec.ValidationError` when it is anything else."""
    return msgspec.msgpack.decode(data, type=kind)


def opened(source: bytes | Path) -> int:
    """A read-only descriptor of a file, or of a memory file of these bytes. Raises `Unreadable`."""
    if isinstance(source, bytes):
        return in_memory(source)
    try:
        descriptor = os.open(source, os.O_RDONLY | os.O_CLOEXEC | os.O_NONBLOCK)
    except OSError as error:
        raise errors.Unreadable(Code.FILE_UNREADABLE, name=source.name, error=errors.error_name(error)) from error
    return descriptor


def in_memory(data: bytes = b"") -> int:
    descriptor = os.memfd_create("handed", os.MFD_CLOEXEC)
    view = memoryview(data)
    while view:
        view = view[os.write(descriptor, view) :]
    return descriptor
