"""Questions to what lies outside (stores, disks, the queue), each with an end: an answer within seconds, or none.

A folder on a network disk, or a client library between two tries, may hang past every limit of its own. So each
question is asked in a thread; one that does not come back is not asked again until it does, however many people want
to know, and holds nobody longer than the seconds given.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Mapping

log = logging.getLogger(__name__)


class Probe:
    """One question; the answer is true when `ask` says so and neither raises nor hangs."""

    def __init__(self, name: str, ask: Callable[[], bool]) -> None:
        self.name = name
        self._ask = ask
        self._lock = threading.Lock()
        self._running: _Asking | None = None

    def begin(self) -> _Asking:
        """Ask, or join the one who is still waiting for an answer."""
        with self._lock:
            if self._running is None or self._running.ended.is_set():
                self._running = _Asking(self.name, self._ask)
            return self._running


class _Asking:
    def __init__(self, name: str, ask: Callable[[], bool]) -> None:
        self.ended = threading.Event()
        self.well = False
        threading.Thread(target=self._run, args=[name, ask], name=f"probe {name}", daemon=True).start()

    def _run(self, name: str, ask: Callable[[], bool]) -> None:
        try:
            self.well = ask()
        except Exception as error:  # noqa: BLE001 - whatever the library raises, the answer is the same
            log.warning("No good answer from %s: %s", name, type(error).__name__)
        finally:
            self.ended.set()


def answers(probes: Mapping[str, Probe], seconds: float) -> dict[str, bool]:
    """All asked at once; what has not come back after `seconds` counts as no."""
    asked = {name: probe.begin() for name, probe in probes.items()}
    until = time.monotonic() + seconds
    return {name: one.ended.wait(max(0.0, until - time.monotonic())) and one.well for name, one in asked.items()}
