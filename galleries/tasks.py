"""What the queue may ask for. Ids only; each calls one step."""

from __future__ import annotations

from celery import shared_task

from galleries.steps import jobs


@shared_task(name="galleries.work", ignore_result=True)  # type: ignore[untyped-decorator]
def work(job_id: int) -> None:
    jobs.work(job_id)


@shared_task(name="galleries.sweep", ignore_result=True)  # type: ignore[untyped-decorator]
def sweep() -> None:
    jobs.sweep()


@shared_task(name="galleries.daily", ignore_result=True)  # type: ignore[untyped-decorator]
def daily() -> None:
    from galleries import storage
    from galleries.steps import incoming, letters

    letters.send_due()
    incoming.sweep()
    for store in (storage.private(), storage.proofs()):
        if isinstance(store, storage.FolderStore):
            store.sweep_parts()
