"""What the queue may ask for. Ids only; each calls one step."""

from __future__ import annotations

from celery import shared_task

from galleries.steps import jobs
from galleries.steps.keeping import upkeep


@shared_task(name="galleries.work", ignore_result=True)  # type: ignore[untyped-decorator]
def work(job_id: int) -> None:
    jobs.work(job_id)


@shared_task(name="galleries.sweep", ignore_result=True)  # type: ignore[untyped-decorator]
def sweep() -> None:
    jobs.sweep()


@shared_task(name="galleries.daily", ignore_result=True)  # type: ignore[untyped-decorator]
def daily() -> None:
    upkeep.run()
