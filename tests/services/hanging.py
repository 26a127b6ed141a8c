"""Included by a worker under test: proofs of the things 1 and 2 hang, and so does all sorting. A proof may take 3 s."""

from __future__ import annotations

import time

import django

django.setup()

from celery import platforms  # noqa: E402
from celery.signals import beat_embedded_init  # noqa: E402
from django.conf import settings  # noqa: E402

import galleries.tasks  # noqa: E402, F401 - fills the table that is changed here
from galleries.steps import jobs  # noqa: E402


def hang(_thing: int) -> None:
    while True:
        time.sleep(1)  # other threads of the process live on, the heartbeat too


def some_hang(thing: int) -> None:
    if thing in (1, 2):
        hang(thing)


@beat_embedded_init.connect  # type: ignore[untyped-decorator]
def _end_with_the_worker(**_signal: object) -> None:
    """A worker that may not wait any longer leaves at once, and celery asks the kernel to end its pool with it, but not
    the clock that it has here (on a real site the clock is a process of its own)."""
    platforms.set_pdeathsig("SIGKILL")


settings.JOB_ATTEMPTS = 2
jobs.SECONDS["proof"] = 3
jobs.KINDS.update({"proof": some_hang, "sort": hang})
