"""The English sentence of what was told, for tests that check what people read."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from galleries.imaging.errors import ImagingError
from galleries.told import Told
from galleries.words.told import sentence


def sentence_of(of: Told | ImagingError) -> str:
    return sentence(of.told if isinstance(of, ImagingError) else of)


@contextmanager
def refused(kind: type[ImagingError], words: str) -> Iterator[pytest.ExceptionInfo[ImagingError]]:
    """As `pytest.raises` with `match`, on the sentence that people read."""
    with pytest.raises(kind) as caught:
        yield caught
    assert re.search(words, sentence_of(caught.value)), sentence_of(caught.value)
