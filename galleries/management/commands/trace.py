"""manage.py trace: whose copy of a proof is this?"""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError

from galleries.management.trade import TradeCommand, sitting_named


class Command(TradeCommand):
    help = "Find the frame of a screenshot or re-saved copy of a proof, and the invite it was served to."
    example = "manage.py trace screenshot.png --sitting ansa-veld"

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("file", type=Path, help="the copy that turned up")
        parser.add_argument("--sitting", help="look in this sitting only, in every frame of it")

    def work(self, options: dict[str, Any]) -> Any:
        from galleries.steps.keeping import trace

        if not options["file"].is_file():
            raise CommandError(f"There is no file {options['file']}.")
        sitting = sitting_named(options["sitting"]) if options["sitting"] else None
        tracing = trace.find(options["file"], sitting)
        self.all_done = bool(tracing.invites)
        self.tell(options, tracing.sentence)
        return {
            "frame": tracing.frame.name if tracing.frame else None,
            "sitting": tracing.frame.sitting.slug if tracing.frame else None,
            "invites": [{"name": one.name, "role": one.role, "email": one.email} for one in tracing.invites],
            "confidence": tracing.confidence,
            "says": tracing.sentence,
        }
