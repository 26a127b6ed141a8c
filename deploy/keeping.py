"""Backup and restore: the database and both stores, through the settings of the site at hand.

Files lie under keys derived from their content and never change, and a row names a file only after it was written.
So: copy the files, dump the database, copy what came meanwhile. Whatever the dump names is then in the copy.
The copy of the files mirrors the stores: what was removed there for good is gone here at the next backup.
"""

from __future__ import annotations

import argparse
import contextlib
import fcntl
import hashlib
import json
import os
import re
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portal.settings")
from portal.owner import tighten  # noqa: E402 - found only once the project's folder is on the path

STORES = ("private", "proofs")
CHUNK = 1 << 20


class Trouble(Exception):
    """One sentence for the person at the terminal."""


def say(line: str) -> None:
    print(line, flush=True)


# --- files ----------------------------------------------------------------------------------------------------


def _whole(key: str, path: Path) -> bool:
    """Is the file what its key says? Keys that name no content are taken as they are."""
    from galleries.steps.keeping import inventory

    wanted = inventory.digest_in(key)
    if not wanted:
        return True
    with open(path, "rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest() == wanted


def copy_out(folder: Path, *, mirror: bool) -> tuple[int, int]:
    """Copy what the stores hold and `folder` does not; `mirror` removes what they hold no more.

    Returns how many files were copied, and how many there are in all.
    """
    from django.core.files.storage import storages

    from galleries.steps.keeping import inventory

    copied = total = 0
    for name in STORES:
        store: Any = storages[name]
        root = folder / name
        there = set()
        for key in store.keys("sittings"):
            if inventory.is_cache(key):
                continue  # made again when it is next asked for
            there.add(key)
            target = root / key
            if target.exists():
                continue
            target.parent.mkdir(parents=True, exist_ok=True)
            part = target.with_name(f".{target.name}.part")
            try:
                with store.open(key, "rb") as source, open(part, "wb") as out:
                    shutil.copyfileobj(source, out, CHUNK)
            except FileNotFoundError:  # removed while we copied
                part.unlink(missing_ok=True)
                there.discard(key)
                continue
            if not _whole(key, part):
                part.unlink()
                raise Trouble(f"{name}/{key} in the store is not what its name says; see 'manage.py verify'.")
            part.replace(target)
            copied += 1
        total += len(there)
        for path in list(root.rglob("*")) if mirror else []:
            if path.is_file() and str(path.relative_to(root)) not in there:
                path.unlink()
    return copied, total


def _files_of(folder: Path) -> Iterator[tuple[str, str, Path]]:
    """Store, key and path of every file of the backup."""
    for name in STORES:
        root = folder / name
        for path in sorted(root.rglob("*")):
            if path.is_file() and not path.name.endswith(".part"):
                yield name, str(path.relative_to(root)), path


def check_files(folder: Path, about: dict[str, Any]) -> None:
    """Read every file of the backup before any is copied: all there, each what its key says, and room for them."""
    from django.conf import settings

    count = size = 0
    for _name, key, path in _files_of(folder):
        if not _whole(key, path):
            raise Trouble(f"{path} in the backup is damaged: its content is not what its name says.")
        count, size = count + 1, size + path.stat().st_size
    if count < about.get("files", 0):
        raise Trouble(f"The backup is not whole: about.json names {about['files']} files, {count} are there.")
    for root in settings.FILES_FOLDERS:
        root.mkdir(parents=True, exist_ok=True)
        free = shutil.disk_usage(root).free
        if size > free:
            raise Trouble(f"The backup holds {size:,} bytes of files, and the disk of {root} has only {free:,} left.")


def copy_in(folder: Path) -> int:
    """Put every file of the backup into the stores; `check_files` has read them."""
    from django.core.files.base import File
    from django.core.files.storage import storages

    count = 0
    for name, key, path in _files_of(folder):
        if not storages[name].exists(key):
            with open(path, "rb") as file:
                storages[name].save(key, File(file))
        count += 1
    return count


@contextlib.contextmanager
def or_nothing() -> Iterator[None]:
    """Into empty stores: whatever stops it, they are empty again."""
    from django.core.files.storage import storages

    try:
        yield
    except BaseException:
        for name in STORES:
            store: Any = storages[name]
            store.remove_prefix("sittings")
        raise


# --- database -------------------------------------------------------------------------------------------------


def _postgres_words(database: dict[str, Any]) -> tuple[list[str], dict[str, str]]:
    words = ["--dbname", str(database["NAME"])]
    for option, name in (("--host", "HOST"), ("--port", "PORT"), ("--username", "USER")):
        if database.get(name):
            words += [option, str(database[name])]
    env = {**os.environ, **({"PGPASSWORD": str(database["PASSWORD"])} if database.get("PASSWORD") else {})}
    return words, env


def _run(command: list[str], env: dict[str, str]) -> str:
    """What it printed."""
    try:
        done = subprocess.run(command, env=env, capture_output=True, text=True, check=False)
    except FileNotFoundError:
        raise Trouble(f"{command[0]} is missing. On Debian: apt-get install postgresql-client") from None
    if done.returncode:
        last = (done.stderr.strip().splitlines() or ["no reason given"])[-1]
        raise Trouble(f"{command[0]} failed: {last}")
    return done.stdout


def dump_database(folder: Path, stamp: str) -> Path:
    from django.conf import settings

    database = settings.DATABASES["default"]
    if database["ENGINE"].endswith("sqlite3"):
        target = folder / f"database-{stamp}.sqlite3"
        with (
            contextlib.closing(sqlite3.connect(database["NAME"], timeout=30)) as source,
            contextlib.closing(sqlite3.connect(target)) as out,
        ):
            source.backup(out)
            well = out.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        if not well:
            target.unlink()
            raise Trouble("The copy of the database is damaged; it was not kept.")
    else:
        target = folder / f"database-{stamp}.dump"
        words, env = _postgres_words(database)
        _run(["pg_dump", "--format=custom", "--no-owner", "--file", str(target), *words], env)
    target.chmod(0o600)
    return target


def check_dump(dump: Path) -> None:
    """The copy of the database can be read, is of the kind that PORTAL_DATABASE names, and not of a later release."""
    from django.conf import settings

    database = settings.DATABASES["default"]
    sqlite = database["ENGINE"].endswith("sqlite3")
    if sqlite != (dump.suffix == ".sqlite3"):
        raise Trouble(f"{dump.name} is of another kind of database than PORTAL_DATABASE names.")
    unknown = _migrations_in(dump, sqlite) - _migrations_here()
    if unknown:
        raise Trouble(f"{dump.name} is of a later release than this one: it knows {min(unknown)}. Take that release.")


def _migrations_in(dump: Path, sqlite: bool) -> set[str]:
    if not sqlite:
        wanted = ["--data-only", "--table=django_migrations", "--file=-", str(dump)]
        rows = re.findall(r"^\d+\tgalleries\t(\S+)\t", _run(["pg_restore", *wanted], dict(os.environ)), re.MULTILINE)
        return set(rows)
    try:
        with contextlib.closing(sqlite3.connect(f"file:{dump}?mode=ro&immutable=1", uri=True)) as tables:
            if tables.execute("PRAGMA integrity_check").fetchone()[0] != "ok":
                raise Trouble(f"{dump.name} is damaged.")
            return {name for (name,) in tables.execute("SELECT name FROM django_migrations WHERE app = 'galleries'")}
    except sqlite3.DatabaseError as error:
        raise Trouble(f"{dump.name} is damaged: {error}.") from error


def _migrations_here() -> set[str]:
    return {path.stem for path in (ROOT / "galleries" / "migrations").glob("[0-9]*.py")}


def load_database(dump: Path) -> None:
    from django.conf import settings

    database = settings.DATABASES["default"]
    if dump.suffix == ".sqlite3":
        target = Path(database["NAME"])
        for extra in ("-wal", "-shm"):
            Path(f"{target}{extra}").unlink(missing_ok=True)
        part = target.with_name(f".{target.name}.part")
        shutil.copyfile(dump, part)
        part.replace(target)
    else:
        words, env = _postgres_words(database)
        _run(["pg_restore", "--no-owner", "--exit-on-error", "--single-transaction", *words, str(dump)], env)


def _is_empty() -> bool:
    from django.core.files.storage import storages
    from django.db import connection

    if any(next(iter(_keys(storages[name])), None) for name in STORES):
        return False
    tables = connection.introspection.table_names()
    connection.close()
    return not tables


def _keys(store: Any) -> Iterator[str]:
    yield from store.keys("sittings")


# --- the two commands -----------------------------------------------------------------------------------------


def backup(options: argparse.Namespace) -> None:
    from django.conf import settings

    folder = options.folder.resolve()
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    for line in tighten(folder):
        say(line)
    with open(folder / ".lock", "w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise Trouble(f"Another backup into {folder} is running.") from None
        say("Copying files")
        first, _ = copy_out(folder, mirror=False)
        say("Copying the database")
        stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S%fZ")
        dump = dump_database(folder, stamp)
        second, total = copy_out(folder, mirror=True)
        kept = settings.SITE_DIR / "secret-key"
        if kept.exists():
            shutil.copy(kept, folder / "secret-key")
            (folder / "secret-key").chmod(0o600)
        copy_signing(settings.SITE_DIR / "signing", folder / "signing")
        dumps = sorted(folder.glob("database-*"))
        for old in dumps[: -options.keep]:
            old.unlink()
        about = {"at": stamp, "database": dump.name, "files": total, "new_files": first + second}
        (folder / "about.json").write_text(json.dumps(about, indent=1) + "\n")
    say(
        json.dumps(about)
        if options.json
        else f"Backed up: {dump.name} and {total} files, {first + second} of them new."
    )


def copy_signing(source: Path, target: Path) -> None:
    """The certificates that finals are signed with, and the key, which lies sealed under the site's own: where that
    comes from the environment, the backup alone cannot sign. A key that is no more in force goes here too."""
    if not source.is_dir():
        return
    target.mkdir(mode=0o700, exist_ok=True)
    names = {path.name for path in source.iterdir() if path.is_file() and not path.name.startswith(".")}
    for name in sorted(names, key=lambda name: name == "current"):  # it names what is there by then
        part = target / f".{name}.part"
        shutil.copyfile(source / name, part)
        part.chmod(0o600)
        part.replace(target / name)
    for path in target.glob("*.key"):
        if path.name not in names:
            path.unlink()


def _about(folder: Path, dump: Path) -> dict[str, Any]:
    """What the last backup said of itself; nothing where another copy of the database is taken, whose files may be
    fewer by now."""
    path = folder / "about.json"
    about: dict[str, Any] = json.loads(path.read_text()) if path.exists() else {}
    return about if about.get("database") == dump.name else {}


def restore(options: argparse.Namespace) -> None:
    from django.conf import settings

    folder = options.folder.resolve()
    dumps = sorted(folder.glob("database-*"))
    if not dumps:
        raise Trouble(f"{folder} holds no backup.")
    dump = folder / options.database if options.database else dumps[-1]
    if not dump.exists():
        raise Trouble(f"{dump} is not there; there are: {', '.join(path.name for path in dumps)}")
    with open(settings.SITE_DIR / "running", "a") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise Trouble("The site is running; stop it first.") from None
        if not _is_empty():
            raise Trouble("The site at hand is not empty; restore into a new PORTAL_HOME, database and stores.")
        say("Checking the backup")
        check_dump(dump)
        check_files(folder, _about(folder, dump))
        with or_nothing():
            say("Putting back files")
            count = copy_in(folder)
            say(f"Putting back {dump.name}")
            load_database(dump)
        copy_signing(folder / "signing", settings.SITE_DIR / "signing")
        key = folder / "secret-key"
        if key.exists() and not os.environ.get("PORTAL_SECRET_KEY"):
            shutil.copy(key, settings.SITE_DIR / "secret-key")
            (settings.SITE_DIR / "secret-key").chmod(0o600)
    say(f"Restored {dump.name} and {count} files. Check with: manage.py verify")


def main() -> int:
    parser = argparse.ArgumentParser(prog="deploy/keeping.py", description=__doc__)
    commands = parser.add_subparsers(required=True)
    out = commands.add_parser(
        "backup", help="copy database and stores", epilog="Example: deploy/backup /srv/backup/portal --keep 14"
    )
    out.add_argument("folder", type=Path, help="folder of the backup; a second run adds only what is new")
    out.add_argument("--keep", type=int, default=14, help="how many copies of the database to keep (14)")
    out.add_argument("--json", action="store_true", help="the last line as JSON")
    out.set_defaults(run=backup)
    back = commands.add_parser(
        "restore-backup",
        help="bring a backup into an empty site",
        epilog="Example: deploy/restore-backup /srv/backup/portal",
    )
    back.add_argument("folder", type=Path, help="folder of the backup")
    back.add_argument("--database", default="", help="which copy of the database (the newest)")
    back.set_defaults(run=restore)
    options = parser.parse_args()
    if getattr(options, "keep", 1) < 1:
        parser.error("--keep is 1 or more")
    import django

    django.setup()
    try:
        options.run(options)
    except Trouble as trouble:
        print(trouble, file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
