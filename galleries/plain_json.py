"""JSON that somebody else wrote: no deeper, no larger and no stranger than what this program could have written."""

from __future__ import annotations

import json
import re
from typing import Any

DEEPEST = 32
# Values are counted by the marks between them, before anything is made of them: an empty list of three bytes
# takes eighty in memory. The longest outbox and the largest order of frames have far fewer.
MOST_VALUES = 400_000
# A text goes to its quote or to the end, in one pass and without a way back: a way back took 114 bytes of memory for
# each of its letters, and one that never ends was read anew from each quote in it.
_TOKEN = re.compile(rb'"[^"\\]*+(?:\\.[^"\\]*+)*+(?:"|\\?\Z)|([\[{])|([\]}])', re.DOTALL)
_HALF_EMOJI = re.compile(rb"\\u[dD][89a-fA-F]")  # or a whole one, written as two


def loads(data: bytes, *, deepest: int = DEEPEST, most: int = MOST_VALUES, mended: bool = False) -> Any:
    """The value; `ValueError` when it is no JSON, nested too deeply, of more than `most` values, no Unicode text, or
    holds no finite number.

    `mended` puts a question mark for half an emoji, where one bad text must not hold up the others beside it.
    """
    if data.count(b",") + data.count(b":") > most:
        raise ValueError(f"more than {most} values")
    depth = 0
    for token in _TOKEN.finditer(data):
        depth += (token[1] is not None) - (token[2] is not None)
        if depth > deepest:
            raise ValueError(f"nested more than {deepest} deep")
    try:
        value = json.loads(data.decode("utf-8"), parse_constant=_refused, parse_float=_finite)
        if _HALF_EMOJI.search(data):
            plain = json.dumps(value, ensure_ascii=False)
            if mended:
                value = json.loads(plain.encode("utf-8", "replace"))
            else:
                plain.encode("utf-8")  # half an emoji is no text
    except RecursionError as error:
        raise ValueError("nested too deeply") from error
    return value


def _refused(word: str) -> None:
    raise ValueError(f"{word} is no number")


def _finite(text: str) -> float:
    number = float(text)
    if number in (float("inf"), float("-inf")):
        raise ValueError("a number beyond all bounds")
    return number
