"""manage.py retention: what is kept and until when; put a sitting into a file, or remove it for good."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError

from galleries.management.trade import TradeCommand, photographer_of, sitting_named


class Command(TradeCommand):
    help = """List every sitting with its size and the day until which it is kept. Afterwards the site's clock removes
it, never before a letter has told its photographer in time; this command removes only with --erase. Erasures that were
cut short are caught up on every call."""
    example = """manage.py retention
  manage.py retention --sitting ansa-veld --until 2030-12-31
  manage.py retention --sitting ansa-veld --file /backup/ansa-veld.zip
  manage.py retention --sitting ansa-veld --erase --why 'asked for by the subject on 3 May'"""

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("--sitting", help="the sitting's short name, for what follows")
        parser.add_argument("--until", help="keep it until this day (2030-12-31), or 'open'")
        parser.add_argument("--file", type=Path, help="write the whole sitting into this one file")
        parser.add_argument("--erase", action="store_true", help="remove the sitting for good")
        parser.add_argument("--why", default="", help="the reason; kept with the record of the erasure")

    def work(self, options: dict[str, Any]) -> Any:
        from galleries.steps.keeping import erase, retention

        for late in erase.finish_erasures():
            self.tell(options, f"An erasure that had been cut short is finished: {late.uid}, {late.files} files.")
        result: dict[str, Any] = {}
        if options["until"] or options["file"] or options["erase"]:
            if not options["sitting"]:
                raise CommandError("Name the sitting with --sitting.")
            result = self._one(options)
        rows = retention.keeping()
        for row in rows:
            self.tell(options, row.sentence)
        listed = [
            {"sitting": r.sitting.slug, "files": r.files, "bytes": r.bytes, "due": r.due,
             "until": r.sitting.keep_until.isoformat() if r.sitting.keep_until else None}
            for r in rows
        ]  # fmt: skip
        return {**result, "sittings": listed}

    def _one(self, options: dict[str, Any]) -> dict[str, Any]:
        from galleries.steps.keeping import archive_file, erase, retention

        sitting = sitting_named(options["sitting"])
        by = photographer_of(sitting)
        result: dict[str, Any] = {}
        if options["until"]:
            retention.keep_until(
                sitting, by, None if options["until"] == "open" else retention.check_day(options["until"])
            )
        if options["file"]:
            archive = archive_file.write(
                sitting, options["file"].expanduser().resolve(), by, lambda done, of: self.progress(done, of, "files")
            )
            result["archive"] = {"path": str(archive.path), "sha256": archive.sha256, "bytes": archive.bytes}
            self.tell(options, f"{archive.path}: {archive.files} files, {archive.rows} rows, SHA-256 {archive.sha256}")
        if options["erase"]:
            gone = erase.erase(sitting, by, options["why"])
            result["erased"] = {"record": gone.uid, "frames": gone.frames, "files": gone.files, "left": list(gone.left)}
            self.all_done = not gone.left
            self.tell(
                options, f"Removed: {gone.frames} frames, {gone.files} files. A scan finds {len(gone.left)} left."
            )
            self.tell(options, "Backups and files that people fetched are outside this program's reach.")
        return result
