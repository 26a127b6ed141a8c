"""Included by a worker under test: proofs of the things 1 and 2 hang, and so does all sorting. A proof may take 3 s."""

from __future__ import annotations

import time

import django

django.setup()

from django.conf import settings  # noqa: E402

import galleries.tasks  # noqa: E402, F401 - fills the table that is changed here
from galleries.steps import jobs  # noqa: E402


def hang(_thing: int) -> None:
    while True:
        time.sleep(1)  # other threads of the process live on, the heartbeat too


def some_hang(thing: int) -> None:
    if thing in (1, 2):
        hang(thing)


settings.JOB_ATTEMPTS = 2
jobs.SECONDS["proof"] = 3
jobs.KINDS.update({"proof": some_hang, "sort": hang})
