"""manage.py demo: the invented sitting that shows what the portal does."""

from __future__ import annotations

import json
from argparse import ArgumentParser, RawDescriptionHelpFormatter
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from galleries import checks
from galleries.errors import DomainError


class Command(BaseCommand):
    help = """Make the demo sitting, or find it, and print one link per person.

The people are invented and painted by the program. The worker makes the proofs; without one they are made here.

example:
  manage.py demo
  manage.py demo --json"""

    requires_system_checks = (checks.OWN,)  # as management/trade.py has it, and for its reason

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.formatter_class = RawDescriptionHelpFormatter
        parser.add_argument("--json", action="store_true", help="one JSON line; progress goes to standard error")

    def _say(self, line: str) -> None:
        self.stderr.write(line)

    def handle(self, *args: Any, **options: Any) -> None:
        import galleries.tasks  # noqa: F401 - work is done here
        from galleries.steps.demo import demo_finishing, demo_sitting

        try:
            demo = demo_sitting.prepare(self._say)
            demo.links.update(demo_sitting.links_of({"subject, finishing": demo_finishing.prepare(self._say)}))
        except DomainError as error:
            raise CommandError(str(error)) from error
        if options["json"]:
            summary = {"sitting": demo.sitting.slug, "frames": demo.frames, "looks": demo.looks, "links": demo.links}
            self.stdout.write(json.dumps(summary))
            return
        self.stdout.write(f"{demo.sitting.title}: {demo.frames} frames in {demo.looks} looks")
        for person, link in demo.links.items():
            self.stdout.write(f"  {person:<20} {link}")
