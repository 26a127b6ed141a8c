"""`python -m tests.benchmarks bombs`: what each bomb, and a frame of each depth, costs; a table for `tests/hostile.md`.

Memory is the most held beyond an idle process: of the contained child, and of the process that asks it (what is sent
lies in that one already). Seconds of the processor are those of both.
"""

from __future__ import annotations

from collections.abc import Sequence

import tests.conftest  # noqa: F401 - a site of its own, as the tests have
from galleries.imaging.contained import children, door
from tests import bombs
from tests.benchmarks.figures import figure

WIDTH, HEIGHT = 8000, 6000


def main(argv: Sequence[str] = ()) -> None:
    """`argv`: only bombs whose name holds one of these words."""
    print("| door | what is sent | MB sent | seconds | of CPU | child, MB | asker, MB | what came of it |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- |")
    for bomb in bombs.bombs():
        if argv and not any(word in bomb.name for word in argv):
            continue
        sent, cost = len(bomb.make()), bomb.cost()
        figures = f"{sent / 1e6:.1f} | {cost.seconds:.1f} | {cost.cpu:.1f} | {cost.peak / 1e6:.0f}"
        figure(f"{bomb.door}: {bomb.name}", cost.cpu, "s CPU")
        print(f"| {bomb.door} | {bomb.what} | {figures} | {cost.parent / 1e6:.0f} | {cost.outcome} |", flush=True)
    print(f"\nwalls that stand here: {children.held()}\n")
    if argv:
        return
    print("| frame of 48 million pixels | bytes of memory a pixel while its proof is made |\n| --- | --- |")
    for name, make in bombs.frames(WIDTH, HEIGHT).items():
        data = make()
        cost = bombs.measured(lambda data=data: door.make_proof(data, bombs.TEXT))  # type: ignore[misc]
        print(f"| {name} | {cost.peak / WIDTH / HEIGHT:.1f} |", flush=True)
