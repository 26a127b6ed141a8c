"""A sitting removed while a worker, or a page, is making something for it: nothing of it is stored afterwards."""

from __future__ import annotations

from typing import Any

import pytest

from galleries import storage
from galleries.errors import Missing
from galleries.imaging.contained import door
from galleries.models import Job, Sitting
from galleries.steps import jobs
from galleries.steps.keeping import archive_file, erase
from galleries.steps.keeping.restore import restore
from tests import painted
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db


def _in_the_middle_of(monkeypatch: pytest.MonkeyPatch, owner: object, name: str, cast: Cast) -> list[erase.Removed]:
    """The sitting is removed when `name` is called, right after it did its work."""
    real, gone, begun = getattr(owner, name), [], []

    def then_erased(*args: Any, **how: Any) -> Any:
        made = real(*args, **how)
        if not begun:  # the erasure itself writes, too
            begun.append(True)
            gone.append(erase.erase(cast.sitting, cast.as_owner, "asked for"))
        return made

    monkeypatch.setattr(owner, name, then_erased)
    return gone


def test_a_proof_in_the_making_is_not_stored(monkeypatch: pytest.MonkeyPatch) -> None:
    cast = make_cast()
    painted.frames_of(cast, 1)
    uid = cast.sitting.uid
    gone = _in_the_middle_of(monkeypatch, door, "make_proof", cast)
    jobs.run_waiting(kinds=["proof"])
    assert [one.left for one in gone] == [()]
    assert erase.scan(uid) == ()
    assert not Job.objects.filter(kind="proof").exists()


def test_a_file_whose_sitting_goes_while_it_is_written_goes_too(monkeypatch: pytest.MonkeyPatch) -> None:
    cast = make_cast()
    key = storage.derived_key(cast.sitting.uid, "view", "a" * 64)
    store = storage.private()
    gone = _in_the_middle_of(monkeypatch, store, "save", cast)
    with pytest.raises(Missing):
        storage.put(store, key, b"picture")
    assert gone
    assert not store.exists(key)


def test_after_the_erasure_nothing_is_taken_in(tmp_path: Any) -> None:
    cast, other = make_cast(), make_cast("other")
    erase.erase(cast.sitting, cast.as_owner, "asked for")
    for store in (storage.private(), storage.proofs()):
        with pytest.raises(Missing):
            storage.put(store, storage.derived_key(cast.sitting.uid, "view", "a" * 64), b"picture")
        assert storage.put(store, storage.derived_key(other.sitting.uid, "view", "a" * 64), b"picture")
    assert not erase.unfinished()


def test_one_that_comes_back_from_its_archive_takes_files_in_again(tmp_path: Any) -> None:
    cast = make_cast()
    painted.frames_of(cast, 1)
    archive_file.write(cast.sitting, tmp_path / "one.zip", cast.as_owner)
    erase.erase(cast.sitting, cast.as_owner, "test")
    sitting: Sitting = restore(tmp_path / "one.zip").sitting
    assert storage.put(storage.proofs(), storage.derived_key(sitting.uid, "proof", "a" * 64), b"picture")
