"""The queue. It may lose anything at any moment: the truth about work is in the table of jobs."""

from __future__ import annotations

import os
import threading

from celery import Celery
from celery.signals import worker_init, worker_shutting_down
from django.conf import settings

from portal import niceness

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portal.settings")

app = Celery("portal")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()


@worker_init.connect  # type: ignore[untyped-decorator]
def _step_back(**_signal: object) -> None:
    """Its pool and the processes that decode with it."""
    niceness.step_back()


@worker_shutting_down.connect  # type: ignore[untyped-decorator]
def _end_in_time(**_signal: object) -> None:
    """Work in hand is finished first, but a piece that hangs does not keep the worker for ever: its processes are
    ended with it by the kernel (celery asks for that, prctl(2)), and the sweep puts the piece back."""
    timer = threading.Timer(settings.WORKER_STOP_SECONDS, os._exit, args=[1])
    timer.daemon = True
    timer.start()
