"""manage.py verify: compare what lies in the stores with what the database says."""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from typing import TYPE_CHECKING, Any

from django.core.management.base import CommandError

from galleries.management.trade import TradeCommand, sitting_named

if TYPE_CHECKING:  # a help text needs no tables
    from galleries.steps.keeping import inventory


class Command(TradeCommand):
    help = """Read every stored file and compare: missing (a row names it, the store has it not), orphan (in the
store, no row names it), wrong (its bytes are not those of its SHA-256). Exit status 0 only when nothing is.
With --remove the orphans go, after they were listed and you said yes; none that is younger than a day, for it may be of
work that is just being done."""
    example = "manage.py verify\n  manage.py verify ansa-veld --json\n  manage.py verify --remove"

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("sitting", nargs="?", help="only this sitting (default: everything)")
        parser.add_argument("--remove", action="store_true", help="remove the orphans, after asking")
        parser.add_argument("--yes", action="store_true", help="with --remove: do not ask")

    def work(self, options: dict[str, Any]) -> Any:
        from galleries.steps.keeping import inventory

        sitting = sitting_named(options["sitting"]) if options["sitting"] else None
        comparison = inventory.compare(sitting, lambda done: self.progress(done, what="files read"))
        for kind, places in (
            ("missing", comparison.missing),
            ("orphan", comparison.orphans),
            ("wrong", comparison.wrong),
        ):
            for place in places:
                self.tell(options, f"{kind:8} {place}")
        self.tell(
            options,
            f"{comparison.checked} files, {comparison.bytes:,} bytes read: {len(comparison.missing)} missing, "
            f"{len(comparison.orphans)} orphans, {len(comparison.wrong)} wrong; "
            f"{comparison.caches} kept for speed only.",
        )
        result = comparison.as_dict()
        if options["remove"] and comparison.orphans and self._agreed(options, len(comparison.orphans)):
            cleared = inventory.clear(comparison.orphans)
            result |= cleared.as_dict()
            comparison.orphans = cleared.young + cleared.named
            self.tell(options, self._told(cleared))
        self.all_done = result["good"] = comparison.good
        return result

    def _agreed(self, options: dict[str, Any], count: int) -> bool:
        """Nobody to ask is a no."""
        if options["yes"]:
            return True
        if options["json"] or not sys.stdin.isatty():
            raise CommandError("Nobody is there to ask: say --yes to remove the orphans.")
        return input(f"Remove these {count} orphans for good? [yes/no] ").strip().lower() in {"y", "yes"}

    def _told(self, cleared: inventory.Cleared) -> str:
        line = f"Removed {len(cleared.removed)}."
        if cleared.young:
            line += f" {len(cleared.young)} are younger than a day and stay: work may be about to name them."
        if cleared.named:
            line += f" {len(cleared.named)} were named by a row meanwhile and stay."
        return line
