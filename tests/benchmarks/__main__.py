"""`python -m tests.benchmarks [NAME [options]]`: figures, printed as ratios taken in one run; without a name, all."""

from __future__ import annotations

import importlib
import pkgutil
import signal
import sys
from pathlib import Path
from types import FrameType

from tests.benchmarks import whole

HELPERS = ("figures", "frames", "many_rows", "mutant_rooms", "timing", "whole")


def names() -> list[str]:
    modules = (module.name for module in pkgutil.iter_modules([str(Path(__file__).parent)]))
    return sorted(name for name in modules if not name.startswith("_") and name not in HELPERS)


def end_in_order() -> None:
    """Told to end (`timeout`, a shell's `kill`), a benchmark ends its servers first, as at Ctrl-C."""

    def end(number: int, _frame: FrameType | None) -> None:
        signal.signal(number, signal.SIG_IGN)  # once is enough: the servers have their time to end
        raise SystemExit(128 + number)

    for number in (signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, end)
    signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell's background job is born deaf to it


def main(argv: list[str]) -> int:
    end_in_order()
    if not argv or argv[0].startswith("--"):
        return whole.main(argv)
    if argv[0] not in names():
        print(f"usage: python -m tests.benchmarks [NAME], where NAME is one of: {', '.join(names())}")
        return 2
    module = importlib.import_module(f"tests.benchmarks.{argv[0]}")
    return int(module.main(argv[1:]) or 0)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
