"""Eight finals from one original: our one decode against libvips doing the same and against the naive way.

libvips: one full decode kept in memory, then crop, Lanczos, 3×3 sharpening, its own encoder, for each. Naive:
for each final open the file, convert it whole, crop, resize, unsharp-mask, save, all with Pillow. Quality 92,
4:4:4, baseline, no byte cap. Then the byte caps: how many encodes they take, and whether any file is over.
"""

from __future__ import annotations

import argparse
import io
import statistics
from pathlib import Path

import pyvips
import simplejpeg
from PIL import Image, ImageCms, ImageFilter

from galleries.imaging import recipes
from galleries.imaging.colour import convert
from galleries.imaging.errors import DoesNotFit
from galleries.imaging.framing import geometry
from galleries.imaging.framing.cut_order import CutOrder
from galleries.imaging.framing.sizes import SizeSpec
from galleries.imaging.opening.decode import open_picture
from galleries.imaging.output import encode, sharpen
from tests.benchmarks import frames, timing
from tests.benchmarks.figures import figure

QUALITY = 92
SHAPES = (
    (2400, 3000),
    (1500, 2100),
    (1200, 1800),
    (1275, 1875),
    (1200, 1500),
    (1080, 1080),
    (1920, 1080),
    (1000, 1400),
)
SIZES = tuple(SizeSpec(f"bench-{w}x{h}", f"{w}×{h}", "print", w, h, quality=QUALITY) for w, h in SHAPES)
CAPS = (150_000, 200_000, 300_000, 500_000, 1_000_000)


def orders(width: int, height: int) -> list[CutOrder]:
    cuts = []
    for index, size in enumerate(SIZES):
        whole = geometry.fit_largest(geometry.Ratio(size.width, size.height), (width, height))
        share = 1 - 0.03 * index
        rect = geometry.fit_largest(
            geometry.Ratio(size.width, size.height),
            geometry.Rect(whole.x, whole.y, int(whole.width * share), int(whole.height * share)),
        )
        cuts.append(CutOrder(size, rect))
    return cuts


def by_libvips(data: bytes, wanted: list[CutOrder]) -> list[bytes]:
    full = pyvips.Image.jpegload_buffer(data, fail_on="truncated", autorotate=True).copy_memory()
    p = sharpen.amount_for("print", 2.0)
    kernel = pyvips.Image.new_from_array(
        [[-p, -2 * p, -p], [-2 * p, 1600 + 12 * p, -2 * p], [-p, -2 * p, -p]], scale=1600
    )
    files = []
    for order in wanted:
        crop, size = order.crop, order.size
        part = full.crop(crop.x, crop.y, crop.width, crop.height)
        part = part.resize(size.width / crop.width, vscale=size.height / crop.height, kernel="lanczos3")
        part = part.conv(kernel, precision="integer")
        files.append(part.jpegsave_buffer(Q=QUALITY, subsample_mode="off"))
    return files


def naively(data: bytes, wanted: list[CutOrder]) -> list[bytes]:
    files = []
    srgb = ImageCms.createProfile("sRGB")
    for order in wanted:
        picture = Image.open(io.BytesIO(data))
        icc = picture.info.get("icc_profile") or convert.srgb_profile()
        turned = recipes_turn(picture)
        whole = ImageCms.profileToProfile(turned, ImageCms.ImageCmsProfile(io.BytesIO(icc)), srgb)
        crop = order.crop
        part = whole.crop((crop.x, crop.y, crop.right, crop.bottom))
        part = part.resize((order.size.width, order.size.height), Image.Resampling.LANCZOS)
        out = io.BytesIO()
        part.filter(ImageFilter.UnsharpMask(1, 45, 0)).save(out, "JPEG", quality=QUALITY, subsampling=0)
        files.append(out.getvalue())
    return files


def recipes_turn(picture: Image.Image) -> Image.Image:
    from PIL import ImageOps

    return ImageOps.exif_transpose(picture)


def _caps(paths: list[Path]) -> None:
    """Every frame at three sizes under every cap, starting at quality 85 and going up to 92."""
    counts, over, refused, used = [], 0, 0, []
    for path in paths:
        picture = open_picture(path)
        for order in orders(picture.facts.width, picture.facts.height)[4:7]:
            pixels = recipes.render(picture, order)
            for cap in CAPS:
                try:
                    done = encode.encode_within(pixels, cap, ceiling=92, subsampling="420", progressive=True)
                except DoesNotFit:
                    refused += 1
                    continue
                counts.append(done.encodes)
                over += len(done.data) > cap
                used.append((done.quality, len(done.data) / cap))
    full = [share for quality, share in used if quality < 92]
    print(f"byte caps: {len(counts)} files, {statistics.mean(counts):.2f} encodes on average"
          f" (most {max(counts)}), {over} over the cap  (to reach: <= 3.3, 0);"
          f" {refused} could not fit and said so")  # fmt: skip
    if full:
        print(f"           below top quality they use {statistics.mean(full):.3f} of the cap on average")


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks cut", description=__doc__)
    parser.add_argument("--frames", type=int, default=4)
    parser.add_argument("--rounds", type=int, default=3)
    options = parser.parse_args(argv)
    timing.one_core()
    files = [f for f in frames.camera_files(12) if f[0].profile in ("", "sRGB")][: options.frames]
    ratios: list[tuple[float, float, float]] = []
    print("frame                        floor   ours  libvips  naive   ours/libvips  naive/ours")
    for kind, path in files:
        data = path.read_bytes()
        facts = open_picture(data).facts
        wanted = orders(facts.width, facts.height)
        pixels = [recipes.render(open_picture(data), order) for order in wanted]

        def floor(data: bytes = data, pixels: list = pixels) -> None:
            simplejpeg.decode_jpeg(data, "RGB", False, False)
            for one in pixels:
                simplejpeg.encode_jpeg(one, QUALITY, "RGB", "444", False)

        took = timing.interleaved(
            {
                "floor": floor,
                "ours": lambda data=data, wanted=wanted: recipes.make_finals(data, wanted),
                "libvips": lambda data=data, wanted=wanted: by_libvips(data, wanted),
            },
            options.rounds,
        )
        one = timing.medians(took)
        one["naive"] = timing.cpu_ms(lambda data=data, wanted=wanted: naively(data, wanted))
        ratios.append((one["ours"] / one["libvips"], one["naive"] / one["ours"], one["ours"] / one["floor"]))
        print(f"{kind.name:28s} {one['floor']:5.0f}  {one['ours']:5.0f}  {one['libvips']:7.0f}  {one['naive']:5.0f}"
              f"  {ratios[-1][0]:12.2f}  {ratios[-1][1]:10.1f}", flush=True)  # fmt: skip
    print(f"ours / libvips: {statistics.median(r[0] for r in ratios):.2f}  (to reach: <= 0.55)")
    print(f"naive / ours:   {statistics.median(r[1] for r in ratios):.1f}  (to reach: >= 7)")
    figure("eight finals, against libvips", statistics.median(r[0] for r in ratios), "times", most=0.55)
    figure("eight finals, the naive way against ours", statistics.median(r[1] for r in ratios), "times", least=7)
    print(f"ours / floor:   {statistics.median(r[2] for r in ratios):.2f}")
    _caps([path for _, path in files])
    return 0
