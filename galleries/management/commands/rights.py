"""manage.py rights: what a file says about its rights and where it comes from, and which delivery it came from."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError
from django.db import DatabaseError

from galleries.management.trade import TradeCommand

NO_TABLES = "There is no database with deliveries here, so where the file comes from was not looked up."


class Command(TradeCommand):
    help = (
        "Say in sentences what a picture's metadata state about its rights, also years after it was delivered, and "
        "what its content credentials say of where it comes from; a file changed since it was signed is told."
    )
    # A file is read where there is no database, and on a machine that has nothing of this site but its code.
    requires_system_checks = ()
    example = "manage.py rights veld-ansa_linen-shirt_0412_print-8x10.jpg"

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("file", type=Path, nargs="+", help="JPEG, TIFF or PNG")

    def work(self, options: dict[str, Any]) -> Any:
        return [self._one(path, options) for path in options["file"]]

    def _one(self, path: Path, options: dict[str, Any]) -> dict[str, Any]:
        from galleries.steps.delivering.stated import of_file

        try:
            stated = of_file(path)
        except OSError as error:
            raise CommandError(f"{path} cannot be read: {error.strerror}.") from error
        self.all_done = self.all_done and stated.well
        from_ = self._deliveries(stated.sha256)
        self.tell(options, f"{path.name}\n  SHA-256 {stated.sha256}")
        none = NO_TABLES if from_ is None else "No delivery here holds exactly these bytes."
        for line in [*(from_ or [none]), *stated.origin, *stated.rights]:
            self.tell(options, f"  {line}")
        return {
            "file": str(path),
            "sha256": stated.sha256,
            "deliveries": from_,
            "origin": stated.origin,
            "changed": stated.changed,
            "says": stated.rights,
        }

    def _deliveries(self, digest: str) -> list[str] | None:
        """Sentences about the deliveries that hold these bytes; None where there are no tables to look into."""
        from galleries.steps.delivering import offer

        try:
            return [
                f"Delivered as {row.name} in delivery {row.delivery.number} of “{row.delivery.sitting.title}”"
                f" under licence {row.delivery.licence.number}."
                for row in offer.of_file(digest)
            ]
        except DatabaseError:
            return None
