"""manage.py agreed: the closed list, for the editor."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError

from galleries.management.trade import TradeCommand, sitting_named


class Command(TradeCommand):
    help = """Print the camera file names of the agreed list, one a line, in the order of the list.
Sidecars carry xmp:Rating 5 and the keyword 'agreed' (ISO 16684-1), so that a raw converter finds the raw files."""
    example = """manage.py agreed ansa-veld
  manage.py agreed ansa-veld --csv > agreed.csv
  manage.py agreed ansa-veld --sidecars ~/raw/ansa-veld"""

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("sitting", help="the sitting's short name")
        form = parser.add_mutually_exclusive_group()
        form.add_argument("--csv", action="store_true", help="as CSV with look, purpose and brief")
        form.add_argument("--no-endings", action="store_true", help="names without .JPG and the like")
        form.add_argument("--sidecars", type=Path, metavar="DIR", help="write XMP sidecars there; none is overwritten")

    def work(self, options: dict[str, Any]) -> Any:
        from galleries.steps.agreeing import agree  # with the tables; a help text needs none

        sitting = sitting_named(options["sitting"])
        finals = agree.listed(sitting)
        if not finals:
            raise CommandError(f"“{sitting.title}” has no agreed list yet.")
        names = [name for final in finals for name in agree.names_of(final.frame, endings=not options["no_endings"])]
        if options["sidecars"]:
            return self._sidecars(options, finals)
        if options["csv"] and not options["json"]:
            self.stdout.write(agree.as_csv(finals), ending="")
        elif not options["json"]:
            self.stdout.write(agree.as_text(finals, endings=not options["no_endings"]), ending="")
        return {"sitting": sitting.slug, "frames": names}

    def _sidecars(self, options: dict[str, Any], finals: list[Any]) -> Any:
        from galleries.steps.agreeing import sidecars  # half of this command's start, and few ask for them

        wanted = sidecars.sidecars(finals)
        written = sidecars.write_into(options["sidecars"].expanduser(), finals)
        there = sorted(set(wanted) - {path.name for path in written})
        for path in written:
            self.tell(options, str(path))
        for name in there:
            self.tell(options, f"left alone, because it is there already: {name}")
        self.all_done = not there
        return {"written": [str(path) for path in written], "left_alone": there}
