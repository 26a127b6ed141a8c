"""Backup and restore: the database and both stores, through the settings of the site at hand.

Files lie under keys derived from their content and never change, and a row names a file only after it was written.
So: copy the files, dump the database, copy what came meanwhile. Whatever the dump names is then in the copy.
The copy of the files mirrors the stores: what was removed there for good is gone here at the next backup.
"""

from __future__ import annotations

import argparse
import contextlib
import fcntl
import json
import os
import re
import shutil
import sqlite3
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portal.settings")
import kept_files  # noqa: E402 - it and the next are found only once the project's folder is on the path
from kept_files import Trouble  # noqa: E402

from portal.owner import tighten  # noqa: E402


def say(line: str) -> None:
    print(line, flush=True)


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


def _has_tables() -> bool:
    from django.db import connection

    tables = connection.introspection.table_names()
    connection.close()
    return bool(tables)


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
        about = _kept(folder, with_files=not options.without_files)
        kept = settings.SITE_DIR / "secret-key"
        if kept.exists():
            shutil.copy(kept, folder / "secret-key")
            (folder / "secret-key").chmod(0o600)
        copy_signing(settings.SITE_DIR / "signing", folder / "signing")
        dumps = sorted(folder.glob("database-*"))
        for old in dumps[: -options.keep]:
            old.unlink()
        (folder / "about.json").write_text(json.dumps(about, indent=1) + "\n")
    if about.get("lost"):
        say(
            f"Files that the tables name are not in the store: {about['lost']}. Their copies here are kept;"
            " 'manage.py verify' names them."
        )
    if options.json:
        say(json.dumps(about))
    elif options.without_files:
        say(f"Backed up: {about['database']}. The files are the bucket's own to keep.")
    else:
        say(f"Backed up: {about['database']} and {about['files']} files, {about['new_files']} of them new.")


def _kept(folder: Path, *, with_files: bool) -> dict[str, Any]:
    """Files and tables, in the order that makes them fit together; what there is to say of them."""
    first = kept_files.Copied()
    if with_files:
        say("Copying files")
        first = kept_files.copy_out(folder)
    else:
        kept_files.check_left_out(folder)
    say("Copying the database")
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S%fZ")
    dump = dump_database(folder, stamp)
    about: dict[str, Any] = {"at": stamp, "database": dump.name}
    if not with_files:
        return about | {"files": None}
    second = kept_files.copy_out(folder, mirror=True)
    return about | {"files": second.total, "new_files": first.fresh + second.fresh, "lost": second.lost}


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
        about = _about(folder, dump)
        with_files = about.get("files", 0) is not None
        if _has_tables() or (with_files and kept_files.are_there()):
            raise Trouble("The site at hand is not empty; restore into a new PORTAL_HOME, database and stores.")
        say("Checking the backup")
        check_dump(dump)
        count = _put_back(folder, dump, about, with_files=with_files)
        copy_signing(folder / "signing", settings.SITE_DIR / "signing")
        key = folder / "secret-key"
        if key.exists() and not os.environ.get("PORTAL_SECRET_KEY"):
            shutil.copy(key, settings.SITE_DIR / "secret-key")
            (settings.SITE_DIR / "secret-key").chmod(0o600)
    if with_files:
        say(f"Restored {dump.name} and {count} files. Check with: manage.py verify")
        return
    say(f"Restored {dump.name}. The backup was made without files: they are the bucket's own to keep.")
    missing = kept_files.missing()
    if missing:
        raise Trouble(
            f"{missing} files that the tables name are not in the bucket. Bring them back from its versions, then:"
            " manage.py verify"
        )


def _put_back(folder: Path, dump: Path, about: dict[str, Any], *, with_files: bool) -> int:
    """How many files came back."""
    if not with_files:
        say(f"Putting back {dump.name}")
        load_database(dump)
        return 0
    kept_files.check(folder, about)
    with kept_files.or_nothing():
        say("Putting back files")
        count = kept_files.copy_in(folder)
        say(f"Putting back {dump.name}")
        load_database(dump)
    return count


def main() -> int:
    parser = argparse.ArgumentParser(prog="deploy/keeping.py", description=__doc__)
    commands = parser.add_subparsers(required=True)
    out = commands.add_parser(
        "backup", help="copy database and stores", epilog="Example: deploy/backup /srv/backup/portal --keep 14"
    )
    out.add_argument("folder", type=Path, help="folder of the backup; a second run adds only what is new")
    out.add_argument("--keep", type=int, default=14, help="how many copies of the database to keep (14)")
    out.add_argument(
        "--without-files",
        action="store_true",
        help="tables, key and certificates only: for a bucket that keeps versions of its own",
    )
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
