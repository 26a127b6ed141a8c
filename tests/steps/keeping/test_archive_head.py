"""An archive's description is a stranger's text: too deep, too large or of another kind, it gets a sentence."""

from __future__ import annotations

import io
import zipfile

import pytest

from galleries.errors import BadInput
from galleries.steps.keeping import archive_file


@pytest.mark.parametrize("head", [b'{"a":' * 100_000, b"[]", b"null", b'{"format": NaN}', b'"\\ud800"', b"\xff"])
def test_a_strange_description_is_refused_with_a_sentence(head: bytes) -> None:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr(archive_file.ROWS, head)
    with zipfile.ZipFile(packed) as archive, pytest.raises(BadInput, match="no archive of a sitting"):
        archive_file.read_head(archive)


def test_a_description_that_unpacks_without_end_is_not_unpacked(monkeypatch: pytest.MonkeyPatch) -> None:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(archive_file.ROWS, b" " * 10_000_000)
    monkeypatch.setattr(archive_file, "MOST_ROWS_BYTES", 1_000_000)
    with zipfile.ZipFile(packed) as archive:
        monkeypatch.setattr(archive, "read", lambda _name: pytest.fail("it was unpacked"))
        with pytest.raises(BadInput):
            archive_file.read_head(archive)
