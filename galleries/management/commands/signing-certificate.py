"""manage.py signing-certificate: the certificate that finals are signed with."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError

from galleries.management.trade import TradeCommand


class Command(TradeCommand):
    help = (
        "Say which certificate finals are signed with, and until when. Without one, a first is made here. --make makes "
        "another; --take takes one that an authority gave (PEM: the certificate first, its authority's behind it), and "
        "its key, which is kept sealed. What was signed before is still known as this studio's."
    )
    example = "manage.py signing-certificate --take chain.pem key.pem"

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        one = parser.add_mutually_exclusive_group()
        one.add_argument("--make", action="store_true", help="make another, by this studio itself")
        one.add_argument("--take", type=Path, nargs=2, metavar=("CHAIN", "KEY"), help="take one of an authority")

    def work(self, options: dict[str, Any]) -> Any:
        from galleries.steps.delivering import certificate

        if options["make"]:
            one = certificate.make()
        elif options["take"]:
            try:
                chain, key = (path.read_bytes() for path in options["take"])
            except OSError as error:
                raise CommandError(f"{error.filename} cannot be read: {error.strerror}.") from error
            one = certificate.take(chain, key)
        else:
            one = certificate.current() or certificate.make(first=True)
        self.all_done = not one.ended
        whose = "made here: other people's readers call its signer unknown" if one.own else "given by an authority"
        ended = "ended" if one.ended else "holds until"
        self.tell(options, f"“{one.name}”, {whose}; it {ended} {one.ends_at:%Y-%m-%d}.")
        self.tell(options, f"SHA-256 {one.fingerprint}")
        return {
            "name": one.name,
            "fingerprint": one.fingerprint,
            "ends": one.ends_at.isoformat(),
            "made_here": one.own,
        }
