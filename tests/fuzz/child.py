"""The fuzzing process: the site's code instrumented, one target fed until libFuzzer has had enough."""

from __future__ import annotations

import hashlib
import json
import random
import sys
import traceback
from pathlib import Path
from typing import TYPE_CHECKING, Any

import atheris

from tests.fuzz.counter import Counter

if TYPE_CHECKING:
    from tests.fuzz.targets import Target

# What is put in the place of a part of some JSON: the edges of every type.
ODD: tuple[Any, ...] = (
    *(None, True, False, 0, -1, 1, 1.5, -0.0, 1e308, 2**31, 2**63, 2**64, -(2**63) - 1, 10**4299),
    *("", "0", "x", "\0", "\ud800", "\u202e", "9" * 5000, "../../etc", "2026-13-40", "2026-03-14T10:11:12Z", "NaN"),
    *("0001-01-01T00:00:00+23:59", "9999-12-31T23:59:59-23:59", "auth.user", "galleries.frame", "pick", "strike"),
    *([], {}, [[]], [{}], {"": {}}, [None], {"pk": 1}),
)


def changed(value: Any, chance: random.Random) -> Any:
    """The value with one of its parts, at any depth, replaced, taken away, doubled or renamed."""
    if isinstance(value, list | dict) and value and chance.random() < 0.85:
        copy: Any = list(value) if isinstance(value, list) else dict(value)
        place = chance.randrange(len(copy)) if isinstance(copy, list) else chance.choice(list(copy))
        if chance.random() < 0.8:
            copy[place] = changed(copy[place], chance)
        elif isinstance(copy, list):
            copy.insert(place, copy[place]) if chance.random() < 0.5 else copy.pop(place)
        else:
            held = copy.pop(place)
            if chance.random() < 0.5:
                copy[chance.choice(["", "x", place + "_", "pk", "id", "frame"])] = held
        return copy
    return chance.choice(ODD)


def mutated(data: bytes, most: int, seed: int, head: int) -> bytes:
    """By parts where it is JSON (behind `head` bytes of another meaning), else as libFuzzer does."""
    chance = random.Random(seed)
    if chance.random() < 0.7:
        try:
            value = json.loads(data[head:])
            for _ in range(chance.randint(1, 4)):
                value = changed(value, chance)
            out = data[:head] + json.dumps(value).encode("utf-8", "surrogatepass")
        except (ValueError, RecursionError):
            out = b""
        if 0 < len(out) <= most:
            return out
    whole: bytes = atheris.Mutate(data, most)
    return whole


def feed(target: Target, data: bytes, counter: Counter, findings: Path) -> None:
    counter.more()
    try:
        target.take(data)
    except Exception as error:  # noqa: BLE001 - whatever it is, it is a finding, and the next input comes
        last = traceback.extract_tb(error.__traceback__)[-1]
        name = f"{type(error).__name__}-{Path(last.filename).stem}-{last.lineno}"
        path = findings / name
        if not path.exists():
            path.write_bytes(data)
            path.with_suffix(".txt").write_text(traceback.format_exc())


def main(argv: list[str]) -> None:
    name, folder, counted, options = argv[1], Path(argv[2]), Path(argv[3]), argv[4:]
    with atheris.instrument_imports(include=["galleries", "portal"], enable_loader_override=False):
        import tests.conftest  # noqa: F401 - a site of its own, as the tests have
        from tests.fuzz.targets import TARGETS

        target = TARGETS[name]()
    inputs, counter = folder / "inputs", Counter(counted)
    for seed in target.seeds().values():
        (inputs / hashlib.sha256(seed).hexdigest()[:16]).write_bytes(seed)
    head = 1 if name == "json" else 0

    def mutate(data: bytes, most: int, seed: int) -> bytes:
        return mutated(data, most, seed, head)

    more = {"custom_mutator": mutate} if target.is_json else {}
    command = [argv[0], str(inputs), f"-max_len={target.longest}", *options]
    atheris.Setup(command, lambda data: feed(target, data, counter, folder / "findings"), **more)
    atheris.Fuzz()


if __name__ == "__main__":
    main(sys.argv)
