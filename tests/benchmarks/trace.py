"""The invisible tracer: what survives, how visible it is, what it costs, how often it is wrong.

Twenty stamped proofs of 2048 px (studio portraits of ../shared/data/portraits when there, enlarged to 2048
with grain; else painted frames). Every proof carries a random 32-bit payload; 'right' means all 32 bits, read
without knowing which payloads were given out.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TypeVar

import cv2
import numpy as np
import simplejpeg
from skimage.metrics import structural_similarity

from galleries.imaging import tracer
from galleries.imaging.drawing.stamp import StampText, stamp
from galleries.imaging.output import encode
from galleries.imaging.tracer.code import SYMBOLS, Code
from galleries.imaging.tracer.read import aligned, heard
from tests.benchmarks import frames, timing
from tests.benchmarks.figures import figure

PORTRAITS = Path(__file__).resolve().parents[2].parent / "shared" / "data" / "portraits"
T = TypeVar("T")
Attack = Callable[[np.ndarray], bytes]


def plain(count: int) -> Iterator[np.ndarray]:
    """Portraits in sRGB, 2048 px on the long side."""
    files = sorted(PORTRAITS.glob("*.jpg"))
    for number in range(count):
        if number < len(files):
            bgr = cv2.imread(str(files[number]))
            height, width = bgr.shape[:2]
            side = height * 2 // 3
            bgr = bgr[:, (width - side) // 2 : (width + side) // 2]
            bgr = cv2.resize(bgr, None, fx=2048 / height, fy=2048 / height, interpolation=cv2.INTER_CUBIC)
            grain = np.random.default_rng(number).normal(0, 2, bgr.shape)
            rgb = np.clip(bgr[..., ::-1] + grain, 0, 255).astype(np.uint8)
        else:
            rgb = frames.paint(number, 2048, 1365)
        yield np.ascontiguousarray(rgb)


def proofs(count: int) -> Iterator[bytes]:
    """Stamped proofs, 2048 px on the long side."""
    for rgb in plain(count):
        stamped = stamp(rgb, StampText("Studio Nordlicht", "proof"), [])
        yield encode.encode_jpeg(stamped, quality=82)


def jpeg(bgr: np.ndarray, quality: int) -> bytes:
    return cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, quality])[1].tobytes()


def scaled(bgr: np.ndarray, factor: float) -> np.ndarray:
    return cv2.resize(bgr, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC)


def cropped(bgr: np.ndarray, share: float, offset: float = 0.1) -> np.ndarray:
    height, width = bgr.shape[:2]
    x, y = int(width * offset), int(height * offset)
    return bgr[y : y + int(height * share), x : x + int(width * share)]


def turned(bgr: np.ndarray, degrees: float) -> np.ndarray:
    height, width = bgr.shape[:2]
    matrix = cv2.getRotationMatrix2D((width / 2, height / 2), degrees, 1)
    return cv2.warpAffine(bgr, matrix, (width, height), flags=cv2.INTER_CUBIC)


def tilted(bgr: np.ndarray, share: float) -> np.ndarray:
    """Perspective: the upper edge shortened by `share` on both sides, as a screen seen from below."""
    height, width = bgr.shape[:2]
    from_ = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)
    to = from_ + np.array([[share * width, 0], [-share * width, 0], [0, 0], [0, 0]], np.float32)
    return cv2.warpPerspective(bgr, cv2.getPerspectiveTransform(from_, to), (width, height), flags=cv2.INTER_CUBIC)


def from_a_screen(bgr: np.ndarray) -> np.ndarray:
    """A rough model of a photographed screen: perspective, blur, stripes of the pixel grid, tone curve, noise."""
    seen = cv2.GaussianBlur(tilted(scaled(bgr, 0.8), 0.04), (0, 0), 1.2).astype(np.float32)
    y, x = np.mgrid[0 : seen.shape[0], 0 : seen.shape[1]]
    seen *= (1 + 0.04 * np.sin(x * 0.9 + y * 0.07))[..., None]
    seen = 235 * (seen / 255) ** 0.85 + 8 + np.random.default_rng(1).normal(0, 5, seen.shape)
    return np.clip(seen, 0, 255).astype(np.uint8)


def noisy(bgr: np.ndarray, sigma: float) -> np.ndarray:
    return np.clip(bgr + np.random.default_rng(2).normal(0, sigma, bgr.shape), 0, 255).astype(np.uint8)


REQUIRED: dict[str, Attack] = {
    "quality 60": lambda a: jpeg(a, 60),
    "half size": lambda a: jpeg(scaled(a, 0.5), 90),
    "crop: 73 % kept, 10 % off the corner": lambda a: jpeg(cropped(a, 0.73), 90),
    "half + crop + quality 60": lambda a: jpeg(scaled(cropped(a, 0.73), 0.5), 60),
}
FURTHER: dict[str, Attack] = {
    "quality 30": lambda a: jpeg(a, 30),
    "quality 10": lambda a: jpeg(a, 10),
    "third size": lambda a: jpeg(scaled(a, 1 / 3), 85),
    "quarter size": lambda a: jpeg(scaled(a, 0.25), 85),
    "sixth size": lambda a: jpeg(scaled(a, 1 / 6), 85),
    "eighth size": lambda a: jpeg(scaled(a, 0.125), 85),
    "enlarged 1.5 times": lambda a: jpeg(scaled(a, 1.5), 80),
    "turned 1°": lambda a: jpeg(turned(a, 1), 85),
    "turned 3° + half": lambda a: jpeg(scaled(turned(a, 3), 0.5), 75),
    "turned 15°": lambda a: jpeg(turned(a, 15), 85),
    "perspective 5 %": lambda a: jpeg(tilted(a, 0.05), 80),
    "mirrored": lambda a: jpeg(a[:, ::-1], 80),
    "black and white": lambda a: jpeg(cv2.cvtColor(cv2.cvtColor(a, cv2.COLOR_BGR2GRAY), cv2.COLOR_GRAY2BGR), 80),
    "tone curve 1.4": lambda a: jpeg((255 * (a / 255.0) ** 1.4).astype(np.uint8), 80),
    "blur, sigma 2": lambda a: jpeg(cv2.GaussianBlur(a, (0, 0), 2), 85),
    "noise, sigma 8": lambda a: jpeg(noisy(a, 8), 85),
    "median filter 5": lambda a: jpeg(cv2.medianBlur(a, 5), 85),
    "crop to 30 % of each side": lambda a: jpeg(cropped(a, 0.3, 0.35), 85),
    "crop to 15 % of each side": lambda a: jpeg(cropped(a, 0.15, 0.4), 85),
    "photographed screen (model)": lambda a: jpeg(from_a_screen(a), 70),
}


HARDEST = ("eighth", "crop to 15")


def opened(data: bytes) -> np.ndarray:
    return cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)


def seen_difference(base: bytes, copy: bytes) -> tuple[float, float]:
    """PSNR over RGB in dB and SSIM of luma between the stored proof and a marked copy."""
    one, other = simplejpeg.decode_jpeg(base), simplejpeg.decode_jpeg(copy)
    error = float(np.mean((one.astype(np.float32) - other) ** 2))
    grey = [cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY) for picture in (one, other)]
    return 10 * np.log10(255**2 / error), float(structural_similarity(*grey, data_range=255))


class Tally:
    """Counts per attack, with the weakest evidence that was still right."""

    def __init__(self) -> None:
        self.right: dict[str, int] = defaultdict(int)
        self.wrong: dict[str, int] = defaultdict(int)
        self.tried: dict[str, int] = defaultdict(int)
        self.least: dict[str, float] = {}

    def add(self, name: str, result: tracer.TraceResult, payloads: set[int]) -> None:
        heard_payloads = {match.payload for match in result.matches}
        self.tried[name] += 1
        self.right[name] += heard_payloads == payloads
        self.wrong[name] += bool(heard_payloads - payloads)
        if result.matches:
            least = min(match.z for match in result.matches)
            self.least[name] = min(self.least.get(name, least), least)

    def show(self) -> None:
        for name, tried in self.tried.items():
            print(
                f"  {name:42} right {self.right[name]:2} of {tried}, wrong {self.wrong[name]}, "
                f"least z {self.least.get(name, 0):5.1f}",
                flush=True,
            )


def false_positives(known: tracer.Reference, copies: list[bytes], keys: int) -> tuple[int, int]:
    """(tries, wrongly found) on unmarked copies of a proof, read with many keys' codes."""
    tries = wrong = 0
    for copy in copies:
        picture = cv2.imdecode(np.frombuffer(copy, np.uint8), cv2.IMREAD_GRAYSCALE).astype(np.float32)
        placed = aligned(picture, known.mean)
        if placed is None:
            continue
        score, weight = heard(placed, picture, known)
        for number in range(keys):
            code = Code(b"other %d" % number, known.code.places)
            wrong += bool(code.listen(score, weight, range(20)))
            tries += 1
    return tries, wrong


class Report:
    """Everything measured so far."""

    def __init__(self) -> None:
        self.single, self.mixed = Tally(), Tally()
        self.quality: list[tuple[float, float]] = []
        self.growth: list[float] = []
        self.cost: dict[str, list[float]] = defaultdict(list)
        self.tries = self.wrong = self.foreign = self.proofs = self.places = 0

    def timed(self, name: str, work: Callable[[], T]) -> T:
        kept: list[T] = []
        self.cost[name].append(timing.cpu_ms(lambda: kept.append(work())))
        return kept[0]

    def show(self) -> None:
        print(f"{self.proofs} proofs, payload 32 bits, sent as {SYMBOLS} signs over {self.places} places")
        psnr, ssim = zip(*self.quality, strict=True)
        print(f"PSNR to the stored proof: least {min(psnr):.2f} dB, mean {np.mean(psnr):.2f} dB; ", end="")
        print(f"SSIM least {min(ssim):.4f}; bytes of a copy against the proof: {np.mean(self.growth):.3f}")
        print("Attacks (all 32 bits right, no invites known):")
        self.single.show()
        print("Colluding invites (all of them named, nobody else):")
        self.mixed.show()
        bound = "" if self.wrong else f" (95 % bound {3 / self.tries:.1e})"
        print(f"False matches on unmarked copies and other keys' copies: {self.wrong} of {self.tries} tries{bound}")
        print(f"False matches on proofs of other frames: {self.foreign} of {self.proofs}")
        for tally in (self.single, self.mixed):
            for name, tried in tally.tried.items():
                figure(f"read, {name}"[:46], tally.right[name] / tried, "of all")
        figure("least likeness of a copy (SSIM)", min(ssim))
        for name, values in self.cost.items():
            figure(name, float(np.median(values)), "ms CPU")
            print(f"CPU {name}: median {np.median(values):.1f} ms, worst {max(values):.1f} ms")


def measure(report: Report, number: int, base: bytes, other: bytes, keys: int, further: bool) -> None:
    """One proof through everything."""
    key = b"frame %d" % number
    given = [int(value) for value in np.random.default_rng(number).integers(0, 2**32, 4)]
    prepared = report.timed("prepare, once a frame", lambda: tracer.prepare(base, key))
    report.timed("copy for one invite", lambda: tracer.embed(prepared, key, given[0]))
    copies = [tracer.embed(prepared, key, payload) for payload in given]
    report.quality.append(seen_difference(base, copies[0]))
    report.growth.append(len(copies[0]) / len(base))
    report.proofs += 1
    picture = opened(copies[0])
    known = tracer.reference_of(prepared, key)
    report.places = known.code.places
    for name, attack in (REQUIRED | (FURTHER if further else {})).items():
        leaked = attack(picture)
        trace = report.timed("find", lambda leaked=leaked: tracer.find(leaked, prepared, key))
        report.single.add(name, trace, {given[0]})
        if name.startswith(HARDEST):
            report.single.add(f"{name}, invites known", tracer.find(leaked, prepared, key, given), {given[0]})
    for size in (2, 3, 4):
        mean = np.mean([opened(copy).astype(np.float32) for copy in copies[:size]], axis=0)
        leaked, truth = jpeg(np.round(mean).astype(np.uint8), 75), set(given[:size])
        report.mixed.add(f"{size} averaged, quality 75", tracer.find(leaked, prepared, key), truth)
        invited = [*given, *range(20)]
        report.mixed.add(f"{size} averaged, invites known", tracer.find(leaked, prepared, key, invited), truth)
    unmarked = [base, jpeg(opened(base), 60), jpeg(scaled(opened(base), 0.5), 75), copies[1]]
    tries, wrong = false_positives(known, unmarked, keys)
    report.tries, report.wrong = report.tries + tries, report.wrong + wrong
    report.foreign += tracer.find(other, prepared, key).found


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks trace", description=__doc__)
    parser.add_argument("--count", type=int, default=20, help="proofs (default 20)")
    parser.add_argument("--keys", type=int, default=400, help="wrong keys tried on each unmarked or foreign copy")
    parser.add_argument("--further", type=int, default=5, help="proofs that also get the attacks beyond the target")
    options = parser.parse_args(argv)
    cv2.setNumThreads(1)
    timing.one_core()
    print("making the proofs …", flush=True)
    report, originals = Report(), list(proofs(options.count))
    for number, base in enumerate(originals):
        print(f"proof {number + 1} of {len(originals)} …", flush=True)
        measure(report, number, base, originals[number - 1], options.keys, number < options.further)
    report.show()
    return 0
