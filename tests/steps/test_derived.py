"""What is kept of pictures that can be made again, archives written beside the store, and the limits in force."""

from __future__ import annotations

import errno
import hashlib
import io
import os
import signal
import stat
import threading
import zipfile
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import InMemoryStorage

from galleries import storage
from galleries.imaging.versions import VERSIONS
from galleries.models import Frame, Sitting, Studio
from galleries.steps import derived, packing
from galleries.steps.derived import Derived
from galleries.steps.ingesting import incoming
from galleries.steps.limits import limits

SITTING = Sitting()
SHA = "a1" * 32


@pytest.fixture
def store(monkeypatch: pytest.MonkeyPatch) -> dict[str, InMemoryStorage]:
    stores = {"private": InMemoryStorage(), "proofs": InMemoryStorage()}
    for name, one in stores.items():
        monkeypatch.setattr(storage, name, lambda one=one: one)
    return stores


def counted(answers: list[bytes]) -> Callable[[], bytes]:
    return lambda: answers.pop(0)


def test_a_picture_is_made_once_and_made_again_when_it_is_missing(store: dict[str, InMemoryStorage]) -> None:
    place, answers = Derived(store["private"], "a/b.jpg"), [b"first", b"second", b"third"]
    assert place.fetched(counted(answers)) == place.fetched(counted(answers)) == b"first"
    assert place.kept(counted(answers)) == "a/b.jpg"
    assert answers == [b"second", b"third"]
    store["private"].delete("a/b.jpg")
    assert place.kept(counted(answers)) == "a/b.jpg"
    assert place.fetched(counted(answers)) == b"second"


def test_what_cannot_be_made_leaves_nothing(store: dict[str, InMemoryStorage]) -> None:
    place, answers = Derived(store["private"], "a/b.jpg"), []
    for ask in (place.fetched, place.kept):
        with pytest.raises(IndexError):
            ask(counted(answers))
    assert not store["private"].exists("a/b.jpg")


def test_a_key_names_all_that_the_picture_hangs_on(
    store: dict[str, InMemoryStorage], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A new version of a recipe, another side or another source is another key; the sitting's folder stays."""
    plain = derived.place(SITTING, "view", SHA, side=3000)
    assert plain.key == f"sittings/{SITTING.uid.hex}/view3000-v{VERSIONS['view']}/a1/{SHA}.jpg"
    assert derived.view_place(SITTING, SHA) == plain
    keys = {
        plain.key,
        derived.place(SITTING, "view", SHA, side=1600).key,
        derived.place(SITTING, "view", SHA).key,
        derived.place(SITTING, "loupe", SHA, side=3000).key,
        derived.place(SITTING, "view", "b2" * 32, side=3000).key,
        derived.place(SITTING, "view", SHA, side=3000, ending="png").key,
        derived.place(Sitting(), "view", SHA, side=3000).key,
    }
    monkeypatch.setitem(VERSIONS, "view", VERSIONS["view"] + 1)
    keys.add(derived.place(SITTING, "view", SHA, side=3000).key)
    assert len(keys) == 8
    with pytest.raises(KeyError):
        derived.place(SITTING, "no recipe", SHA)


def test_what_is_shown_lies_apart_from_what_is_not(store: dict[str, InMemoryStorage]) -> None:
    assert derived.place(SITTING, "view", SHA).store is store["private"]
    assert derived.place(SITTING, "view", SHA, shown=True).store is store["proofs"]


@pytest.mark.parametrize("text", ["", "x" * 64 + "y", "crop of " + "a" * 56, derived.described(tilt=1.5), "a-" * 32])
def test_what_is_no_digest_is_digested(store: dict[str, InMemoryStorage], text: str) -> None:
    assert hashlib.sha256(text.encode()).hexdigest() in derived.place(SITTING, "view", text).key


def test_the_same_values_give_the_same_text_in_any_order() -> None:
    at = datetime(2026, 5, 4, tzinfo=UTC)
    assert derived.described(a=1, b=[2.5, None], at=at) == derived.described(at=at, b=[2.5, None], a=1)
    assert derived.described(a=1) != derived.described(a="1")


def test_a_view_is_made_from_the_private_original(
    store: dict[str, InMemoryStorage], monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[Any] = []

    def make_view(path: Path, *how: Any) -> bytes:
        asked.append((path.read_bytes(), *how))
        return b"view"

    monkeypatch.setattr(derived.door, "make_view", make_view)
    store["private"].save("o.jpg", ContentFile(b"original"))
    for _again in range(2):
        assert storage.get(*derived.view(SITTING, "o.jpg", SHA, 1600)) == b"view"
    assert asked == [(b"original", 1600, limits())]


@pytest.mark.django_db
def test_a_stamp_hangs_on_the_studios_name_and_the_recipe(
    store: dict[str, InMemoryStorage], monkeypatch: pytest.MonkeyPatch
) -> None:
    studio = Studio.objects.create(name="Northlight Rooms", photographer="P", email="p@northlight.example")
    first = derived.stamp_recipe()
    assert first == derived.stamp_recipe()
    assert len(first) <= 40  # a column's length
    Studio.objects.filter(pk=studio.pk).update(name="Northlight Room")
    second = derived.stamp_recipe()
    monkeypatch.setitem(VERSIONS, "proof", VERSIONS["proof"] + 1)
    assert len({first, second, derived.stamp_recipe()}) == 3


@pytest.mark.django_db
def test_what_is_drawn_of_a_frame_is_kept_all_at_once(
    store: dict[str, InMemoryStorage], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each of the four waits here until all are being written; one that cannot be is told, and no keys come back."""
    Studio.objects.create(name="Northlight Rooms", photographer="P", email="p@northlight.example")
    drawn = SimpleNamespace(large=b"large", middle=b"middle", small=b"small", plain=b"plain")
    monkeypatch.setattr(derived.door, "make_proof", lambda *_what, **_how: drawn)
    together, kept = threading.Barrier(4, timeout=60), {}

    def put(where: InMemoryStorage, key: str, content: bytes) -> str:
        together.wait()
        if content == full:
            raise OSError(errno.ENOSPC, "No space left on device")
        kept[content] = (where, key)
        return key

    monkeypatch.setattr(storage, "put", put)
    full = b""
    made = derived.stamped(SITTING, Frame(sha256=SHA), b"frame", "0412", plain=720)
    assert kept == {
        b"large": (store["proofs"], made.large_key),
        b"middle": (store["proofs"], made.middle_key),
        b"small": (store["proofs"], made.small_key),
        b"plain": derived.view_place(SITTING, SHA, 720),
    }
    full = b"middle"
    with pytest.raises(OSError, match="No space left"):
        derived.stamped(SITTING, Frame(sha256=SHA), b"frame", "0412", plain=720)


@pytest.mark.django_db
@pytest.mark.parametrize("alone", [True, False])
def test_stamped_files_lie_in_the_proof_store_under_their_own_digest(
    store: dict[str, InMemoryStorage], monkeypatch: pytest.MonkeyPatch, alone: bool
) -> None:
    Studio.objects.create(name="Northlight Rooms", photographer="P", email="p@northlight.example")
    asked: list[Any] = []
    store["proofs"].save(f"sittings/{SITTING.uid.hex}/there", ContentFile(b""))  # Django's own is not for two at once
    drawn = SimpleNamespace(large=b"large", middle=b"middle", small=b"small")
    monkeypatch.setattr(derived.door, "make_proof", lambda *what, **how: asked.append((what, how)) or drawn)
    made = derived.stamped(SITTING, Frame(sha256=SHA), b"frame", "0412", alone=alone)
    (((data, text, most), how),) = asked
    assert how == ({"middle": 0} if alone else {"plain": 0})
    assert (data, text.studio, text.label, most) == (b"frame", "Northlight Rooms", "0412", limits())
    digest = hashlib.sha256(b"large").hexdigest()
    assert made.large_key == f"sittings/{SITTING.uid.hex}/proof/{digest[:2]}/{digest}.jpg"
    assert store["proofs"].open(made.large_key).read() == b"large"
    companions = [made.middle_key, made.small_key]
    read = [store["proofs"].open(key).read() if key else b"" for key in companions]
    assert read == ([b"", b""] if alone else [b"middle", b"small"])
    assert not store["private"].exists(made.large_key)


def test_the_limits_are_the_settings_of_now(settings: Any) -> None:
    settings.MAX_FRAME_BYTES, settings.MAX_FRAME_PIXELS, settings.MAX_FRAME_SIDE = 5, 6, 7
    most = limits()
    assert (most.max_bytes, most.max_pixels, most.max_side) == (5, 6, 7)


# Archives


MADE = datetime(2026, 5, 4, 1, 30, 8, tzinfo=timezone(timedelta(hours=2)))


def write(archive: zipfile.ZipFile) -> None:
    for name, text in (("a/eins.txt", b"one"), ("b.bin", b"\0" * 70_000)):
        with packing.member(archive, name, MADE, len(text)) as target:
            target.write(text)


def test_an_archive_is_stored_whole_under_its_own_digest_and_the_same_content_is_the_same_bytes(
    store: dict[str, InMemoryStorage], settings: Any, tmp_path: Path
) -> None:
    settings.INCOMING_DIR = tmp_path / "not there yet"
    first, again = (packing.pack(SITTING.uid, "archive", write) for _ in range(2))
    assert first == again
    data = store["private"].open(first.key).read()
    assert (first.sha256, first.bytes) == (hashlib.sha256(data).hexdigest(), len(data))
    assert first.key == f"sittings/{SITTING.uid.hex}/archive/{first.sha256[:2]}/{first.sha256}.zip"
    assert list((tmp_path / "not there yet").iterdir()) == []
    with zipfile.ZipFile(io.BytesIO(data)) as opened:
        assert opened.testzip() is None
        for info in opened.infolist():
            assert info.compress_type == zipfile.ZIP_STORED
            assert info.date_time == (2026, 5, 3, 23, 30, 8)  # UTC, whatever zone it was given in
            assert stat.S_IMODE(info.external_attr >> 16) == 0o644
        assert opened.read("b.bin") == b"\0" * 70_000


def test_an_archive_that_breaks_while_it_is_written_leaves_nothing(
    store: dict[str, InMemoryStorage], settings: Any, tmp_path: Path
) -> None:
    settings.INCOMING_DIR = tmp_path

    def breaks(archive: zipfile.ZipFile) -> None:
        write(archive)
        raise ArithmeticError

    with pytest.raises(ArithmeticError):
        packing.pack(SITTING.uid, "archive", breaks)
    assert list(tmp_path.iterdir()) == []
    assert not store["private"].exists("sittings")


def filled(*, settled: bool) -> packing.Packed:
    with packing.begun() as growing:
        for name in "abc":
            with packing.member(growing.archive, name, MADE, packing.CHUNK + 1) as target:
                target.write(name.encode() * (packing.CHUNK + 1))
            if settled:
                growing.settle()
        return growing.finish(SITTING.uid, "archive")


def in_a_folder(monkeypatch: pytest.MonkeyPatch, settings: Any, tmp_path: Path) -> Path:
    """The private store; what is under way lies beside it."""
    folder = storage.FolderStore(location=tmp_path / "store")
    monkeypatch.setattr(storage, "private", lambda: folder)
    settings.INCOMING_DIR = tmp_path / "incoming"
    return Path(folder.location)


def test_an_archive_hashed_as_it_grows_is_the_same_and_most_of_it_is_flushed_before_the_end(
    monkeypatch: pytest.MonkeyPatch, settings: Any, tmp_path: Path
) -> None:
    store = in_a_folder(monkeypatch, settings, tmp_path)
    flushed, real = [], os.fdatasync

    def flush(descriptor: int) -> None:
        real(descriptor)
        flushed.append(os.fstat(descriptor).st_size)

    monkeypatch.setattr(packing.os, "fdatasync", flush)
    monkeypatch.setattr(packing, "FLUSH", packing.CHUNK + 1)
    settled, at_the_end = filled(settled=True), filled(settled=False)
    assert settled == at_the_end
    data = (store / settled.key).read_bytes()
    assert (settled.sha256, settled.bytes) == (hashlib.sha256(data).hexdigest(), len(data))
    assert len(flushed) == 3
    assert flushed == sorted(flushed)
    assert list((tmp_path / "incoming").iterdir()) == []


def test_nothing_is_flushed_of_an_archive_that_is_sent_off(
    store: dict[str, InMemoryStorage], monkeypatch: pytest.MonkeyPatch, settings: Any, tmp_path: Path
) -> None:
    settings.INCOMING_DIR = tmp_path
    monkeypatch.setattr(packing, "FLUSH", 1)
    monkeypatch.setattr(packing.os, "fdatasync", lambda _fd: pytest.fail("it was flushed"))
    packed = filled(settled=True)
    assert hashlib.sha256(store["private"].open(packed.key).read()).hexdigest() == packed.sha256


def test_of_an_archive_whose_writer_is_killed_nothing_stays(
    monkeypatch: pytest.MonkeyPatch, settings: Any, tmp_path: Path
) -> None:
    in_a_folder(monkeypatch, settings, tmp_path)
    told, tell = os.pipe()
    child = os.fork()
    if child == 0:  # without a last word, whatever happens
        with packing.begun() as growing:
            growing.archive.writestr("a", b"half of it")
            growing.settle()
            os.write(tell, b"." if list((tmp_path / "incoming").iterdir()) == [] else b"!")
            os.kill(os.getpid(), signal.SIGKILL)
    assert os.read(told, 1) == b"."
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == -signal.SIGKILL
    assert list((tmp_path / "incoming").iterdir()) == []


@pytest.mark.parametrize("lacking", ["such files", "a path to them"])
def test_where_no_file_can_be_without_a_name_it_has_one_that_is_swept(
    lacking: str, monkeypatch: pytest.MonkeyPatch, settings: Any, tmp_path: Path
) -> None:
    store, real = in_a_folder(monkeypatch, settings, tmp_path), os.open

    def none_of_those(path: Any, flags: int, *more: Any, **how: Any) -> int:
        if flags & os.O_TMPFILE == os.O_TMPFILE:
            raise OSError(errno.EOPNOTSUPP, os.strerror(errno.EOPNOTSUPP))
        return real(path, flags, *more, **how)

    nameless = filled(settled=True)
    (store / nameless.key).unlink()
    if lacking == "such files":
        monkeypatch.setattr(packing.os, "open", none_of_those)
    else:
        monkeypatch.setattr(packing, "DESCRIPTORS", tmp_path / "nowhere")
    with packing.begun():
        (named,) = (tmp_path / "incoming").iterdir()
        assert incoming.sweep(older_than=-60) == 1
        named.touch()  # it is removed at the end
    assert filled(settled=True) == nameless
    assert hashlib.sha256((store / nameless.key).read_bytes()).hexdigest() == nameless.sha256
    assert list((tmp_path / "incoming").iterdir()) == []


@pytest.mark.parametrize("length", [0, 1, packing.CHUNK, packing.CHUNK + 1])
def test_a_stored_file_goes_in_byte_for_byte_and_its_digest_is_told(
    store: dict[str, InMemoryStorage], length: int
) -> None:
    data = bytes(range(256)) * (length // 256 + 1)
    store["private"].save("f", ContentFile(data[:length]))
    out = io.BytesIO()
    assert packing.copy(store["private"], "f", out) == hashlib.sha256(data[:length]).hexdigest()
    assert out.getvalue() == data[:length]
