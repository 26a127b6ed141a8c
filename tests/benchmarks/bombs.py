"""`python -m tests.benchmarks bombs`: what each bomb, and a frame of each depth, costs in the contained child."""

from __future__ import annotations

from collections.abc import Sequence

from galleries.imaging.contained import children, door
from tests import bombs

WIDTH, HEIGHT = 8000, 6000


def main(argv: Sequence[str] = ()) -> None:
    print(f"walls that stand here: {children.held()}")
    print(f"{'bomb':52} {'sent':>9} {'seconds':>8} {'memory':>8}  outcome")
    for name, (make, ask) in bombs.bombs().items():
        data = make()
        cost = bombs.measured(lambda data=data, ask=ask: ask(data))  # type: ignore[misc]
        sent, memory = len(data) / 1e6, cost.peak / 1e6
        print(f"{name:52} {sent:6.1f} MB {cost.seconds:8.1f} {memory:5.0f} MB  {cost.outcome}", flush=True)
    print(f"\n{'frame of 48 million pixels':52} bytes of memory a pixel while its proof is made")
    for name, data in bombs.frames(WIDTH, HEIGHT).items():
        cost = bombs.measured(lambda data=data: door.make_proof(data, bombs.TEXT))  # type: ignore[misc]
        print(f"{name:52} {cost.peak / WIDTH / HEIGHT:5.1f}  {cost.outcome}", flush=True)
