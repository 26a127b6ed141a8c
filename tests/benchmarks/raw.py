"""A raw frame with a full-size picture of the camera's inside, beside the same picture as a JPEG.

The whole way from the card to the proof (hash and copy in one pass, verify, proof), on one core, in turns, CPU time;
and what a raw file holds of memory in the contained child, in multiples of its own size. No way round is shorter than
the JPEG's and SHA-256 of what the raw file holds beyond it: that is told beside.

The raw file is a DNG after Adobe's specification, its sensor's data 24 million times 16 bit and not packed: the largest
that a camera of that size writes.
"""

from __future__ import annotations

import argparse
import hashlib
import tempfile
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np

import tests.conftest  # noqa: F401 - a site of its own, as the tests have
from galleries.imaging import recipes
from galleries.imaging.contained import door
from galleries.imaging.containers import jpeg
from galleries.imaging.opening import decode
from galleries.steps import derived
from galleries.steps.ingesting import incoming
from tests import bombs
from tests.benchmarks import frames, timing
from tests.benchmarks.figures import figure
from tests.imaging.negatives import Negative, dng, scene

BOUND = 1.15
LARGE = 60_000_000


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks raw", description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--rounds", type=int, default=9)
    wanted = parser.parse_args(argv)
    with tempfile.TemporaryDirectory() as folder:
        picture = frames.camera_files(1)[0][1]
        raw = Path(folder, "frame.dng")
        raw.write_bytes(_around(picture.read_bytes(), 2 * frames.WIDTH * frames.HEIGHT))
        held = _held(Path(folder))
        timing.one_core()
        files = (picture, raw)
        ways: dict[str, Callable[[], object]] = {one.suffix: partial(_to_proof, one, Path(folder)) for one in files}
        beyond = memoryview(raw.read_bytes())[: raw.stat().st_size - picture.stat().st_size]
        ways["hash"] = partial(hashlib.sha256, beyond)
        took = timing.medians(timing.interleaved(ways, wanted.rounds))
        print(f"card to proof, {picture.stat().st_size / 1e6:.1f} MB as JPEG: {took['.jpg']:.0f} ms of CPU")
        ratio = took[".dng"] / took[".jpg"]
        print(f"the same inside {raw.stat().st_size / 1e6:.1f} MB of raw: {took['.dng']:.0f} ms, {ratio:.2f} times")
        least = 1 + took["hash"] / took[".jpg"]
        mb = len(beyond) / 1e6
        print(f"SHA-256 alone of the {mb:.1f} MB beyond the JPEG: {took['hash']:.0f} ms, so {least:.2f} at least")
        print(f"a raw file of {LARGE / 1e6:.0f} MB holds {held:.2f} times its size in the child beyond its picture's")
        figure("card to proof inside a raw file, against its JPEG", ratio, "times", most=BOUND)
        figure("the same, had it but SHA-256 of its further bytes to bear", least, "times")
        figure("held of a raw file beyond its picture's", held, "sizes", most=2)
    return int(ratio > BOUND or held >= 2)


def _around(picture: bytes, size: int) -> bytes:
    """A raw file with this picture and `size` bytes of the sensor's."""
    parts = jpeg.read_parts(picture)
    grain = np.random.default_rng(7).integers(0, 1 << 14, size // 2, dtype=np.uint16).tobytes()
    claims = (frames.WIDTH, size // 2 // frames.WIDTH)
    negative = Negative(scene(), preview=picture, preview_size=(parts.width, parts.height), claims=claims)
    return dng(negative, sensor=grain)


def _to_proof(path: Path, folder: Path) -> None:
    """What the site does with a file, without its tables and its walls."""
    arrived = incoming.copied(path)
    decode.verify(arrived.path)
    recipes.make_proof(arrived.path.replace(folder / "kept"), bombs.TEXT, plain=derived.DESK_SIDE)


def _held(folder: Path) -> float:
    """The most the child holds while it verifies a raw file, less the same for its picture alone, in file sizes."""
    picture = frames.camera_files(1)[0][1]
    raw = folder / "large.dng"
    raw.write_bytes(_around(picture.read_bytes(), LARGE - picture.stat().st_size))
    peaks = [bombs.measured(partial(door.verify, path)).peak for path in (raw, picture)]
    return (peaks[0] - peaks[1]) / raw.stat().st_size
