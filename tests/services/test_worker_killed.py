"""The worker killed outright (SIGKILL, its whole process group) in the middle of its work: after a restart everything
is complete, nothing is there twice, and no file was ever half there."""

from __future__ import annotations

import hashlib
import io
import json
import os
import shutil
import signal
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from tests.servers import Server, queue_server, wait_for
from tests.services.site import Site

pytestmark = pytest.mark.services
FRAMES = 14
PATIENCE = 150

SET_UP = """
from galleries.models import Studio, Sitting
from galleries.steps.delivering import sizes
from tests.cast import make_cast
sizes.load()
cast = make_cast(stage=Sitting.Stage.PLANNING)
"""
BRING_IN = """
import sys
from pathlib import Path
from galleries.access import Visitor
from galleries.models import Sitting
from galleries.steps.ingesting import ingest
sitting = Sitting.objects.get()
by = Visitor(user=sitting.photographer)
states = [one.state for one in ingest.add_folder(sitting, Path({folder!r}), by)]
assert set(states) == {{"new"}}, states
"""
DELIVER = """
import galleries.tasks
from galleries.access import Visitor
from galleries.models import DeliverySize, Sitting
from galleries.steps import jobs
from galleries.steps.agreeing import agree
from galleries.steps.delivering import licences, orders
from galleries.steps.finishing import approvals
sitting = Sitting.objects.get()
by = Visitor(user=sitting.photographer)
jobs.run_waiting(sitting)
agree.publish(sitting, by)
sitting.refresh_from_db()
finals = agree.close(sitting, list(sitting.frames.values_list("pk", flat=True)[:4]), by)
for final in finals:
    approvals.deliver_as_it_is(final, by)
sitting.refresh_from_db()
wanted = list(DeliverySize.objects.filter(slug__in=["casting-4x5", "casting-square", "web-4x5", "print-4x6"]))
licence = licences.compose(sitting, licences.draft(sitting), by)
print(orders.prepare(sitting, wanted, licence, by).pk)
"""


def picture(number: int) -> bytes:
    """A frame with detail all over, so that there is work in it, and nothing in it like another."""
    rng = np.random.default_rng(number)
    coarse = rng.integers(0, 255, (24, 16, 3), dtype=np.uint8)
    image = Image.fromarray(coarse).resize((1600, 2400), Image.Resampling.BICUBIC)
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = f"2025:05:04 10:00:{number:02d}"
    out = io.BytesIO()
    image.save(out, "JPEG", quality=90, exif=exif)
    return out.getvalue()


@pytest.fixture(scope="module")
def brought_in(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A site with a card in it whose work is listed, and rung for nowhere: each test has a copy."""
    home, card = tmp_path_factory.mktemp("site"), tmp_path_factory.mktemp("card")
    for number in range(1, FRAMES + 1):
        (card / f"KAL_{number:04d}.JPG").write_bytes(picture(number))
    made = Site(home)
    made.migrate()
    made.python(SET_UP + BRING_IN.format(folder=str(card)))
    return home


@pytest.fixture
def site(brought_in: Path, tmp_path: Path) -> Iterator[Site]:
    copy = Site(shutil.copytree(brought_in, tmp_path / "site"), PORTAL_WORKERS="2")
    with queue_server(copy.home):
        yield copy


def ask(site: Site, query: str) -> list[tuple[object, ...]]:
    """Straight from the tables: quicker than the work that is looked at."""
    with sqlite3.connect(site.home / "portal.sqlite3", timeout=30) as tables:
        return tables.execute(query).fetchall()


def number(site: Site, query: str) -> int:
    return int(str(ask(site, query)[0][0]))


def kill(worker: Server) -> None:
    os.killpg(worker.process.pid, signal.SIGKILL)
    worker.process.wait()


def stored(site: Site, store: str) -> dict[str, str]:
    """Every file of a store that is there under a key: key -> SHA-256 of its content."""
    root = site.home / "files" / store
    return {
        str(path.relative_to(root)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in root.rglob("*")
        if path.is_file() and not path.name.endswith(".part")
    }


def assert_no_half_files(site: Site) -> None:
    """A killed writer may leave a part beside a key, never half a file under one."""
    for store in ("private", "proofs"):
        for key, digest in stored(site, store).items():
            if "/view" in key:  # the desk's picture bears the digest of the frame it was made from
                with Image.open(site.home / "files" / store / key) as picture:
                    picture.load()
            else:
                assert Path(key).stem == digest, f"{store}/{key} is not whole"


def test_in_the_middle_of_proofs(site: Site) -> None:
    made = "SELECT count(*) FROM galleries_proof"
    running = "SELECT count(*) FROM galleries_job WHERE state = 'running'"
    with site.worker("-B", "-s", str(site.home / "first beat")) as worker:  # the clock rings for what nobody rang for
        wait_for(lambda: number(site, made) >= 3 and number(site, running) >= 1, "no proof was begun", PATIENCE)
        kill(worker)
    assert 3 <= number(site, made) < FRAMES
    assert_no_half_files(site)
    left = "SELECT count(*) FROM galleries_job WHERE state NOT IN ('done') AND kind != 'letter'"
    with site.worker("-B", "-s", str(site.home / "beat")):
        wait_for(lambda: number(site, left) == 0, "work was left undone", PATIENCE)
    rows = ask(site, "SELECT frame_id, large_key, middle_key, small_key FROM galleries_proof")
    assert sorted(int(str(row[0])) for row in rows) == sorted(
        int(str(row[0])) for row in ask(site, "SELECT id FROM galleries_frame")
    )
    named = {str(key) for row in rows for key in row[1:]}
    assert len(named) == 3 * FRAMES
    assert set(stored(site, "proofs")) == named  # nothing twice, nothing that no row names
    assert_no_half_files(site)


def test_in_the_middle_of_a_delivery(site: Site) -> None:
    site.python(DELIVER)
    files, state = "SELECT count(*) FROM galleries_deliveredfile", "SELECT state FROM galleries_delivery"
    with site.worker() as worker:
        wait_for(lambda: number(site, files) >= 4, "no file was made", PATIENCE)
        kill(worker)
    assert ask(site, state) == [("waiting",)]
    assert 4 <= number(site, files) <= 16
    assert_no_half_files(site)
    with site.worker("-B", "-s", str(site.home / "beat")):
        wait_for(lambda: ask(site, state) == [("ready",)], "the delivery was not made", PATIENCE)
    names = ask(site, "SELECT name FROM galleries_deliveredfile")
    assert len(names) == len(set(names)) == 16
    said = ask(site, "SELECT count(*) FROM galleries_journalline WHERE verb = 'delivery ready'")
    assert said == [(1,)]
    archives = [key for key in stored(site, "private") if key.endswith(".zip")]
    finals = [key for key in stored(site, "private") if "/final/" in key]
    assert (len(archives), len(finals)) == (1, 16)
    assert_no_half_files(site)
    whole = site.python(
        "import json\nfrom pathlib import Path\nfrom django.conf import settings\n"
        "from galleries.models import Delivery\nfrom galleries.steps.demo import rehearse\n"
        "made = Delivery.objects.get()\n"
        "path = Path(settings.STORAGES['private']['OPTIONS']['location']) / made.archive_key\n"
        "print(json.dumps(rehearse.check_archive(path, made)))"
    )
    assert json.loads(whole) == 16
