"""manage.py watch: take frames into a sitting as the camera writes them."""

from __future__ import annotations

import json
import time
from argparse import ArgumentParser
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.core.management.base import CommandError

from galleries.errors import Refused
from galleries.management.trade import TradeCommand, photographer_of, sitting_named

if TYPE_CHECKING:  # a help text needs no tables
    from galleries.steps.ingesting.watch import Watcher


class Command(TradeCommand):
    help = """Watch a folder and take each file as soon as it is whole; stop with Ctrl-C.
After a restart it goes on where it was: what is in the sitting already is recognised by its content.
With --json each file is one line of JSON."""
    example = "manage.py watch ~/tether --sitting ansa-veld"

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("folder", type=Path, help="the folder the camera or its program writes into")
        parser.add_argument("--make-folder", action="store_true", help="make the folder when it is missing")
        parser.add_argument("--sitting", required=True, help="the sitting's short name")
        parser.add_argument("--every", type=float, default=0.25, help="seconds between two looks (0.25)")
        parser.add_argument("--for", type=float, dest="seconds", help="end after so many seconds")

    def handle(self, *args: Any, **options: Any) -> None:
        from galleries.steps.ingesting import incoming
        from galleries.steps.ingesting.watch import Watcher

        folder: Path = options["folder"]
        if options["make_folder"]:
            self._make(folder)
        if not folder.is_dir():
            raise CommandError(f"{folder} is not a folder.")
        if not 0.05 <= options["every"] <= 5:
            raise CommandError("--every must be 0.05 to 5 seconds.")
        sitting = sitting_named(options["sitting"])
        incoming.sweep()
        watcher = Watcher(sitting, folder, photographer_of(sitting))
        self.tell(options, f"Watching {folder} for “{sitting.title}”; Ctrl-C ends it.")
        until = time.monotonic() + options["seconds"] if options["seconds"] else None
        try:
            while until is None or time.monotonic() < until:
                self._look(watcher, options)
                time.sleep(options["every"])
        except KeyboardInterrupt:
            self.tell(options, "Ended.")
        except Refused as error:
            raise CommandError(str(error)) from error

    @staticmethod
    def _make(folder: Path) -> None:
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise CommandError(f"{folder} cannot be made: {error.strerror}.") from error

    def _look(self, watcher: Watcher, options: dict[str, Any]) -> None:
        for outcome in watcher.look():
            if options["json"]:
                line = {"name": outcome.name, "state": outcome.state, "reason": outcome.reason}
                self.stdout.write(json.dumps(line, ensure_ascii=False))
            elif outcome.state == "refused":
                self.stdout.write(f"refused: {outcome.name}: {outcome.reason}")
            elif outcome.state == "new":
                self.stdout.write(f"new: {outcome.name}" + (f": {outcome.reason}" if outcome.reason else ""))
            self.stdout.flush()
