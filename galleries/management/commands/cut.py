"""manage.py cut: propose the crops of a sitting's finals and say what is to be looked at."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from galleries.management.trade import TradeCommand, photographer_of, sitting_named, sizes_named


class Command(TradeCommand):
    help = "Propose a crop for every final and size, keep what was set by hand, and list the warnings."
    example = "manage.py cut ansa-veld --size print-8x10 --size casting-4x5 --sheet preview.jpg"

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("sitting", help="the sitting's short name")
        parser.add_argument("--size", action="append", default=[], help="short name of a size; may be repeated")
        parser.add_argument("--sheet", type=Path, help="write a preview sheet of all crops here (JPEG)")

    def work(self, options: dict[str, Any]) -> Any:
        from galleries.steps.delivering import cut

        sitting = sitting_named(options["sitting"])
        by, wanted = photographer_of(sitting), sizes_named(options["size"])
        finals = list(sitting.finals.listed().select_related("frame__look", "sitting"))
        rows = []
        for count, final in enumerate(finals, 1):
            for crop in cut.propose(final, wanted, by):
                warnings = cut.warnings(crop)
                rows.append(
                    {
                        "final": final.frame.name,
                        "size": crop.size.slug,
                        "crop": cut.rect_of(crop).as_list(),
                        "tilt": crop.tilt,
                        "by_hand": crop.by_hand,
                        "warnings": warnings,
                    }
                )
                place = f"{crop.width} × {crop.height} at {crop.x}, {crop.y}"
                self.tell(
                    options,
                    f"{final.frame.name}  {crop.size.slug:20} {place}" + "".join(f"\n    {w}" for w in warnings),
                )
            self.progress(count, len(finals), "finals")
        if options["sheet"]:
            options["sheet"].write_bytes(cut.preview_sheet(sitting, wanted, by))
            self.tell(options, f"Preview sheet: {options['sheet']}")
        self.tell(options, f"{len(rows)} crops of {len(finals)} finals.")
        return rows
