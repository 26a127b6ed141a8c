"""manage.py deliver: make a delivery here and now, without waiting for the worker."""

from __future__ import annotations

import shutil
from argparse import ArgumentParser
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.core.management.base import CommandError

from galleries.management.trade import TradeCommand, photographer_of, sitting_named, sizes_named

if TYPE_CHECKING:  # a help text needs no tables
    from galleries.models import Delivery


class Command(TradeCommand):
    help = """Cut every final in the chosen sizes, write rights, pack the archive and hand it over.
Without a licence the usual terms are written down first."""
    example = "manage.py deliver ansa-veld --size print-8x10 --size full --out ~/deliveries"

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("sitting", help="the sitting's short name")
        parser.add_argument("--size", action="append", default=[], help="short name of a size; may be repeated")
        parser.add_argument("--changed-only", action="store_true", help="only what changed since the last delivery")
        parser.add_argument("--partial", action="store_true", help="only the finals that are ready now")
        parser.add_argument("--passcode", default="", help="people must enter it before they can fetch")
        parser.add_argument("--days", type=int, help="people can fetch it for so many days")
        parser.add_argument("--out", type=Path, help="copy the archive into this folder too")

    def work(self, options: dict[str, Any]) -> Any:
        import galleries.tasks  # noqa: F401 - work is done here
        from galleries.models import Delivery
        from galleries.steps import jobs
        from galleries.steps.delivering import licences, offer, orders

        sitting = sitting_named(options["sitting"])
        by = photographer_of(sitting)
        licence = licences.current(sitting) or licences.compose(sitting, licences.draft(sitting), by)
        asked = orders.prepare(
            sitting, sizes_named(options["size"]), licence, by,
            changed_only=options["changed_only"], passcode=options["passcode"], days=options["days"],
            partial=options["partial"],
        )  # fmt: skip
        self.tell(options, f"Delivery {asked.number}: {len(asked.orders)} files to make.")
        jobs.run_waiting(sitting, kinds=["delivery"])
        asked.refresh_from_db()
        if asked.state == Delivery.State.WAITING and not offer.problem_of(asked):
            self.all_done = False
            self.tell(options, "Another worker is making it; see the delivery's page.")
            return {"delivery": asked.number, "state": asked.state}
        if asked.state != Delivery.State.READY:
            raise CommandError(f"Delivery {asked.number} could not be made: {offer.problem_of(asked)}")
        return self._told(asked, options)

    def _told(self, delivery: Delivery, options: dict[str, Any]) -> Any:
        from galleries import storage
        from galleries.words.told import stored

        files = list(delivery.files.all())
        for file in files:
            warnings = "".join(f"\n    {stored(warning)}" for warning in file.warnings)
            self.tell(options, f"{file.name}  {file.width} × {file.height} px, {file.bytes:,} bytes{warnings}")
        target = ""
        if options["out"]:
            folder = options["out"].expanduser()
            folder.mkdir(parents=True, exist_ok=True)
            target = str(folder / delivery.archive_name)
            with storage.private().open(delivery.archive_key, "rb") as source, open(target, "wb") as out:
                shutil.copyfileobj(source, out, 1 << 20)
            self.tell(options, f"Archive: {target}")
        self.tell(options, f"{len(files)} files, {delivery.archive_bytes:,} bytes, SHA-256 {delivery.archive_sha256}")
        return {
            "delivery": delivery.number,
            "state": delivery.state,
            "files": [{"name": f.name, "sha256": f.sha256, "bytes": f.bytes, "warnings": f.warnings} for f in files],
            "archive": target or delivery.archive_key,
            "sha256": delivery.archive_sha256,
        }
