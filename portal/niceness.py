"""How work that nobody waits for at a page shares the machine with pages."""

from __future__ import annotations

import os

STEP_BACK = 10  # of nice(2): beside one process that wants the core too it gets a tenth of it


def step_back() -> None:
    """Whoever waits for a page goes before pictures that are made meanwhile; alone, this process has the whole machine.
    What it starts is as patient."""
    os.setpriority(os.PRIO_PROCESS, 0, max(STEP_BACK, os.getpriority(os.PRIO_PROCESS, 0)))
