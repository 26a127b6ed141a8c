"""manage.py cut-file: cut one file to delivery sizes, without a sitting."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError

from galleries.management.trade import TradeCommand


class Command(TradeCommand):
    help = "Cut a picture file to delivery sizes, each crop as the program proposes it. Nothing is stored."
    example = "manage.py cut-file KAL_0412.JPG --size print-8x10 --size casting-square --out cuts --json"
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("file", type=Path, help="JPEG, TIFF, PNG or HEIF")
        parser.add_argument("--size", action="append", required=True, metavar="SLUG", help="may be given again")
        parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder for the files")
        parser.add_argument("--name", default="", help="name for sizes with a name strip")

    def work(self, options: dict[str, Any]) -> Any:
        from galleries.steps.delivering import one_file

        try:
            rows = one_file.cut(options["file"], one_file.specs(options["size"]), options["out"], options["name"])
        except OSError as error:
            raise CommandError(f"{error.filename or options['file']}: {error.strerror or error}.") from error
        for row in rows:
            self.tell(
                options, f"{row['path']}  {row['width']} × {row['height']}  {row['bytes']:,} bytes  {row['crop']}"
            )
            for line in row["warnings"]:
                self.tell(options, f"  {line}")
        return rows
