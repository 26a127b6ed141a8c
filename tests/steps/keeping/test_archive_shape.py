"""An archive that a stranger wrote: each lie gets a sentence, and nothing of it is here afterwards."""

from __future__ import annotations

import json
import shutil
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from galleries import storage
from galleries.errors import BadInput
from galleries.models import Sitting
from galleries.steps.keeping import archive_file, erase
from galleries.steps.keeping.restore import restore
from tests.cast import make_cast

pytestmark = pytest.mark.django_db
Lie = Callable[[dict[str, Any]], object]


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    """A small true archive, whose sitting is gone from here."""
    cast = make_cast()
    data = b"original" * 100
    key = f"{storage.home(cast.sitting.uid)}/originals/aa/{1:064x}.jpg"
    storage.put(storage.private(), key, data)
    import hashlib

    cast.frame(1, cast.look(), key=key, sha256=hashlib.sha256(data).hexdigest())
    path = tmp_path / "sitting.zip"
    archive_file.write(cast.sitting, path, cast.as_owner)
    erase.erase(cast.sitting, cast.as_owner, "test")
    assert not Sitting.objects.exists()
    return path


def told(archive: Path, lie: Lie) -> Path:
    """The archive with its description changed."""
    out = archive.with_name("lie.zip")
    with zipfile.ZipFile(archive) as source, zipfile.ZipFile(out, "w") as target:
        for info in source.infolist():
            data = source.read(info)
            if info.filename == archive_file.ROWS:
                head = json.loads(data)
                lie(head)
                data = json.dumps(head).encode()
            target.writestr(info, data)
    return out


def line(**more: object) -> Lie:
    """A line of the journal put in: as somebody would make up that another has signed in."""

    def lie(head: dict[str, Any]) -> None:
        fields = {"sitting": head["rows"]["Sitting"][0]["pk"], "sitting_slug": "s", "at": "2026-03-04T10:00:00Z"}
        fields |= {
            "who": "nobody",
            "verb": "signed in",
            "thing": "",
            "before": "",
            "after": "",
            "detail": {"account": 1},
        }
        head["rows"]["JournalLine"] = [{"model": "galleries.journalline", "pk": 9, "fields": fields | more}]

    return lie


LIES: dict[str, Lie] = {
    "a line of the journal about an account": line(sitting=None, sitting_slug=""),
    "a line of the journal of no short name": line(sitting_slug=""),
    "a line of the journal of another sitting": line(sitting=10**9),
    "no uid": lambda head: head.pop("uid"),
    "a uid with a path": lambda head: head.update(uid="../../etc"),
    "no rows": lambda head: head.pop("rows"),
    "rows that are a list": lambda head: head.update(rows=[]),
    "a sitting that is yes": lambda head: head["rows"].update(Sitting=True),
    "a sitting that is a number": lambda head: head["rows"].update(Sitting=1),
    "no sitting": lambda head: head["rows"].update(Sitting=[]),
    "two sittings": lambda head: head["rows"].update(Sitting=head["rows"]["Sitting"] * 2),
    "a table of users": lambda head: head["rows"].update(User=[{"model": "auth.user", "pk": 1, "fields": {}}]),
    "a user among the frames": lambda head: head["rows"]["Frame"][0].update(model="auth.user"),
    "a number that is text": lambda head: head["rows"]["Frame"][0].update(pk="1"),
    "fields that are a list": lambda head: head["rows"]["Frame"][0].update(fields=[]),
    "a frame that shows another sitting's file": lambda head: head["rows"]["Frame"][0]["fields"].update(
        key="sittings/ffffffffffffffffffffffffffffffff/originals/aa/x.jpg"
    ),
    "a frame without a width": lambda head: head["rows"]["Frame"][0]["fields"].update(width=None),
    "a width that is text": lambda head: head["rows"]["Frame"][0]["fields"].update(width="wide"),
    "a frame of nobody": lambda head: head["rows"]["Frame"][0]["fields"].update(sitting=None),
    "a file twice": lambda head: head.update(files=head["files"] * 2),
    "a file of less than no bytes": lambda head: head["files"][0].update(bytes=-1),
    "a file larger than it is": lambda head: head["files"][0].update(bytes=10),
    "a file of another store": lambda head: head["files"][0].update(store="default"),
    "a digest that is none": lambda head: head["files"][0].update(sha256="x"),
    "a part missing": lambda head: head["files"][0].update(key=head["files"][0]["key"] + "x"),
    "people that are a list": lambda head: head.update(people=[]),
    "a person that is text": lambda head: head.update(people={"1": "x"}),
    "a size without a name": lambda head: head.update(sizes={"1": {}}),
    "a studio that is text": lambda head: head.update(studio="x"),
    "half the rows gone": lambda head: head["rows"].update(Round=[{"model": "galleries.round", "pk": 1, "fields": {}}]),
}


@pytest.mark.parametrize("lie", list(LIES))
def test_a_lie_gets_a_sentence_and_leaves_nothing(archive: Path, lie: str) -> None:
    with pytest.raises(BadInput) as told_so:
        restore(told(archive, LIES[lie]))
    assert str(told_so.value).endswith((".", "”.")) or "nothing was restored" in str(told_so.value)
    assert not Sitting.objects.exists()
    assert [*storage.private().keys("sittings"), *storage.proofs().keys("sittings")] == []


def test_a_link_among_the_files_is_refused(archive: Path) -> None:
    out = archive.with_name("link.zip")
    shutil.copy(archive, out)
    with zipfile.ZipFile(out, "a") as target:
        link = zipfile.ZipInfo("private/link")
        link.external_attr = 0o120777 << 16
        target.writestr(link, "/etc/passwd")
    with pytest.raises(BadInput):
        restore(out)
    assert not Sitting.objects.exists()


def patched(archive: Path, name: str, local: tuple[int, bytes], central: tuple[int, bytes]) -> Path:
    """The archive with bytes of an entry's two headers replaced (PKWARE's APPNOTE 4.3.7, 4.3.12: where they stand)."""
    data = bytearray(archive.read_bytes())
    with zipfile.ZipFile(archive) as source:
        first = source.getinfo(name).header_offset
    second = data.rfind(b"PK\x01\x02", 0, data.rfind(name.encode()))
    for start, (at, new) in ((first, local), (second, central)):
        data[start + at : start + at + len(new)] = new
    out = archive.with_name("patched.zip")
    out.write_bytes(data)
    return out


HEADERS = {  # found by fuzzing (tests/fuzz archive): (offset, bytes) in the local and in the central header
    "made by a later program": ((4, b"\xeb\0"), (6, b"\xeb\0")),
    "packed in no known way": ((8, b"\x63\0"), (10, b"\x63\0")),
    "packed by another way than ours": ((8, b"\x0c\0"), (10, b"\x0c\0")),
    "said to be packed": ((8, b"\x08\0"), (10, b"\x08\0")),
    "encrypted": ((6, b"\x01\0"), (8, b"\x01\0")),
    "longer than the file": ((18, b"\xff\xff\xff\x0f" * 2), (20, b"\xff\xff\xff\x0f" * 2)),
    "a name that is no text": ((6, b"\0\x08"), (8, b"\0\x08")),
}


@pytest.mark.parametrize("what", list(HEADERS))
def test_a_strange_entry_gets_a_sentence(archive: Path, what: str) -> None:
    broken = patched(archive, archive_file.ROWS, *HEADERS[what])
    if what == "a name that is no text":
        broken.write_bytes(broken.read_bytes().replace(archive_file.ROWS.encode(), b"sitting\xe9json"))
    with pytest.raises(BadInput):
        restore(broken)
    assert not Sitting.objects.exists()


def test_the_true_one_comes_back(archive: Path) -> None:
    assert restore(archive).sitting.frames.count() == 1
