"""JSON of strangers is counted before anything is made of it."""

from __future__ import annotations

import json
import resource

import pytest

from galleries import plain_json
from galleries.errors import BadInput
from galleries.steps.keeping import archive_file
from tests import bombs


def test_as_many_values_as_are_let_in_are_read_and_one_more_is_not() -> None:
    whole = json.dumps([0] * 11).encode()  # ten commas
    assert plain_json.loads(whole, most=10) == [0] * 11
    with pytest.raises(ValueError, match="more than 9 values"):
        plain_json.loads(whole, most=9)


@pytest.mark.parametrize("data", [b"[" + b"[]," * 800_000 + b"[]]", b"{" + b'"a":[],' * 500_000 + b'"a":1}'])
def test_small_values_without_end_are_refused_before_they_take_memory(data: bytes) -> None:
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with pytest.raises(ValueError, match="values"):
        plain_json.loads(data)
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 20_000  # kilobytes; reading it took 60,000


@pytest.mark.parametrize("text", [b"a" * 5_000_000, b'\\"' * 2_500_000, b"ab\\n" * 1_250_000])
def test_a_long_text_takes_no_memory_beside_itself(text: bytes) -> None:
    """5 MB, as much as a browser may send, took 572 MB of the web process."""
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    assert len(plain_json.loads(b'{"note":"' + text + b'"}')["note"]) > 1_000_000
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 40_000  # kilobytes


@pytest.mark.timeout(120)
@pytest.mark.parametrize("end", [b"", b"\\"])
def test_a_text_that_never_ends_is_read_once(end: bytes) -> None:
    """From each of its quotes it was read to the end anew: a body of 5 MB held a worker for hours."""
    with pytest.raises(ValueError, match=r"Unterminated|Invalid|Expecting"):
        plain_json.loads(b'{"note":"' + b'\\"' * 2_500_000 + end)


def test_brackets_within_texts_do_not_count_and_those_after_do() -> None:
    assert plain_json.loads(b'["[[[[", "\\"[[[", []]', deepest=2) == ["[[[[", '"[[[', []]
    with pytest.raises(ValueError, match="nested more than 2 deep"):
        plain_json.loads(b'["\\\\", [[]]]', deepest=2)


def test_a_description_of_small_values_without_end_is_refused(monkeypatch: pytest.MonkeyPatch, tmp_path) -> None:
    monkeypatch.setattr(archive_file, "MOST_VALUES", 400_000)
    (tmp_path / "a.zip").write_bytes(bombs.many_lists(1))
    with archive_file.opened(tmp_path / "a.zip") as archive, pytest.raises(BadInput, match="no archive"):
        archive_file.read_head(archive)
