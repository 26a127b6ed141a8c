"""Manifest, checksums, sidecars and the sentences about a found file."""

from __future__ import annotations

import hashlib
import io
import json
import subprocess
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import pytest
from PIL import Image

from galleries.imaging.codes import Code
from galleries.imaging.rights import EMPTY, RightsFound, read_rights, write_rights
from galleries.papers.manifest import FileEntry, entries_from_json, manifest_json, manifest_text, sha256sums
from galleries.papers.sidecar import sidecar
from galleries.told import told
from galleries.words.rights import rights_sentences
from tests.papers.test_terms import TERMS

CONTENT = {"print/8x10 Zoë.jpg": b"one", "casting/portrait.jpg": b"two", "licence.pdf": b"three"}
ENTRIES = [FileEntry.of(name, data, 10, 20, "print") for name, data in CONTENT.items()]


def test_coreutils_accepts_the_checksums(tmp_path: Path) -> None:
    for name, data in CONTENT.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(data)
    (tmp_path / "SHA256SUMS").write_text(sha256sums(ENTRIES), encoding="utf-8")
    command = ["sha256sum", "--strict", "-c", "SHA256SUMS"]
    assert subprocess.run(command, cwd=tmp_path, capture_output=True).returncode == 0
    (tmp_path / "licence.pdf").write_bytes(b"changed")
    assert subprocess.run(command, cwd=tmp_path, capture_output=True).returncode != 0


def test_manifest_for_people_and_programs() -> None:
    text = manifest_text("Delivery 7", ENTRIES)
    assert "print/8x10 Zoë.jpg (print)" in text
    assert "10 × 20 px, 3 bytes" in text
    assert "3 files, 11 bytes in all." in text
    assert hashlib.sha256(b"one").hexdigest() in text
    body = manifest_json("Delivery 7", ENTRIES)
    assert [item["name"] for item in json.loads(body)["files"]] == sorted(CONTENT)
    assert sorted(entries_from_json(body), key=lambda e: e.name) == sorted(ENTRIES, key=lambda e: e.name)
    assert manifest_json("Delivery 7", ENTRIES[::-1]) == body


@pytest.mark.parametrize("name", ["", "../up.jpg", "/abs.jpg", "a\\b", "new\nline", "a//b", "./x"])
def test_names_that_could_leave_the_folder_are_refused(name: str) -> None:
    with pytest.raises(ValueError, match="can't be the name"):
        FileEntry.of(name, b"")


def test_two_files_of_one_name_and_bad_sums_are_refused() -> None:
    with pytest.raises(ValueError, match="same name"):
        sha256sums([ENTRIES[0], ENTRIES[0]])
    with pytest.raises(ValueError, match="not a SHA-256"):
        FileEntry("a", "ABC", 1)
    with pytest.raises(ValueError, match="incomplete"):
        entries_from_json("{}")


@pytest.mark.parametrize("rating", [-1, 0, 3, 5])
def test_exiftool_reads_the_sidecar(rating: int, tmp_path: Path) -> None:
    path = tmp_path / "frame.xmp"
    path.write_text(sidecar(rating, ["look 1", "pick", "look 1", "Zoë 李"], TERMS.to_rights()), encoding="utf-8")
    done = subprocess.run(["exiftool", "-j", "-G1", str(path)], capture_output=True, check=True)
    seen = json.loads(done.stdout)[0]
    assert seen["XMP-xmp:Rating"] == rating  # ISO 16684-1: -1 to 5
    assert seen["XMP-dc:Subject"] == ["look 1", "pick", "Zoë 李"]
    assert seen["XMP-dc:Creator"] == TERMS.photographer


def test_a_rating_outside_the_standard_is_refused() -> None:
    with pytest.raises(ValueError, match="-1 to 5"):
        sidecar(6)


def jpeg() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (24, 24)).save(out, "JPEG")
    return out.getvalue()


def test_a_delivered_file_tells_its_licence_years_later() -> None:
    record = TERMS.to_rights(title="Look 1", captured_at=datetime(2026, 2, 1, 10, 0), digital_source_type="humanEdits")
    said = rights_sentences(read_rights(write_rights(jpeg(), record)), today=date(2031, 1, 1))
    text = "\n".join(said)
    for part in (
        "Made by Marit Ødegård.",
        "Copyright notice: © 2026 Marit Ødegård. All rights reserved.",
        "The licence ended on 29 February 2028.",
        "A licence is given by Studio Nord (hello@studio.example, https://studio.example).",
        "It shows Zoë Œuvrard-Ångström 李小龍.",
        "A model release is on file, limited or incomplete.",
        "Changes that are not allowed: no flipping, no retouching, no colourising, no merging with other pictures.",
        "Data mining is prohibited, except for search engines.",
        "retouched by a person, without generative tools",
        "Taken on 1 February 2026 at 10:00:00 by the camera's clock.",
    ):
        assert part in text, part
    assert "Caution" not in text
    assert all(sentence.endswith((".", "!", "?")) for sentence in said)


def test_an_empty_file_and_doubtful_ones() -> None:
    assert rights_sentences(read_rights(jpeg())) == ["The file says nothing about its rights."]
    found = RightsFound(
        EMPTY,
        "JPEG",
        {},
        (told(Code.RIGHTS_DIFFER, field="title", source="XMP", value="A", other_source="IIM", other_value="B"),),
        (told(Code.PRIVATE_POSITION),),
        iim_digest="stale",
        problems=(told(Code.RIGHTS_CAPTURE_DATE, source="Exif", value="odd"),),
    )
    said = rights_sentences(found)
    assert said[1:4] == [
        "Caution: “title” differs: XMP says “A”, IIM says “B”.",
        "Caution: The capture date in Exif cannot be understood: “odd”.",
        "Caution: The file carries a GPS position.",
    ]
    assert "older program" in said[-1]
    sly = RightsFound(replace(EMPTY, title="a\x1b[2Jb\nc"), "JPEG", {"title": "XMP"})
    assert rights_sentences(sly) == ["Title: a\ufffd[2Jb c."]
