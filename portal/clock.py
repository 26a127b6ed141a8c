"""The clock: rings for what is due, and does by itself what may not wait behind the worker's work."""

from __future__ import annotations

from typing import Any

from celery.beat import PersistentScheduler, ScheduleEntry
from django.db import close_old_connections


class Clock(PersistentScheduler):  # type: ignore[misc]  # celery carries no types
    """A task with `by_the_clock` is done here: when every process of every worker hangs, it is done all the same."""

    def apply_async(self, entry: ScheduleEntry, producer: Any = None, advance: bool = True, **kwargs: Any) -> Any:
        task = self.app.tasks.get(entry.task)
        if not getattr(task, "by_the_clock", False):
            return super().apply_async(entry, producer=producer, advance=advance, **kwargs)
        close_old_connections()
        try:
            task.run()
        finally:
            close_old_connections()
        return None
