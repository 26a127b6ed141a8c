"""manage.py sizes: load the delivery sizes from data, or list them."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from galleries.management.trade import TradeCommand


class Command(TradeCommand):
    help = "Load the delivery sizes from a data file, then list what there is."
    example = "manage.py sizes\n  manage.py sizes --file my-sizes.json --json"

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("--file", type=Path, help="data file (default: the project's own)")
        parser.add_argument("--list", action="store_true", help="only list, load nothing")

    def work(self, options: dict[str, Any]) -> Any:
        from galleries.models import DeliverySize
        from galleries.steps.delivering import sizes

        count = 0 if options["list"] else sizes.load(options["file"] or sizes.DATA)
        rows = list(DeliverySize.objects.all())
        for row in rows:
            pixels = f"{row.width} × {row.height} px" if row.width else "native size"
            retired = ", retired" if row.retired else ""
            checked = f"{row.source_kind}, checked {row.checked_on}"
            self.tell(options, f"{row.slug:22} {pixels:16} {row.ppi:3} ppi  {checked}{retired}: {row.source}")
        self.tell(options, f"{count} sizes loaded or renewed, {len(rows)} in all.")
        return {"loaded": count, "sizes": [sizes.numbers(row) for row in rows]}
