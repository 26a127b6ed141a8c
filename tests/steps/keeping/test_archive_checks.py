"""What is believed of an archive's description and of its entries, at each edge: no tables are needed for that."""

from __future__ import annotations

import copy
import hashlib
import io
import json
import zipfile
from collections.abc import Callable
from typing import Any

import pytest

from galleries.errors import BadInput
from galleries.steps.keeping import archive_file, archive_shape

UID = "0123456789abcdef" * 2
HOME = f"sittings/{UID}"
DATA = b"original" * 10
SHA = hashlib.sha256(DATA).hexdigest()
TABLES = {model.__name__: model for model, _path in archive_file.TABLES}
Head = dict[str, Any]
Change = Callable[[Head], object]
More = Callable[[zipfile.ZipFile], object]


def row(table: str, pk: object, **fields: object) -> Head:
    return {"model": f"galleries.{table.lower()}", "pk": pk, "fields": fields}


@pytest.fixture
def head() -> Head:
    """As our program writes one, as small as it can be with something of every part."""
    order = {"final": 1, "key": f"{HOME}/originals/a.jpg", "icc": ""}
    return {
        "format": archive_file.FORMAT, "format_version": archive_file.FORMAT_VERSION, "uid": UID,
        "rows": {
            "Sitting": [row("Sitting", 1, uid=f"{UID[:8]}-{UID[8:]}", slug="ansa-veld", print_profile_key="")],
            "Frame": [row("Frame", 7, key=f"{HOME}/originals/a.jpg")],
            "Version": [row("Version", 1, key=f"{HOME}/versions/a.jpg", proof_key=None)],
            "Delivery": [row("Delivery", 1, archive_key="", orders=[order])],
        },
        "files": [{"store": "private", "key": f"{HOME}/originals/a.jpg", "sha256": SHA, "bytes": len(DATA)}],
        "people": {"3": {"username": "tamsin"}}, "sizes": {"4": {"slug": "web"}}, "studio": [],
    }  # fmt: skip


def check(head: Head) -> None:
    archive_shape.check(head, TABLES)


def order_of(head: Head) -> Head:
    found: Head = head["rows"]["Delivery"][0]["fields"]["orders"][0]
    return found


def frame_of(head: Head) -> Head:
    found: Head = head["rows"]["Frame"][0]
    return found


def test_a_true_description_is_believed(head: Head) -> None:
    before = copy.deepcopy(head)
    check(head)
    assert head == before


EDGES: dict[str, Change] = {
    "the largest number of a row": lambda h: frame_of(h).update(pk=2**62 - 1),
    "a table without rows": lambda h: h["rows"].update(Mark=[]),
    "a delivery without orders": lambda h: h["rows"]["Delivery"][0]["fields"].pop("orders"),
    "an order that has a profile": lambda h: order_of(h).update(icc=f"{HOME}/profile/a.icc"),
    "no files": lambda h: h.update(files=[]),
    "a file without bytes": lambda h: h["files"][0].update(bytes=0),
    "a key as long as its column": lambda h: h["files"][0].update(key=f"{HOME}/".ljust(200, "x")),
    "the same key in both stores": lambda h: h["files"].append({**h["files"][0], "store": "proofs"}),
    "a key with dots in its name": lambda h: frame_of(h)["fields"].update(key=f"{HOME}/originals/a..b.jpg"),
}


@pytest.mark.parametrize("edge", EDGES)
def test_what_is_just_within_is_believed(head: Head, edge: str) -> None:
    EDGES[edge](head)
    check(head)


OTHER = "sittings/" + "f" * 32
LIES: dict[str, tuple[Change, str]] = {
    "a uid in large letters": (lambda h: h.update(uid=UID.upper()), "uid"),
    "a uid with a line behind": (lambda h: h.update(uid=UID + "\n"), "uid"),
    "a row's number is nought": (lambda h: frame_of(h).update(pk=0), "Frame"),
    "a row's number is too large": (lambda h: frame_of(h).update(pk=2**62), "Frame"),
    "a row's number is yes": (lambda h: frame_of(h).update(pk=True), "Frame"),
    "a row that is text": (lambda h: h["rows"]["Frame"].append("x"), "str"),
    "a row of another of our tables": (lambda h: frame_of(h).update(model="galleries.studio"), "galleries.studio"),
    "rows that are none": (lambda h: h["rows"].update(Frame={}), "Frame"),
    "a table that is the site's": (lambda h: h["rows"].update(Job=[]), "Job"),
    "the uid of another": (lambda h: h["rows"]["Sitting"][0]["fields"].update(uid="f" * 32), "Sitting"),
    "no short name": (lambda h: h["rows"]["Sitting"][0]["fields"].pop("slug"), "Sitting"),
    "another's file": (lambda h: frame_of(h)["fields"].update(key=f"{OTHER}/a.jpg"), "outside its sitting"),
    "a way out": (lambda h: frame_of(h)["fields"].update(key=f"{HOME}/../{'f' * 32}/a.jpg"), "outside its sitting"),
    "a name that begins alike": (lambda h: frame_of(h)["fields"].update(key=f"{HOME}x/a.jpg"), "outside its sitting"),
    "a key that is a number": (lambda h: frame_of(h)["fields"].update(key=7), "outside its sitting"),
    "a proof of another": (
        lambda h: h["rows"]["Version"][0]["fields"].update(proof_key=f"{OTHER}/a.jpg"), "outside its sitting",
    ),
    "an order of another's file": (lambda h: order_of(h).update(key=f"{OTHER}/a.jpg"), "outside its sitting"),
    "an order with a way out": (
        lambda h: order_of(h).update(key=f"{HOME}/../{'f' * 32}/a.jpg"), "outside its sitting",
    ),
    "a profile with a way out": (
        lambda h: order_of(h).update(icc=f"{HOME}/../{'f' * 32}/a.icc"), "outside its sitting",
    ),
    "an order without a key": (lambda h: order_of(h).pop("key"), "outside its sitting"),
    "an order that is text": (
        lambda h: h["rows"]["Delivery"][0]["fields"].update(orders=["x"]), "outside its sitting",
    ),
    "a file that is text": (lambda h: h["files"].append("x"), "files"),
    "a file of no store": (lambda h: h["files"][0].update(store=""), "store"),
    "a file of another": (lambda h: h["files"][0].update(key=f"{OTHER}/a.jpg"), "outside its sitting"),
    "a file with a way out": (lambda h: h["files"][0].update(key=f"{HOME}/../a.jpg"), "outside its sitting"),
    "a file without a name": (lambda h: h["files"][0].update(key=""), "key"),
    "a name that is too long": (lambda h: h["files"][0].update(key=f"{HOME}/".ljust(201, "x")), "key"),
    "a digest in large letters": (lambda h: h["files"][0].update(sha256=SHA.upper()), "sha256"),
    "a digest that is short": (lambda h: h["files"][0].update(sha256=SHA[:-1]), "sha256"),
    "bytes that are yes": (lambda h: h["files"][0].update(bytes=True), "bytes"),
    "bytes that are broken": (lambda h: h["files"][0].update(bytes=1.5), "bytes"),
    "people without a number": (lambda h: h["people"].update(x={}), "people x"),
    "a person of less than none": (lambda h: h["people"].update({"-1": {}}), "people -1"),
    "a size that is a list": (lambda h: h["sizes"].update({"4": []}), "sizes 4"),
    "a studio that is a dict": (lambda h: h.update(studio={}), "studio"),
}  # fmt: skip


@pytest.mark.parametrize("lie", LIES)
def test_what_is_just_outside_is_refused_by_name(head: Head, lie: str) -> None:
    change, named = LIES[lie]
    change(head)
    with pytest.raises(BadInput, match=named):
        check(head)


@pytest.mark.parametrize(("limit", "most"), [("MOST_FILES", 2), ("MOST_ROWS", 5), ("MOST_BYTES", 2 * len(DATA))])
def test_as_much_as_may_be_and_no_more(head: Head, monkeypatch: pytest.MonkeyPatch, limit: str, most: int) -> None:
    monkeypatch.setattr(archive_shape, limit, most)
    head["files"].append({**head["files"][0], "store": "proofs"})
    head["rows"]["Frame"].append(row("Frame", 8))
    check(head)
    head["files"].append({**head["files"][0], "key": f"{HOME}/originals/b.jpg", "bytes": 1})
    head["rows"]["Frame"].append(row("Frame", 9))
    with pytest.raises(BadInput, match="“rows”" if limit == "MOST_ROWS" else "“files”"):
        check(head)


# --- the entries ---


def packed(head: Head, more: More = lambda _zip: None, *, without: str = "") -> io.BytesIO:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as archive:
        for item in head["files"]:
            if item["key"] != without:
                archive.writestr(f"{item['store']}/{item['key']}", DATA)
        archive.writestr(archive_file.ROWS, json.dumps(head))
        archive.writestr(archive_file.SUMS, "")
        more(archive)
    return file


def entries(head: Head, file: io.BytesIO) -> None:
    with zipfile.ZipFile(file) as archive:
        archive_shape.entries(archive, head)


def special(name: str, mode: int) -> More:
    info = zipfile.ZipInfo(name)
    info.external_attr = mode << 16
    return lambda archive: archive.writestr(info, b"")


def test_entries_that_are_named_are_taken(head: Head) -> None:
    entries(head, packed(head))


@pytest.mark.parametrize(
    ("more", "named"),
    [
        (lambda archive: archive.writestr("private/more.jpg", b"x"), r"private/more\.jpg"),
        (lambda archive: archive.writestr("../../etc/passwd", b"x"), "passwd"),
        (special("private/link", 0o120777), "private/link"),
        (special("private/folder", 0o040755), "private/folder"),
        (special("private/pipe", 0o010644), "private/pipe"),
    ],
)
def test_an_entry_that_nobody_named_is_refused(head: Head, more: Any, named: str) -> None:
    with pytest.raises(BadInput, match=named):
        entries(head, packed(head, more))


def test_an_entry_comes_once_and_as_large_as_it_is_said_to_be(head: Head) -> None:
    name = f"private/{head['files'][0]['key']}"
    with pytest.warns(UserWarning, match="Duplicate name"):  # it is written all the same
        twice = packed(head, lambda archive: archive.writestr(name, DATA))
    with pytest.raises(BadInput, match=r"originals/a\.jpg”"):
        entries(head, twice)
    with pytest.raises(BadInput, match="damaged at private/"):
        entries(head, packed(head, without=head["files"][0]["key"]))
    head["files"][0]["bytes"] += 1
    with pytest.raises(BadInput, match=r"originals/a\.jpg”"):
        entries(head, packed(head))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({}, None),
        ({"format": "other"}, "of a kind"),
        ({"format_version": 2}, "of a kind"),
        ({"format_version": None}, "of a kind"),
    ],
)
def test_only_our_own_kind_is_read(head: Head, change: Head, said: str | None) -> None:
    with zipfile.ZipFile(packed({**head, **change})) as archive:
        if said is None:
            assert archive_file.read_head(archive) == head
        else:
            with pytest.raises(BadInput, match=said):
                archive_file.read_head(archive)


def checked(head: Head, file: io.BytesIO, seen: archive_file.Seen | None = None) -> list[Head]:
    with zipfile.ZipFile(file) as archive:
        return list(archive_file.checked_files(archive, head, seen))


def test_each_file_is_read_and_counted(head: Head, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(archive_file, "CHUNK", 7)  # in pieces, the last of them short
    head["files"].append({**head["files"][0], "store": "proofs"})
    told: list[tuple[int, int]] = []
    assert checked(head, packed(head), lambda number, of: told.append((number, of))) == head["files"]
    assert told == [(1, 2), (2, 2)]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"sha256": "0" * 64}, "damaged at sittings"),
        ({"key": f"{HOME}/originals/b.jpg"}, "damaged at sittings"),
        ({"key": f"{OTHER}/a.jpg"}, "outside its sitting"),
        ({"key": f"{HOME}/../a.jpg"}, "outside its sitting"),
        ({"store": "default"}, "outside its sitting"),
    ],
)
def test_a_file_that_does_not_fit_is_named(head: Head, change: Head, said: str) -> None:
    file = packed(head)
    head["files"][0].update(change)
    with pytest.raises(BadInput, match=said):
        checked(head, file)


def test_a_byte_turned_in_a_stored_file_is_found(head: Head) -> None:
    data = bytearray(packed(head).getvalue())
    data[data.index(DATA)] ^= 1
    with pytest.raises(BadInput, match="damaged at sittings"):
        checked(head, io.BytesIO(bytes(data)))
