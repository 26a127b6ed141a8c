"""manage.py rehearse: the main job, from marks to a checked archive, on the demo."""

from __future__ import annotations

import json
from argparse import ArgumentParser, RawDescriptionHelpFormatter
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from galleries import checks
from galleries.errors import DomainError


class Command(BaseCommand):
    help = """Run the whole job through on the demo sitting: marks, agreed list, retouches, approvals, crops,
licence, delivery. The archive is opened and every file checked. For a site of its own: it takes the demo to its end.

example:
  PORTAL_HOME=/tmp/rehearsal manage.py rehearse --json"""

    requires_system_checks = (checks.OWN,)  # as management/trade.py has it, and for its reason

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.formatter_class = RawDescriptionHelpFormatter
        parser.add_argument("--json", action="store_true", help="one JSON line; progress goes to standard error")

    def handle(self, *args: Any, **options: Any) -> None:
        import galleries.tasks  # noqa: F401 - work is done here
        from galleries.steps.demo import rehearse

        try:
            result = rehearse.run(lambda line: self.stderr.write(line))
        except DomainError as error:
            raise CommandError(str(error)) from error
        if options["json"]:
            self.stdout.write(json.dumps(result.as_dict()))
            return
        self.stdout.write(
            f"{result.frames} frames in {result.looks} looks, {result.finals} finals, {result.files} files"
            f" in {result.seconds} s\n{result.archive}"
        )
