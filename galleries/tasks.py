"""What the queue may ask for, and what is done for each kind of job. Ids only; each calls one step."""

from __future__ import annotations

from celery import shared_task
from celery.signals import worker_init, worker_process_init

from galleries.imaging.contained import door
from galleries.steps import arrivals, jobs
from galleries.steps.days import placing, slates
from galleries.steps.delivering import build
from galleries.steps.finishing import versions
from galleries.steps.ingesting import proof
from galleries.steps.keeping import own_copy, upkeep
from galleries.steps.people import account_letters, posting, wishes
from galleries.steps.sorting import loupe, sort

jobs.KINDS.update(
    {
        "arrival": arrivals.take_in,
        "proof": proof.render,
        "slate": slates.look_at,
        "place": placing.move,
        "sort": sort.sort_sitting,
        "version": versions.render_version,
        "delivery": build.build,
        "letter": posting.send,
        "develop": loupe.develop,
        "restamp": proof.restamp,
        "account letter": account_letters.send,
        "wish": wishes.answer,
        "own copy": own_copy.build,
    }
)
jobs.GIVEN_UP["arrival"] = arrivals.given_up
jobs.GIVEN_UP["own copy"] = own_copy.given_up
jobs.GIVEN_UP["proof"] = proof.given_up


@worker_init.connect  # type: ignore[untyped-decorator]
def _get_ready(**_signal: object) -> None:
    """The first frame of a card is not to wait until decoders are loaded."""
    door.get_ready()


@worker_process_init.connect  # type: ignore[untyped-decorator]
def _keep_one(**_signal: object) -> None:
    door.keep_one()


@shared_task(name="galleries.work", ignore_result=True)  # type: ignore[untyped-decorator]
def work(job_id: int) -> None:
    jobs.work(job_id)


@shared_task(name="galleries.sweep", ignore_result=True, by_the_clock=True)  # type: ignore[untyped-decorator]
def sweep() -> None:
    jobs.sweep()


@shared_task(name="galleries.daily", ignore_result=True)  # type: ignore[untyped-decorator]
def daily() -> None:
    upkeep.run()
