"""manage.py verify: compare what lies in the stores with what the database says."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from galleries.management.trade import TradeCommand, sitting_named
from galleries.steps.keeping import inventory


class Command(TradeCommand):
    help = """Read every stored file and compare: missing (a row names it, the store has it not), orphan (in the
store, no row names it), wrong (its bytes are not those of its SHA-256). Exit status 0 only when nothing is."""
    example = "manage.py verify\n  manage.py verify ansa-veld --json"

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("sitting", nargs="?", help="only this sitting (default: everything)")

    def work(self, options: dict[str, Any]) -> Any:
        sitting = sitting_named(options["sitting"]) if options["sitting"] else None
        found = inventory.compare(sitting, lambda done: self.progress(done, what="files read"))
        for kind, places in (("missing", found.missing), ("orphan", found.orphans), ("wrong", found.wrong)):
            for place in places:
                self.tell(options, f"{kind:8} {place}")
        self.all_done = found.good
        self.tell(
            options,
            f"{found.checked} files, {found.bytes:,} bytes read: {len(found.missing)} missing, "
            f"{len(found.orphans)} orphans, {len(found.wrong)} wrong; {found.caches} kept for speed only.",
        )
        return found.as_dict()
