"""manage.py looks: how the program would group a sitting's frames, and why."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from galleries.management.trade import TradeCommand, sitting_named


class Command(TradeCommand):
    help = "Print the proposed looks of a sitting with the reason of every boundary. Nothing is stored."
    example = "manage.py looks ansa-veld"

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("sitting", help="the sitting's short name")

    def work(self, options: dict[str, Any]) -> Any:
        from galleries.steps.sorting import sort
        from galleries.words.told import sentences, title

        sitting = sitting_named(options["sitting"])
        proposal = sort.proposal(sitting)
        frames = {str(frame.pk): frame for frame in sitting.frames.select_related("look")}
        reasons = {boundary.first: boundary for boundary in proposal.boundaries}
        rows = []
        for number, look in enumerate(proposal.looks, 1):
            members = [frames[pk] for pk in look.frames]
            boundary = reasons.get(look.frames[0])
            now = sorted({frame.look.title for frame in members if frame.look is not None})
            row: dict[str, Any] = {
                "look": number,
                "title": title(look.title),
                "frames": len(members),
                "first": members[0].name,
                "last": members[-1].name,
                "monochrome": look.monochrome,
                "reasons": sentences(boundary.reasons) if boundary else [],
                "strength": round(boundary.strength, 2) if boundary else None,
                "lie_in": now,
            }
            rows.append(row)
            self.tell(options, f"{number}. {row['title']}: {len(members)} frames, {row['first']} to {row['last']}")
            for reason in row["reasons"]:
                self.tell(options, f"     {reason}")
            if now:
                self.tell(options, f"     now in: {', '.join(now)}")
        for note in sentences(proposal.notes):
            self.tell(options, f"note: {note}")
        unread = sitting.frames.filter(reading__isnull=True).count()
        if unread:
            self.all_done = False
            self.tell(options, f"{unread} frames are not read yet.")
        return {"sitting": sitting.slug, "looks": rows, "notes": sentences(proposal.notes), "unread": unread}
