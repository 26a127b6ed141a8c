"""manage.py sizes: load the delivery sizes from data, or list them."""

from __future__ import annotations

import json
from argparse import ArgumentParser, RawDescriptionHelpFormatter
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from galleries.errors import DomainError
from galleries.models import DeliverySize
from galleries.steps import sizes


class Command(BaseCommand):
    help = """Load the delivery sizes from a data file, then list what is on offer.

example:
  manage.py sizes
  manage.py sizes --file my-sizes.json --json"""

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.formatter_class = RawDescriptionHelpFormatter
        parser.add_argument("--file", type=Path, default=sizes.DATA, help="data file (default: the project's own)")
        parser.add_argument("--list", action="store_true", help="only list, load nothing")
        parser.add_argument("--json", action="store_true", help="one JSON line")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            count = 0 if options["list"] else sizes.load(options["file"])
        except DomainError as error:
            raise CommandError(str(error)) from error
        rows = list(DeliverySize.objects.all())
        if options["json"]:
            self.stdout.write(json.dumps({"loaded": count, "sizes": [sizes.numbers(row) for row in rows]}))
            return
        for row in rows:
            pixels = f"{row.width} × {row.height} px" if row.width else "native size"
            retired = ", retired" if row.retired else ""
            checked = f"{row.mark}, checked {row.checked_on}"
            self.stdout.write(f"{row.slug:22} {pixels:16} {row.ppi:3} ppi  {checked}{retired}: {row.source}")
        self.stdout.write(f"{count} sizes loaded or renewed, {len(rows)} in all.")
