"""The child's own side: shut the cage, answer one question after the other until the asker closes the socket."""

from __future__ import annotations

import os
import signal
import socket
import struct
import traceback
from typing import Any

from galleries.imaging import errors
from galleries.imaging.codes import Code
from galleries.imaging.contained import cage, heap, plain
from galleries.imaging.contained.plain import LONGEST, Handed, Question, Source, Trouble
from galleries.told import told

IDLE_SECONDS = 600.0
HEAD = struct.Struct("<QB")  # length of the answer, 1 when it is one and 0 when it is trouble
HELLO = struct.Struct("<qq")  # bytes of memory, and nothing
STANDS = struct.Struct("<qqq")  # Landlock's version, which other walls, the process id


def warm() -> dict[str, Any]:
    """Load all that is needed, before the cage makes loading harder; OpenCV keeps to one thread."""
    import cv2
    import numpy as np

    from galleries.imaging.contained.entries import ENTRIES
    from galleries.imaging.drawing import lettering
    from galleries.imaging.face import models, reading
    from galleries.imaging.output import encode

    # As many children work at once as there are cores: more threads of each would wait for one another, at 3 ms of CPU
    # for a proof. Nor may one be begun in the process that is forked: it would be missing in each child.
    cv2.setNumThreads(1)
    pixels = np.zeros((64, 64, 3), np.uint8)
    lettering.text_mask("Aä", 12)
    encode.encode_jpeg(pixels, quality=80)
    models.get_ready()
    reading.read_pixels(pixels)
    return dict(ENTRIES)


def _answer(entries: dict[str, Any], question: Question, descriptors: list[int]) -> tuple[bytes, int]:
    def handed(value: Any) -> Any:
        return Handed(descriptors[value.number]) if isinstance(value, Source) else value

    try:
        result = entries[question.entry].function(
            *(handed(value) for value in question.args),
            **{name: handed(value) for name, value in question.kwargs.items()},
        )
        return plain.pack(result), 1
    except errors.ImagingError as error:
        trouble = Trouble.of(error)
    except MemoryError:
        trouble = Trouble.of(errors.TooLarge(Code.DECODER_MEMORY))
    except Exception as error:  # noqa: BLE001 - whatever a library throws at a strange file is the file's sentence
        trouble = Trouble("", told("", text=str(error)[:LONGEST]), traceback.format_exc()[-4000:])
    return plain.pack(trouble), 0


def serve(channel: socket.socket, *, own_user: bool, entries: dict[str, Any] | None = None) -> None:
    """Say which walls stand, then answer. The wall clock and the processor's end this process by themselves, also
    when nobody waits for it any more. `entries`: what it can be asked, where all is loaded already."""
    signal.signal(signal.SIGALRM, signal.SIG_DFL)
    head = channel.recv(HELLO.size, socket.MSG_WAITALL)
    if len(head) < HELLO.size:
        return  # nobody wants it any more
    memory, _ = HELLO.unpack(head)
    entries = entries or warm()
    heap.keep_freed()
    held = cage.shut(memory, own_user=own_user)
    channel.sendall(STANDS.pack(held.landlock, held.calls | held.own_user << 1, os.getpid()))
    channel.settimeout(IDLE_SECONDS)
    while True:
        try:
            head, descriptors, _, _ = socket.recv_fds(channel, 8, 8, socket.MSG_CMSG_CLOEXEC)
        except TimeoutError:
            return
        if len(head) != 8 or len(descriptors) < 2:
            return
        question = Question.unpacked(Handed(descriptors[0]).read_bytes())
        signal.setitimer(signal.ITIMER_REAL, question.seconds + 5)
        cage.more_time(2 * question.seconds)
        data, good = _answer(entries, question, descriptors[2:])
        try:
            view = memoryview(data)
            while view:
                view = view[os.write(descriptors[1], view) :]
        except OSError:
            return
        channel.sendall(HEAD.pack(len(data), good))
        signal.setitimer(signal.ITIMER_REAL, 0)
        del data, question, view
        for descriptor in descriptors:
            os.close(descriptor)


def main(descriptor: int = 0) -> None:
    """Started by the service manager for one connection."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # whoever asks decides when it ends
    with socket.socket(fileno=os.dup(descriptor)) as channel:
        os.close(descriptor)
        serve(channel, own_user=True)
