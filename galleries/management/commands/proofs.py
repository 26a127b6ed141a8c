"""manage.py proofs: see that every frame of a sitting has its stamped proof."""

from __future__ import annotations

import time
from argparse import ArgumentParser
from typing import Any

from galleries.management.trade import TradeCommand, sitting_named


class Command(TradeCommand):
    help = """Make the proofs that are missing, here and now, beside whatever the worker does.
With --again those that failed are tried once more, frames whose stamp names an older studio are stamped anew, and
those that an earlier release read are read anew."""
    example = "manage.py proofs ansa-veld"

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("sitting", help="the sitting's short name")
        parser.add_argument("--again", action="store_true", help="try failed ones again, renew old stamps and readings")
        parser.add_argument("--list", action="store_true", help="only say how it stands")

    def work(self, options: dict[str, Any]) -> Any:
        from galleries.models import Job
        from galleries.steps import derived, jobs
        from galleries.steps.ingesting import proof

        sitting, name = sitting_named(options["sitting"]), derived.stamp_recipe()
        mine = Job.objects.filter(sitting=sitting, kind="proof")
        missing = derived.not_of_today(sitting.frames.all())
        if not options["list"]:
            wanted = missing if options["again"] else missing.filter(proofs=None)
            older = proof.read_by_an_older_reader(sitting.frames.all()) if options["again"] else sitting.frames.none()
            for pk in {*wanted.values_list("pk", flat=True), *older.values_list("pk", flat=True)}:
                jobs.enqueue("proof", pk, sitting, recipe=name, again=options["again"])
            self._make(mine, sitting.frames.count())
        names = dict(sitting.frames.values_list("pk", "name"))
        failed = [
            {"frame": names[job.thing], "reason": job.why}
            for job in mine.filter(state=Job.State.FAILED)
            if job.thing in names
        ]
        for one in failed:
            self.tell(options, f"failed: {one['frame']}: {one['reason']}")
        with_proof, left = sitting.frames.exclude(proofs=None).distinct().count(), missing.distinct().count()
        self.tell(
            options, f"{with_proof} of {sitting.frames.count()} frames have a proof; {left} lack the present stamp."
        )
        self.all_done = not failed and not left
        return {"sitting": sitting.slug, "proofs": with_proof, "missing": left, "failed": failed}

    def _make(self, mine: Any, of: int) -> None:
        """Take waiting jobs one by one until none waits and none runs elsewhere."""
        import galleries.tasks  # noqa: F401 - work is done here
        from galleries.models import Job
        from galleries.steps import jobs

        unfinished = (Job.State.WAITING, Job.State.RUNNING)
        while open_jobs := mine.filter(state__in=unfinished).count():
            self.progress(of - open_jobs, of, "proofs")
            first = mine.filter(state=Job.State.WAITING).order_by("pk").first()
            if first is None:
                time.sleep(0.2)  # a worker is at the last ones
                jobs.sweep()
            else:
                jobs.work(first.pk)
        self.progress(of, of, "proofs")
