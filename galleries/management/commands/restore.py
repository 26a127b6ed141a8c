"""manage.py restore: bring a sitting back from the file it was archived to."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from galleries.management.trade import TradeCommand


class Command(TradeCommand):
    help = "Check an archived sitting byte for byte, then bring it back. New links must be sent to its people."
    example = "manage.py restore /backup/ansa-veld.zip --photographer tamsin"

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("file", type=Path, help="a file made by: manage.py retention --sitting … --file …")
        parser.add_argument("--photographer", default="", help="user name that is to own it (default: as it was)")

    def work(self, options: dict[str, Any]) -> Any:
        from galleries.steps.keeping.restore import restore

        restored = restore(
            options["file"], options["photographer"], lambda done, of: self.progress(done, of, "files checked")
        )
        self.tell(options, f"“{restored.sitting.title}” is back: {restored.files} files, {restored.rows} rows.")
        if restored.renumbered:
            told = ", ".join(restored.renumbered)
            self.tell(options, f"Other sittings had the same numbers, so these got new ones: {told}.")
            self.tell(options, "Copies of proofs served before can no longer be traced to a person.")
        return {
            "sitting": restored.sitting.slug,
            "files": restored.files,
            "rows": restored.rows,
            "renumbered": restored.renumbered,
        }
