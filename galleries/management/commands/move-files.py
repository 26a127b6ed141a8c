"""manage.py move-files: both stores to another place, copied and compared."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.files.storage import storages
from django.core.management.base import CommandError

from galleries.management.trade import TradeCommand

NAMES = ("private", "proofs")


class Command(TradeCommand):
    help = """Copy every file of both stores from where they lie (PORTAL_FILES as it is set now) to where
PORTAL_NEXT_FILES says (folder or s3, with PORTAL_NEXT_S3_ENDPOINT and so on as PORTAL_S3_...), read each back and
compare it. The site may run. Stop it, run it again with --rest for what came meanwhile, then take the new settings.
'deploy/install --files' does all of it on a public server. The old place is only read."""
    example = "PORTAL_NEXT_FILES=folder manage.py move-files"

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("--rest", action="store_true", help="do not read again what lies there in its size")

    def work(self, options: dict[str, Any]) -> Any:
        from galleries.management import moving_files

        if "next private" not in settings.STORAGES:
            raise CommandError("PORTAL_NEXT_FILES says where to: folder or s3.")
        if any(_place(name) == _place(f"next {name}") for name in NAMES):
            raise CommandError("PORTAL_NEXT_FILES is where the files lie already.")
        pairs = {name: (storages[name], storages[f"next {name}"]) for name in NAMES}
        moved = moving_files.move(
            pairs, rest=options["rest"], seen=lambda done: self.progress(done, what="files compared")
        )
        self.tell(
            options,
            f"{moved.copied} files copied and compared, {moved.same} were there, {moved.bytes:,} bytes in all;"
            f" {moved.removed} of removed sittings taken away.",
        )
        if moved.strangers:
            self.tell(
                options, f"{len(moved.strangers)} files are only at the new place; 'manage.py verify' names them."
            )
        return moved.as_dict()


def _place(name: str) -> tuple[str, ...]:
    options = settings.STORAGES[name]["OPTIONS"]
    return tuple(str(options.get(word)) for word in ("location", "endpoint_url", "bucket_name"))
