"""Small files that are dear to open end within their limits, and a frame costs at most 12 bytes a pixel."""

from __future__ import annotations

import pytest

from galleries.imaging.contained import children, door
from galleries.imaging.contained.entries import ENTRIES
from galleries.imaging.errors import ImagingError
from tests import bombs
from tests.telling import refused

ROOM = 60_000_000  # what a recipe holds beside the frame, whatever its size: proof, networks, libraries' tables
WIDTH, HEIGHT = 6000, 4000
FRAMES = bombs.frames(WIDTH, HEIGHT)
# The largest ones take a gigabyte and a quarter of a minute each: they are in `python -m tests.benchmarks bombs`.
BOMBS = {bomb.name: bomb for bomb in bombs.bombs() if not bomb.large}
ENDINGS = {"opened", "Unreadable", "TooLarge", "BadProfile", "Unsupported", "BadInput", "ValueError", "BadCrop"}


@pytest.mark.parametrize("name", FRAMES)
def test_a_frame_costs_at_most_12_bytes_a_pixel(name: str) -> None:
    data = FRAMES[name]()
    cost = bombs.measured(lambda: door.make_proof(data, bombs.TEXT))
    assert cost.outcome == "opened"
    # A file that itself has more than 7 bytes a pixel (16 bit, four channels and more, not packed) counts beside.
    sent = len(data) if len(data) > 7 * WIDTH * HEIGHT else 0
    assert cost.peak <= 12 * WIDTH * HEIGHT + sent + ROOM, f"{cost.peak / WIDTH / HEIGHT:.1f} bytes a pixel"


@pytest.mark.parametrize("name", BOMBS)
def test_a_bomb_ends_within_its_limits(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    assert door.METADATA_SECONDS <= 20
    monkeypatch.setattr(door, "METADATA_SECONDS", 4.0)  # what runs over is ended by the limit there is, not waited for
    cost = BOMBS[name].cost()
    assert cost.seconds < 3 * door.SECONDS + 10  # generous: it must end by itself
    assert cost.peak < 300_000_000
    assert cost.parent < 300_000_000
    assert cost.outcome.split(":")[0] in ENDINGS


# Entries of the child that nothing small and dear is tried on.
LEFT = {
    "probe": "reads the head, as verify does before the pixels",
    "check_rights": "reads what this site wrote itself a moment ago",
    "stamp_sample": "draws words, at most as many as the form takes",
    "contact_sheet": "gets pictures that this site drew",
    "differences": "gets pictures that this site drew",
}


def test_every_door_has_its_bomb(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: set[str] = set()

    def heard(name: str, /, *args: object, **kwargs: object) -> object:
        asked.add(name)
        return (bytes(1), 1, 1, 1.0) if name == "open_small" else b""

    monkeypatch.setattr(door, "call", heard)
    for bomb in bombs.bombs():
        if bomb.door not in bombs.HERE:
            bomb.ask(b"")
    assert asked | LEFT.keys() == ENTRIES.keys()
    assert not asked & LEFT.keys()


def test_what_wants_more_memory_than_there_is_gets_a_sentence() -> None:
    data = bombs.png(9000, 9000, bits=16)
    with refused(ImagingError, "more memory"):
        door.call("make_proof", door._Source(data), bombs.TEXT, memory=300_000_000)
    door.close()
    assert children.pool.idle == []
