"""manage.py frame-report: what the program sees in a file."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from galleries.imaging.errors import ImagingError
from galleries.management.trade import TradeCommand


class Command(TradeCommand):
    help = "Show what the program reads from picture files: face, eyes, head, profile, clock. Nothing is stored."
    example = "manage.py frame-report KAL_0412.JPG KAL_0413.JPG --json"
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("file", type=Path, nargs="+", help="JPEG, TIFF, PNG, HEIF or a camera's raw file")

    def work(self, options: dict[str, Any]) -> Any:
        reports = [self._one(path, options) for path in options["file"]]
        return reports[0] if len(reports) == 1 else reports

    def _one(self, path: Path, options: dict[str, Any]) -> dict[str, Any]:
        from galleries.models import Frame
        from galleries.steps.delivering import one_file
        from galleries.words.told import sentence

        try:
            told = one_file.report(path)
        except (ImagingError, OSError) as error:
            self.all_done = False
            reason = error.strerror or str(error) if isinstance(error, OSError) else sentence(error.told)
            self.stderr.write(f"{path}: {reason}")
            return {"path": str(path), "error": reason}
        self.tell(options, f"{path.name}  {told['width']} × {told['height']}  {told['profile']}")
        shown = Frame.Shown(told["facts"]["shown"])
        if shown != Frame.Shown.FILE:
            size = f"{told['facts']['sensor_width']} × {told['facts']['sensor_height']}"
            self.tell(options, f"  {told['facts']['format']} of {size} pixels: {shown.label}")
        if told["profile_unread"]:
            self.tell(options, f"  read as sRGB: {told['profile_unread']}")
        self.tell(options, f"  captured {told['captured_at'] or 'at an unknown time'}")
        if told["face"] is None:
            self.tell(options, f"  no face: {told['reason']}")
        else:
            eyes = told["eyes"]
            self.tell(
                options, f"  subject's left eye {eyes['left']}, right eye {eyes['right']}, roll {told['roll_deg']}°"
            )
            self.tell(options, f"  crown at {told['crown_y']}, chin at {told['chin_y']}")
        return told
