"""`python -m tests.benchmarks NAME [options]`: figures, printed as ratios taken in one run."""

from __future__ import annotations

import importlib
import pkgutil
import sys
from pathlib import Path

HELPERS = ("frames", "many_rows", "mutant_rooms", "timing")


def names() -> list[str]:
    modules = (module.name for module in pkgutil.iter_modules([str(Path(__file__).parent)]))
    return sorted(name for name in modules if not name.startswith("_") and name not in HELPERS)


def main(argv: list[str]) -> int:
    if not argv or argv[0] not in names():
        print(f"usage: python -m tests.benchmarks NAME, where NAME is one of: {', '.join(names())}")
        return 2
    module = importlib.import_module(f"tests.benchmarks.{argv[0]}")
    return int(module.main(argv[1:]) or 0)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
