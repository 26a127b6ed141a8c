"""manage.py ingest: bring the files of a card or folder into a sitting."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError

from galleries.management.trade import TradeCommand, photographer_of, sitting_named


class Command(TradeCommand):
    help = """Verify every file of a folder, at any depth, and list it as a frame of the sitting.
What is there already is not stored again. A refused file is named with its reason, and the rest go on."""
    example = "manage.py ingest /media/card/DCIM --sitting ansa-veld"

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("folder", type=Path, help="card or folder")
        parser.add_argument("--sitting", required=True, help="the sitting's short name")

    def work(self, options: dict[str, Any]) -> Any:
        from galleries.steps.ingesting import incoming, ingest

        folder: Path = options["folder"]
        if not folder.is_dir():
            raise CommandError(f"{folder} is not a folder.")
        sitting = sitting_named(options["sitting"])
        incoming.sweep()
        counts = {"new": 0, "same": 0, "refused": 0}
        refused = []
        outcomes = ingest.add_folder(
            sitting, folder, photographer_of(sitting), seen=lambda done, of: self.progress(done, of, "files")
        )
        for outcome in outcomes:
            counts[outcome.state] += 1
            if outcome.state == "refused":
                refused.append({"name": outcome.name, "reason": outcome.reason})
                self.tell(options, f"refused: {outcome.name}: {outcome.reason}")
            elif outcome.reason:
                self.tell(options, f"new, but see: {outcome.name}: {outcome.reason}")
        self.all_done = not refused
        if not sum(counts.values()):
            self.all_done = False
            self.tell(options, f"There is no picture in {folder}.")
        self.tell(
            options,
            "{new} new, {same} there already, {refused} refused.".format(**counts),
        )
        return {"sitting": sitting.slug, **counts, "files_refused": refused}
