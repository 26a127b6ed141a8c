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


LIES: dict[str, Lie] = {
    "no uid": lambda head: head.pop("uid"),
    "a uid with a path": lambda head: head.update(uid="../../etc"),
    "no rows": lambda head: head.pop("rows"),
    "rows that are a list": lambda head: head.update(rows=[]),
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


def test_the_true_one_comes_back(archive: Path) -> None:
    assert restore(archive).sitting.frames.count() == 1
