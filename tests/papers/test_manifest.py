"""The manifest's own rules: names, checksums, order, and files it refuses to read."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from galleries.papers.manifest import FileEntry, entries_from_json, manifest_json, manifest_text, sha256sums
from galleries.papers.sidecar import sidecar

SUM = hashlib.sha256(b"").hexdigest()


# FIPS 180-4, the examples of SHA-256 for the empty message and "abc" [std, from memory].
@pytest.mark.parametrize(
    ("data", "digest"),
    [
        (b"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
        (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
    ],
)
def test_the_checksum_is_sha256_of_the_bytes(data: bytes, digest: str) -> None:
    entry = FileEntry.of("a/b.jpg", data, 3, 4, "print")
    assert (entry.sha256, entry.size) == (digest, len(data))
    assert (entry.width, entry.height, entry.use) == (3, 4, "print")
    assert FileEntry.of("a", data).width == 0


@pytest.mark.parametrize("name", ["a", "a/b", "a.b/c d.jpg", "...", "..a/b", "Zoë 李.jpg", "-rf"])
def test_ordinary_names_are_taken(name: str) -> None:
    assert FileEntry(name, SUM, 0).name == name


@pytest.mark.parametrize("name", [".", "..", "a/..", "a/./b", "a/", "/", "a\0b", "a\tb", "a\u2028b", "a\x7f"])
def test_names_that_mean_another_place_or_hide_signs_are_refused(name: str) -> None:
    with pytest.raises(ValueError, match="can't be the name of a delivered file"):
        FileEntry(name, SUM, 0)


@pytest.mark.parametrize("digest", ["", SUM[:-1], SUM + "0", SUM.upper(), "g" + SUM[1:], " " + SUM[1:]])
def test_what_is_no_sha256_is_refused(digest: str) -> None:
    with pytest.raises(ValueError, match="not a SHA-256 in lower-case"):
        FileEntry("a", digest, 0)


def entry(name: str, **values: object) -> FileEntry:
    return FileEntry(name, SUM, **{"size": 1, **values})  # type: ignore[arg-type]


def test_checksum_lines_are_two_columns_in_order_of_name() -> None:
    """GNU coreutils: the digest, a space, a space for text mode, the name."""
    assert sha256sums([entry("b"), entry("a"), entry("B")]) == f"{SUM}  B\n{SUM}  a\n{SUM}  b\n"
    assert sha256sums([]) == ""


@pytest.mark.parametrize(
    "write", [sha256sums, lambda two: manifest_text("t", two), lambda two: manifest_json("t", two)]
)
def test_two_files_of_one_name_are_refused_everywhere(write: object) -> None:
    with pytest.raises(ValueError, match="Two files of the delivery have the same name"):
        write([entry("a"), entry("b"), entry("a")])  # type: ignore[operator]


def test_the_list_for_people_to_the_letter() -> None:
    files = [entry("b.jpg", size=1_234_567, width=30, height=40, use="for a lab"), entry("a.txt", size=12)]
    assert manifest_text("Delivery", files) == (
        "Delivery\n========\n\n"
        f"a.txt\n    12 bytes\n    SHA-256 {SUM}\n\n"
        f"b.jpg (for a lab)\n    30 × 40 px, 1,234,567 bytes\n    SHA-256 {SUM}\n\n"
        "2 files, 1,234,579 bytes in all.\n"
    )


@pytest.mark.parametrize(("count", "words"), [(0, "0 files"), (1, "1 file,"), (2, "2 files")])
def test_one_file_is_not_called_files(count: int, words: str) -> None:
    assert words in manifest_text("t", [entry(str(at)) for at in range(count)]).splitlines()[-1]


NAMES = st.text(st.characters(categories=("L", "N")), min_size=1, max_size=6)


@given(st.lists(NAMES, unique=True, max_size=5), NAMES)
def test_the_list_for_programs_is_read_back(names: list[str], title: str) -> None:
    files = [entry(name, size=at, width=at, use=title) for at, name in enumerate(sorted(names))]
    text = manifest_json(title, files[::-1])
    assert entries_from_json(text) == files
    assert json.loads(text)["title"] == title


def body(**values: object) -> str:
    whole = {**json.loads(manifest_json("t", [entry("a")])), **values}
    return json.dumps({name: value for name, value in whole.items() if value is not None})


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("no json", "Expecting value"),
        (body(format="other"), "not a manifest this program can read"),
        (body(format_version=2), "not a manifest this program can read"),
        (body(format=None), "incomplete: 'format'"),
        (body(files=None), "incomplete: 'files'"),
        (body(files=7), "incomplete: 'int' object"),
        (body(files=[{"name": "a"}]), "incomplete: .*sha256"),
        (body(files=[{"name": "a", "sha256": SUM, "size": 1, "colour": 1}]), "incomplete: .*colour"),
        (body(files=[{"name": "../a", "sha256": SUM, "size": 1}]), "can't be the name"),
        ("[]", "incomplete"),
    ],
)
def test_a_manifest_that_cannot_be_read_says_why(text: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        entries_from_json(text)


# Sidecars


@pytest.mark.parametrize("rating", [-2, 6, 100])
def test_ratings_outside_the_standard_are_refused(rating: int) -> None:
    with pytest.raises(ValueError, match=f"not {rating}"):
        sidecar(rating)  # ISO 16684-1: xmp:Rating is -1 (rejected) to 5


@pytest.mark.parametrize("rating", [-1, 0, 5])
def test_a_rating_is_one_element(rating: int) -> None:
    assert f"<xmp:Rating>{rating}</xmp:Rating>" in sidecar(rating)


def test_nothing_is_written_of_what_is_not_said() -> None:
    text = sidecar(None)
    assert "Rating" not in text
    assert "dc:subject" not in text
    assert "Rating" not in sidecar(None, ["pick"])


def test_keywords_are_tidied_kept_in_order_and_once_each() -> None:
    text = sidecar(None, [" look 2 ", "pick", "", "  ", "look 2", "a < b & c"])
    items = "".join(f"<rdf:li>{word}</rdf:li>" for word in ("look 2", "pick", "a &lt; b &amp; c"))
    assert f"<dc:subject><rdf:Bag>{items}</rdf:Bag></dc:subject>" in text


def test_a_caution_stands_under_its_file_and_for_programs() -> None:
    entry = FileEntry.of("print/a.jpg", b"x", 2400, 3000, "for a print of 8 × 10 in")
    warned = replace(entry, caution="Enlarged 2.5 times.")
    assert "3000 px, 1 bytes\n    Enlarged 2.5 times.\n    SHA-256" in manifest_text("T", [warned])
    assert "Enlarged" not in manifest_text("T", [entry])
    assert entries_from_json(manifest_json("T", [warned])) == [warned]


def test_a_manifest_from_before_cautions_is_read() -> None:
    old = json.loads(manifest_json("T", [FileEntry.of("a.jpg", b"x")]))
    del old["files"][0]["caution"]
    assert entries_from_json(json.dumps(old)) == [FileEntry.of("a.jpg", b"x")]
