"""deploy/backup and deploy/restore-backup: from a running site into an empty one, on SQLite and PostgreSQL."""

from __future__ import annotations

import contextlib
import json
import shutil
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import psycopg
import pytest

from tests.browser.studio_stage import jpeg
from tests.servers import bucket_server, postgresql_server, wait_for
from tests.services.grown import KEY, SECRET, make_buckets
from tests.services.site import ROOT, Site

pytestmark = pytest.mark.services

GO = """
from galleries.access import Visitor
from galleries.models import Sitting
from galleries.steps.keeping import erase
sitting = Sitting.objects.get()
erase.erase(sitting, Visitor(user=sitting.photographer), "no longer wanted")
"""
MAKE = """
import hashlib
from galleries import storage
from galleries.models import Studio
from tests.cast import make_cast
from galleries.steps.picking import pick
cast = make_cast()
look = cast.look()
for number in range(1, 6):
    data = hashlib.sha256(str(number).encode()).digest() * 5000
    digest = hashlib.sha256(data).hexdigest()
    key = storage.original_key(cast.sitting.uid, digest, "JPEG")
    storage.put(storage.private(), key, data)
    frame = cast.frame(number, look, sha256=digest, key=key)
    storage.put(storage.proofs(), storage.derived_key(cast.sitting.uid, "proof", digest), data)
    pick.set_mark(cast.as_subject, frame.pk, kind="pick", note="this one")
key = storage.studio_key("logo", hashlib.sha256(b"logo").hexdigest(), "png")
storage.put(storage.private(), key, b"logo")
Studio.objects.update_or_create(defaults={"logo_key": key})
"""
COUNT = """
import hashlib
from galleries import storage
from galleries.models import Frame, JournalLine, Mark
whole = [hashlib.sha256(storage.get(storage.private(), f.key)).hexdigest() == f.sha256 for f in Frame.objects.all()]
print(len(whole), all(whole), Mark.objects.filter(kind="pick", note="this one").count(),
      JournalLine.objects.count(), len(list(storage.proofs().keys("sittings"))))
"""


def coming_in(site: Site, folder: Path, count: int = 30) -> subprocess.Popen[bytes]:
    """A card that is being brought in beside the frames of `MAKE`."""
    folder.mkdir()
    for number in range(count):
        (folder / f"NEW_{number:04d}.JPG").write_bytes(jpeg(3 * number + 5, (320, 480)))
    words = [sys.executable, "manage.py", "ingest", str(folder), "--sitting", "ansa-veld"]
    return subprocess.Popen(words, cwd=ROOT, env=site.env, stdout=subprocess.DEVNULL)


def come_in(site: Site) -> int:
    """Frames that are there: asked of the tables themselves, many times while others work."""
    count = "SELECT count(*) FROM galleries_frame"
    if address := site.env.get("PORTAL_DATABASE"):
        with psycopg.connect(address) as line:
            return int(line.execute(count).fetchone()[0])  # type: ignore[index]
    with contextlib.closing(sqlite3.connect(site.home / "portal.sqlite3", timeout=30)) as tables:
        return int(tables.execute(count).fetchone()[0])


def restored_whole(new: Site) -> int:
    """How many frames came back, each with its bytes as they were."""
    frames, whole, picked, _lines, _proofs = new.python(COUNT).split()
    assert (whole, picked) == ("True", "5")
    return int(frames)


def command(name: str, site: Site, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [str(ROOT / "deploy" / name), *words], env=site.env, check=False, capture_output=True, text=True
    )


@pytest.fixture(scope="module")
def made_once(tmp_path_factory: pytest.TempPathFactory) -> Site:
    made = Site(tmp_path_factory.mktemp("site"))
    made.migrate()
    made.python(MAKE)
    return made


@pytest.fixture(scope="module")
def kept_once(made_once: Site, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A backup of it."""
    folder = tmp_path_factory.mktemp("kept")
    assert command("backup", made_once, str(folder)).returncode == 0
    return folder


@pytest.fixture
def site(made_once: Site, tmp_path: Path) -> Site:
    return Site(shutil.copytree(made_once.home, tmp_path / "site"))


def empty(tmp_path: Path, **more: str) -> Site:
    (tmp_path / "new").mkdir(exist_ok=True)
    return Site(tmp_path / "new", **more)


def test_what_was_backed_up_comes_back_whole(site: Site, tmp_path: Path) -> None:
    signed_by = site.manage("signing-certificate", "--json")
    done = command("backup", site, str(tmp_path / "kept"), "--json")
    assert done.returncode == 0, done.stderr
    said = json.loads(done.stdout.strip().splitlines()[-1])
    assert (said["files"], said["new_files"], said["lost"]) == (11, 11, 0)
    assert not [
        path for path in (tmp_path / "kept").rglob("*") if path.is_file() and b"PRIVATE KEY" in path.read_bytes()
    ]
    new = empty(tmp_path)
    done = command("restore-backup", new, str(tmp_path / "kept"))
    assert done.returncode == 0, done.stderr
    assert new.python(COUNT) == site.python(COUNT) == "5 True 5 5 5"
    assert (new.home / "secret-key").read_text() == (site.home / "secret-key").read_text()
    assert new.manage("migrate", "--check") == ""
    assert new.manage("signing-certificate", "--json") == signed_by
    for path in (new.home / "signing").iterdir():
        assert path.stat().st_mode & 0o077 == 0


def test_a_second_backup_copies_only_what_is_new_and_forgets_what_had_to_go(site: Site, tmp_path: Path) -> None:
    kept = tmp_path / "kept"
    command("backup", site, str(kept), "--keep", "2")
    site.python(
        "from galleries import storage\nfrom galleries.models import Sitting\n"
        "uid = Sitting.objects.get().uid\n"
        "storage.proofs().remove_prefix(storage.home(uid))\n"
        "storage.put(storage.private(), f'{storage.home(uid)}/versions/new.jpg', b'new')"
    )
    for _ in range(2):
        done = command("backup", site, str(kept), "--keep", "2", "--json")
        assert done.returncode == 0, done.stderr
    said = json.loads(done.stdout.strip().splitlines()[-1])
    assert (said["files"], said["new_files"], said["lost"]) == (7, 0, 0)
    assert [path for path in (kept / "proofs").rglob("*") if path.is_file()] == []
    assert len(list(kept.glob("database-*"))) == 2


def test_what_the_store_lost_is_not_lost_in_the_backup_too(site: Site, tmp_path: Path) -> None:
    """A bucket named wrongly, or emptied by somebody, looks as if all had been erased."""
    kept = tmp_path / "kept"
    command("backup", site, str(kept))
    shutil.rmtree(site.home / "files" / "private")
    done = command("backup", site, str(kept), "--json")
    assert done.returncode == 0, done.stderr
    told, said = done.stdout.strip().splitlines()[-2:]
    assert (json.loads(said)["files"], json.loads(said)["lost"]) == (11, 6)
    assert "Files that the tables name are not in the store: 6" in told
    new = empty(tmp_path)
    assert command("restore-backup", new, str(kept)).returncode == 0
    assert new.python(COUNT) == "5 True 5 5 5"


def test_a_backup_while_people_mark_holds_only_whole_transactions(site: Site, tmp_path: Path) -> None:
    """A mark and its line in the journal are one transaction: the copy has as many of one as of the other."""
    stop = threading.Event()
    busy = (
        "import sys, itertools\nfrom galleries.access import Visitor\nfrom galleries.models import Frame, Invite\n"
        "from galleries.steps.picking import pick\n"
        "who = Visitor(invite=Invite.objects.get(role='representation'))\n"
        "frames = list(Frame.objects.values_list('pk', flat=True))\n"
        "for n in range(400):\n    pick.set_mark(who, frames[n % 5], kind=['pick', 'strike'][n // 5 % 2])\n"
    )
    marking = threading.Thread(target=lambda: (site.python(busy), stop.set()))
    marking.start()
    taken = 0
    while not stop.is_set() and taken < 20:
        done = command("backup", site, str(tmp_path / "kept"), "--keep", "50")
        assert done.returncode == 0, done.stderr
        taken += 1
    marking.join()
    dumps = sorted((tmp_path / "kept").glob("database-*"))
    assert len(dumps) == taken >= 1
    for dump in dumps:
        with sqlite3.connect(f"file:{dump}?mode=ro", uri=True) as tables:
            lines = tables.execute("SELECT count(*) FROM galleries_journalline WHERE verb='marked'").fetchone()[0]
            revisions = tables.execute("SELECT coalesce(sum(revision), 0) FROM galleries_mark").fetchone()[0]
        assert lines == revisions


def test_a_backup_while_frames_come_in_comes_back_whole(site: Site, tmp_path: Path) -> None:
    card = coming_in(site, tmp_path / "card")
    wait_for(lambda: come_in(site) > 5 or card.poll() is not None, "a frame", seconds=240)
    done = command("backup", site, str(tmp_path / "kept"))
    assert (done.returncode, card.wait(120)) == (0, 0), done.stderr
    new = empty(tmp_path)
    done = command("restore-backup", new, str(tmp_path / "kept"))
    assert done.returncode == 0, done.stderr
    assert 5 < restored_whole(new) <= come_in(site) == 35


def test_a_site_that_holds_something_is_not_written_over(site: Site, tmp_path: Path) -> None:
    command("backup", site, str(tmp_path / "kept"))
    done = command("restore-backup", site, str(tmp_path / "kept"))
    assert done.returncode == 1
    assert "not empty" in done.stderr
    assert site.python(COUNT) == "5 True 5 5 5"


def _file_damaged(kept: Path) -> str:
    victim = sorted((kept / "proofs").rglob("*.jpg"))[-1]
    data = bytearray(victim.read_bytes())
    data[1000] ^= 1
    victim.write_bytes(data)
    return f"{victim.name} in the backup is damaged"


def _file_missing(kept: Path) -> str:
    sorted((kept / "proofs").rglob("*.jpg"))[-1].unlink()
    return "names 11 files, 10 are there"


def _database_cut_short(kept: Path) -> str:
    dump = next(kept.glob("database-*"))
    dump.write_bytes(dump.read_bytes()[:-50_000])
    return f"{dump.name} is damaged"


def _of_a_later_release(kept: Path) -> str:
    with contextlib.closing(sqlite3.connect(next(kept.glob("database-*")))) as tables:
        tables.execute("INSERT INTO django_migrations VALUES (9999, 'galleries', '9999_later', '2040-01-01')")
        tables.commit()
    return "later release than this one: it knows 9999_later"


def _of_another_kind(kept: Path) -> str:
    dump = next(kept.glob("database-*"))
    dump.rename(kept / f"{dump.stem}.dump")
    return "of another kind of database"


@pytest.mark.parametrize(
    "harm", [_file_damaged, _file_missing, _database_cut_short, _of_a_later_release, _of_another_kind]
)
def test_a_backup_that_does_not_hold_is_named_before_anything_is_copied(
    kept_once: Path, tmp_path: Path, harm: Callable[[Path], str]
) -> None:
    kept = shutil.copytree(kept_once, tmp_path / "kept")
    told, new = harm(kept), empty(tmp_path)
    done = command("restore-backup", new, str(kept))
    assert done.returncode == 1
    assert told in done.stderr
    assert [path for path in (new.home / "files").rglob("*") if path.is_file()] == []
    with contextlib.closing(sqlite3.connect(new.home / "portal.sqlite3")) as tables:
        assert tables.execute("SELECT count(*) FROM sqlite_master").fetchone() == (0,)


def test_no_backup_there_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "nothing").mkdir()
    done = command("restore-backup", empty(tmp_path), str(tmp_path / "nothing"))
    assert (done.returncode, len(done.stderr.strip().splitlines())) == (1, 1)


@pytest.fixture
def two_places(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[dict[str, str], dict[str, str]]]:
    """Databases and buckets, by their settings."""
    folder = tmp_path_factory.mktemp("bucket")
    with postgresql_server() as server, bucket_server(folder, KEY, SECRET) as store:
        tools = sorted(Path("/usr/lib/postgresql").glob("*/bin"))[-1]
        port = server.address.rsplit(":", 1)[1].split("/")[0]
        for name in ("one", "two"):
            subprocess.run([str(tools / "createdb"), "-h", "127.0.0.1", "-p", port, "-U", "tester", name], check=True)
        root = server.address.rsplit("/", 1)[0]
        make_buckets(store.address, ("one", "one-proofs", "two", "two-proofs"))
        bucket = {"PORTAL_FILES": "s3", "PORTAL_S3_ENDPOINT": store.address}
        bucket |= {"PORTAL_S3_KEY": KEY, "PORTAL_S3_SECRET": SECRET}

        def place(name: str) -> dict[str, str]:
            buckets = {"PORTAL_S3_BUCKET_PRIVATE": name, "PORTAL_S3_BUCKET_PROOFS": f"{name}-proofs"}
            return bucket | buckets | {"PORTAL_DATABASE": f"{root}/{name}"}

        yield place("one"), place("two")


def test_on_postgresql_with_files_in_a_bucket_too(
    two_places: tuple[dict[str, str], dict[str, str]], tmp_path: Path
) -> None:
    (tmp_path / "site").mkdir()
    site = Site(tmp_path / "site", **two_places[0])
    site.migrate()
    site.python(MAKE)
    card = coming_in(site, tmp_path / "card")
    wait_for(lambda: come_in(site) > 5 or card.poll() is not None, "a frame", seconds=240)
    done = command("backup", site, str(tmp_path / "kept"))
    assert (done.returncode, card.wait(120)) == (0, 0), done.stderr
    new = empty(tmp_path, **two_places[1])
    done = command("restore-backup", new, str(tmp_path / "kept"))
    assert done.returncode == 0, done.stderr
    assert 5 < restored_whole(new) <= restored_whole(site) == 35
    new.python("from tests.cast import make_cast\nmake_cast('after-restore')")  # the counters of keys came along

    # Only what is new is copied; what was removed there for good goes here too.
    assert command("backup", site, str(tmp_path / "kept")).returncode == 0
    site.python(GO)
    done = command("backup", site, str(tmp_path / "kept"), "--json")
    said = json.loads(done.stdout.strip().splitlines()[-1])
    assert (said["files"], said["new_files"], said["lost"]) == (1, 0, 0), done.stdout + done.stderr
    assert [path.name for path in (tmp_path / "kept").glob("*/sittings/**/*") if path.is_file()] == []

    # A bucket that keeps versions of its own: not into the same folder, and the files stay where they are.
    assert "earlier backups" in command("backup", site, str(tmp_path / "kept"), "--without-files").stderr
    done = command("backup", new, str(tmp_path / "tables"), "--without-files")
    assert done.returncode == 0, done.stderr
    assert not (tmp_path / "tables" / "private").exists()
    subprocess.run(
        ["psql", two_places[1]["PORTAL_DATABASE"], "-qc", "DROP SCHEMA public CASCADE; CREATE SCHEMA public"],
        check=True,
    )
    done = command("restore-backup", new, str(tmp_path / "tables"))
    assert done.returncode == 0, done.stderr
    assert restored_whole(new) > 5
