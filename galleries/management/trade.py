"""What the studio's commands share: an example in the help, progress on a terminal, plain lines or JSON, one clear
line for what went wrong, exit status 0 only when all was done."""

from __future__ import annotations

import json
import sys
from argparse import ArgumentParser, RawDescriptionHelpFormatter
from typing import TYPE_CHECKING, Any

from django.core.management.base import BaseCommand, CommandError

from galleries import checks
from galleries.errors import DomainError
from galleries.imaging.errors import ImagingError

if TYPE_CHECKING:  # the tables are half of a command's start, and a help text needs none
    from galleries.access import Visitor
    from galleries.models import DeliverySize, Sitting


class TradeCommand(BaseCommand):
    """A command whose `work` returns the result as plain data; True in `all_done` means exit status 0."""

    example = ""
    all_done = True
    # The site's own. The others load every page, for more processor time than all the rest of a command's start; each
    # `migrate` and start of the web server makes them.
    requires_system_checks: tuple[str, ...] = (checks.OWN,)

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> Any:
        self.help = f"{self.help}\n\nexample:\n  {self.example}"
        kwargs.setdefault("formatter_class", RawDescriptionHelpFormatter)
        return super().create_parser(prog_name, subcommand, **kwargs)

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--json", action="store_true", help="one JSON line; progress goes to standard error")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            result = self.work(options)
        except (DomainError, ImagingError) as error:
            from galleries.words.told import sentence

            raise CommandError(sentence(error.told)) from error
        if options["json"]:
            self.stdout.write(json.dumps(result, ensure_ascii=False))
        if not self.all_done:
            sys.exit(1)

    def work(self, options: dict[str, Any]) -> Any:
        raise NotImplementedError

    def tell(self, options: dict[str, Any], line: str) -> None:
        """A line for a person; silent when a program reads along."""
        if not options["json"]:
            self.stdout.write(line)

    def progress(self, done: int, of: int = 0, what: str = "") -> None:
        """A counter that overwrites itself, on a terminal only."""
        if not sys.stderr.isatty():
            return
        self.stderr.write(f"\r{what} {done}" + (f" of {of}" if of else ""), ending="" if done < of or not of else "\n")
        self.stderr.flush()


def sitting_named(slug: str) -> Sitting:
    from galleries.models import Sitting

    sitting = Sitting.objects.select_related("photographer").filter(slug=slug).first()
    if sitting is None:
        known = ", ".join(Sitting.objects.values_list("slug", flat=True)[:20]) or "none"
        raise CommandError(f"There is no sitting '{slug}'; there are: {known}.")
    return sitting


def photographer_of(sitting: Sitting) -> Visitor:
    """Whoever may run commands on the studio's machine acts for the sitting's photographer."""
    from galleries.access import Visitor

    return Visitor(user=sitting.photographer)


def sizes_named(slugs: list[str]) -> list[DeliverySize]:
    """The sizes of these short names; without any, those chosen first for a new delivery."""
    from galleries.models import DeliverySize

    if not slugs:
        return list(DeliverySize.objects.offered().filter(chosen_first=True))
    sizes = {size.slug: size for size in DeliverySize.objects.filter(slug__in=slugs)}
    missing = [slug for slug in slugs if slug not in sizes]
    if missing:
        raise CommandError(f"There is no size '{missing[0]}'; see manage.py sizes.")
    return [sizes[slug] for slug in slugs]
