"""The proof job (stamped 2048, 1080 and 480 px) against its floor and against libvips' own way.

Floor: libjpeg-turbo's half-scale decode and the three encodes, nothing else. libvips: its thumbnail, a composite of
a stamp drawn beforehand, its own encoder. All on one core, in turns, CPU time. SSIM (luminance, Gaussian
window, Wang et al. 2004) against a float Lanczos reduction of the full decode; before the stamp is laid on. Before
encoding it is taken of the plane of light (Y of ITU-T T.871), for colour has half of its samples by then.
"""

from __future__ import annotations

import argparse
import io
import multiprocessing
import statistics
from multiprocessing.connection import Connection
from pathlib import Path

import numpy as np
import pyvips
import simplejpeg
from PIL import Image
from skimage.metrics import peak_signal_noise_ratio, structural_similarity

from galleries.imaging import recipes
from galleries.imaging.colour import convert
from galleries.imaging.colour.planes import Planes
from galleries.imaging.drawing.stamp import StampText, stamp
from galleries.imaging.opening.decode import open_picture, open_planes
from galleries.imaging.output import encode, resize
from tests.benchmarks import frames, timing
from tests.benchmarks.figures import figure

LARGE, MIDDLE, SMALL = 2048, 1080, 480
WIDE = ("Adobe RGB", "Display P3")
TEXT = StampText("Studio Nordlicht", "for the sitter")


def _upright(path: Path) -> Planes:
    """The proof before the stamp, as the recipe makes it."""
    return recipes.proof_planes(open_planes(path, at_least=LARGE), LARGE)


def float_reference(path: Path, long_side: int) -> np.ndarray:
    """Full decode, sRGB in 16 bit, Pillow's Lanczos in 32-bit float: (h, w, 3) float 0..255, not clipped."""
    picture = open_picture(path)
    full = convert.between_profiles(picture.pixels, picture.profile, convert.srgb_profile(), 16)
    size = resize.fit_within(full.shape[1], full.shape[0], long_side)
    bands = [
        np.asarray(Image.fromarray(full[:, :, i].astype(np.float32) / 257).resize(size, Image.Resampling.LANCZOS))
        for i in range(3)
    ]
    return np.stack(bands, axis=2)


def luminance(rgb: np.ndarray) -> np.ndarray:
    return np.asarray(rgb, np.float32) @ np.array([0.2126, 0.7152, 0.0722], np.float32)


def light(rgb: np.ndarray) -> np.ndarray:
    """Y of ITU-T T.871."""
    return np.asarray(rgb, np.float32) @ np.array([0.299, 0.587, 0.114], np.float32)


def likeness(rgb: np.ndarray, reference: np.ndarray) -> tuple[float, float]:
    """(SSIM, PSNR) on luminance."""
    return alike(luminance(rgb), luminance(np.clip(reference, 0, 255)))


def alike(one: np.ndarray, other: np.ndarray) -> tuple[float, float]:
    """(SSIM, PSNR) of two planes, float32."""
    ssim = structural_similarity(other, one, data_range=255, gaussian_weights=True, sigma=1.5,
                                 use_sample_covariance=False)  # fmt: skip
    return float(ssim), float(peak_signal_noise_ratio(other, one, data_range=255))


def _decoded(data: bytes) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(data)))


class _Libvips:
    """Its own thumbnail + composite."""

    def __init__(self) -> None:
        self.stamps: dict[tuple[int, int], pyvips.Image] = {}

    def overlay(self, width: int, height: int) -> pyvips.Image:
        """A stamp as a transparent picture, from one on even grey: white where it is lighter, black where darker."""
        if (width, height) not in self.stamps:
            change = stamp(np.full((height, width, 3), 127, np.uint8), TEXT, []).mean(axis=2) - 127
            light = np.where(change > 0, 255.0, 0.0)
            rgba = np.stack([light, light, light, np.abs(change) * 2], axis=2).clip(0, 255).astype(np.uint8)
            self.stamps[(width, height)] = pyvips.Image.new_from_array(rgba, interpretation="srgb")
        return self.stamps[(width, height)]

    def proof(self, data: bytes) -> list[bytes]:
        # An output profile asked of a file without one would cost it 240 ms more: left out there, to be fair.
        tagged = pyvips.Image.new_from_buffer(data, "").get_typeof("icc-profile-data")
        convert = {"export_profile": "srgb", "intent": "relative"} if tagged else {}
        large = pyvips.Image.thumbnail_buffer(
            data, LARGE, height=LARGE, size="down", fail_on="truncated", **convert
        ).copy_memory()
        middle, small = (large.thumbnail_image(side, height=side) for side in (MIDDLE, SMALL))
        files = []
        for image, quality in (
            (large, recipes.PROOF_QUALITY), (middle, recipes.MIDDLE_QUALITY), (small, recipes.SMALL_QUALITY)
        ):  # fmt: skip
            stamped = image.composite2(self.overlay(image.width, image.height), "over").flatten()
            files.append(stamped.cast("uchar").jpegsave_buffer(Q=quality, subsample_mode="on"))
        return files


def _time(path: Path, vips: _Libvips, rounds: int) -> dict[str, list[float]]:
    data = path.read_bytes()
    first = recipes.make_proof(data, TEXT)
    stamped = [(_decoded(first.large), recipes.PROOF_QUALITY), (_decoded(first.small), recipes.SMALL_QUALITY)]
    if first.middle:
        stamped.append((_decoded(first.middle), recipes.MIDDLE_QUALITY))
    half = (-(-simplejpeg.decode_jpeg_header(data)[0] // 2), -(-simplejpeg.decode_jpeg_header(data)[1] // 2))

    def floor() -> None:
        simplejpeg.decode_jpeg(data, "RGB", min_height=half[0], min_width=half[1])
        for pixels, quality in stamped:
            simplejpeg.encode_jpeg(pixels, quality, "RGB", "420", False)

    return timing.interleaved(
        {
            "floor": floor,
            "proof": lambda: recipes.make_proof(data, TEXT, known=first.reading),
            "libvips": lambda: vips.proof(data),
            "proof and reading": lambda: recipes.make_proof(data, TEXT),
        },
        rounds,
    )


def _peak(paths: list[Path], reading: bool, pipe: Connection) -> None:
    small = frames.as_camera_file(frames.paint(0, 900, 600), frames.KINDS[0])
    known = recipes.make_proof(small, TEXT).reading
    idle = timing.memory_mb("VmRSS")
    timing.reset_peak()
    for path in paths:
        recipes.make_proof(path, TEXT, known=None if reading else known)
    pipe.send(timing.memory_mb("VmHWM") - idle)


def _memory(paths: list[Path]) -> tuple[float, float]:
    """MB at the peak above an idle worker (a new process, everything loaded by one small frame), without and
    with reading."""
    context = multiprocessing.get_context("spawn")
    peaks = []
    for reading in (False, True):
        here, there = context.Pipe()
        process = context.Process(target=_peak, args=(paths, reading, there))
        process.start()
        peaks.append(float(here.recv()))
        process.join()
    return peaks[0], peaks[1]


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks proof", description=__doc__)
    parser.add_argument("--frames", type=int, default=12)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--no-ssim", action="store_true")
    options = parser.parse_args(argv)
    timing.one_core()
    files = frames.camera_files(options.frames)
    memory = _memory([path for _, path in files[:4]])
    vips = _Libvips()
    took: dict[str, list[float]] = {}
    print("frame                        floor  proof  ratio  libvips/proof  reading")
    for kind, path in files:
        one = timing.medians(_time(path, vips, options.rounds))
        for name, ms in one.items():
            took.setdefault(name, []).append(ms)
        print(
            f"{kind.name:28s} {one['floor']:5.0f}  {one['proof']:5.0f}  {one['proof'] / one['floor']:5.2f}"
            f"  {one['libvips'] / one['proof']:13.2f}  {one['proof and reading'] - one['proof']:+6.0f} ms",
            flush=True,
        )
    pairs = list(zip(*took.values(), strict=True))
    floors = [proof / floor for floor, proof, _, _ in pairs]
    wide = [ratio for ratio, (kind, _path) in zip(floors, files, strict=True) if kind.profile in WIDE]
    print(f"proof / floor:      {statistics.median(floors):.2f}  (to reach: <= 1.3)")
    if wide:
        print(f"  of a wide gamut:  {statistics.median(wide):.2f}  (to reach: <= 1.5)")
        figure("proof of a wide gamut against its floor", statistics.median(wide), "times", most=1.5)
    print(f"libvips / proof:    {statistics.median(v / p for _, p, v, _ in pairs):.2f}  (to reach: >= 2.2)")
    print(f"reading adds:       {statistics.median(r - p for _, p, _, r in pairs):.0f} ms  (to reach: <= 30)")
    print(f"peak above idle:    {memory[0]:.0f} MB, with reading {memory[1]:.0f} MB  (to reach: <= 60)")
    figure("proof against its floor", statistics.median(floors), "times", most=1.3)
    figure("libvips against the proof", statistics.median(v / p for _, p, v, _ in pairs), "times", least=2.2)
    figure("the reading adds", statistics.median(r - p for _, p, _, r in pairs), "ms CPU", most=30)
    figure("memory beyond an idle process", memory[0], "MB", most=60)
    if not options.no_ssim:
        _print_likeness([path for _, path in files])
    return 0


def _print_likeness(paths: list[Path]) -> None:
    rows = []
    for path in paths:
        reference = float_reference(path, LARGE)
        ours = _upright(path)
        best = np.clip(reference, 0, 255).round().astype(np.uint8)
        quality = recipes.PROOF_QUALITY
        coded = encode.encode_planes(ours, quality=quality), encode.encode_jpeg(best, quality=quality)
        before = alike(ours.luma.astype(np.float32), light(np.clip(reference, 0, 255)))
        rows.append([before, *(likeness(_decoded(data), reference) for data in coded)])
    for index, name in enumerate(("proof before encoding", "proof after encoding", "reference after encoding")):
        ssim = [row[index][0] for row in rows]
        psnr = statistics.mean(row[index][1] for row in rows)
        print(f"{name:25s} SSIM mean {statistics.mean(ssim):.4f} least {min(ssim):.4f}  PSNR {psnr:.1f} dB")
    short = [row[2][0] - row[1][0] for row in rows]
    print(f"after encoding, short of the reference: mean {statistics.mean(short):+.4f}"
          f" worst {max(short):+.4f}  (to reach: <= 0.002)")  # fmt: skip
