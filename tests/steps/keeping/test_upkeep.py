"""The regular upkeep: one broken part does not stop the others."""

from __future__ import annotations

import os
import time

import pytest

from galleries import storage
from galleries.steps.keeping import erase, upkeep
from galleries.steps.people import posting

pytestmark = pytest.mark.django_db


def test_a_part_that_breaks_is_logged_and_the_rest_is_done(monkeypatch, caplog):
    done = []
    monkeypatch.setattr(posting, "send_due", lambda: 1 / 0)
    monkeypatch.setattr(erase, "finish_erasures", lambda: done.append("erasures"))
    posting.send_due.__name__ = "send_due"
    upkeep.run()
    assert done == ["erasures"]
    assert "send_due broke" in caplog.text


def test_the_beginning_of_a_file_whose_writer_was_killed_goes_after_a_while():
    store = storage.private()
    storage.put(store, "sittings/a/originals/whole.jpg", b"whole")
    part = os.path.join(store.location, "sittings/a/originals/.whole.jpg.1.ab.part")
    with open(part, "wb") as file:
        file.write(b"half")
    upkeep.run()
    assert os.path.exists(part)  # its writer may still be at work
    long_ago = time.time() - 3 * 24 * 3600
    os.utime(part, (long_ago, long_ago))
    upkeep.run()
    assert not os.path.exists(part)
    assert list(store.keys("sittings/a")) == ["sittings/a/originals/whole.jpg"]
