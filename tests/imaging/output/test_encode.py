"""Encoders: the byte cap, deterministic bytes, tags read back by others, subsampling by use."""

from __future__ import annotations

import io
import re

import numpy as np
import pytest
import tifffile
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from galleries.imaging.colour import convert, profiles
from galleries.imaging.colour.planes import Planes
from galleries.imaging.errors import DoesNotFit
from galleries.imaging.output import encode
from tests.imaging.core_pictures import painted
from tests.telling import refused, sentence_of


@pytest.mark.parametrize("odd", [(63, 96), (64, 95), (63, 95), (64, 96)])
def test_nothing_that_lies_beside_a_picture_in_memory_comes_into_its_file(odd: tuple[int, int]) -> None:
    """libjpeg-turbo's interface of planes reads light up to what colour stands for (`tjPlaneWidth` of its turbojpeg.h:
    'padded to the nearest multiple of the horizontal chroma subsampling factor')."""
    height, width = odd
    light = painted(width, height)[:, :, 1]
    colour = np.full((-(-height // 2), -(-width // 2)), 128, np.uint8)

    def coded(beside: int) -> bytes:
        memory = np.full((height + 2, width), beside, np.uint8)
        memory[:height] = light
        return encode.encode_planes(Planes(memory[:height], colour, colour), quality=90)

    assert coded(0) == coded(255)
    # What fills the last blocks is the picture's own edge, as the encoder itself has it for RGB.
    decoded = np.asarray(Image.open(io.BytesIO(coded(0))).convert("L")).astype(int)
    assert decoded.shape == (height, width)
    assert np.abs(decoded - light)[:, -2:].max() <= 6
    assert np.abs(decoded - light)[-2:].max() <= 6


def _busy(width: int = 320, height: int = 400, seed: int = 1, grain: float = 12) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return np.clip(painted(width, height) + rng.normal(0, grain, (height, width, 3)), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("progressive", [False, True])
@pytest.mark.parametrize("subsampling", ["444", "422", "420"])
def test_tags_are_what_was_asked(progressive: bool, subsampling: str) -> None:
    icc = profiles.build("Adobe RGB")
    data = encode.encode_jpeg(_busy(), quality=90, progressive=progressive, subsampling=subsampling, ppi=300, icc=icc)
    image = Image.open(io.BytesIO(data))
    assert image.info["dpi"] == (300, 300)
    assert image.info["icc_profile"] == icc
    assert bool(image.info.get("progressive")) == progressive
    sampling = {"444": (1, 1), "422": (2, 1), "420": (2, 2)}[subsampling]
    assert (image.layer[0][1], image.layer[0][2]) == sampling
    assert set(image.info) <= {"dpi", "icc_profile", "progressive", "progression", "jfif", "jfif_version",
                               "jfif_unit", "jfif_density"}  # fmt: skip


def test_every_file_carries_srgb_unless_told_otherwise() -> None:
    data = encode.encode_jpeg(_busy(), quality=80)
    assert Image.open(io.BytesIO(data)).info["icc_profile"] == convert.srgb_profile()
    tiff = encode.encode_tiff(_busy(), ppi=300)
    assert Image.open(io.BytesIO(tiff)).info["icc_profile"] == convert.srgb_profile()


def test_a_profile_longer_than_a_segment_comes_back_whole() -> None:
    icc = bytes(range(256)) * 600
    data = encode.encode_jpeg(_busy(), quality=80, icc=icc)
    assert Image.open(io.BytesIO(data)).info["icc_profile"] == icc


def test_the_same_input_gives_the_same_bytes() -> None:
    for options in ({"progressive": True}, {"progressive": False}, {"subsampling": "444"}):
        first = encode.encode_jpeg(_busy(), quality=88, **options)
        assert first == encode.encode_jpeg(_busy().copy(order="F"), quality=88, **options)
    wide = _busy().astype(np.uint16) * 257
    assert encode.encode_tiff(wide, ppi=300) == encode.encode_tiff(wide, ppi=300)


@settings(max_examples=25, deadline=None)
@given(st.integers(6_000, 90_000), st.integers(0, 5), st.sampled_from(["420", "444"]), st.booleans())
def test_a_byte_cap_is_kept_and_used(cap: int, seed: int, subsampling: str, progressive: bool) -> None:
    pixels = _busy(seed=seed, grain=2 + 4 * seed)
    options = {"subsampling": subsampling, "progressive": progressive}
    try:
        done = encode.encode_within(pixels, cap, ceiling=95, floor=40, **options)
    except DoesNotFit:
        assert len(encode.encode_jpeg(pixels, quality=40, **options)) > cap
        return
    assert len(done.data) <= cap
    assert 40 <= done.quality <= 95
    assert done.encodes <= 5
    if done.quality < 95 and len(done.data) < encode.CLOSE_ENOUGH * cap:
        assert len(encode.encode_jpeg(pixels, quality=done.quality + 1, **options)) > cap


def test_encodes_stay_few_on_average() -> None:
    counts = []
    for seed in range(6):
        pixels = _busy(seed=seed, grain=2 + 4 * seed)
        least, most = (len(encode.encode_jpeg(pixels, quality=q)) for q in (52, 94))
        for share in (0.05, 0.25, 0.5, 0.75, 0.95):
            cap = int(least + share * (most - least))
            counts.append(encode.encode_within(pixels, cap, ceiling=95).encodes)
    assert np.mean(counts) <= 3.3


def test_a_cap_out_of_reach_says_what_would_fit() -> None:
    pixels = _busy()
    with pytest.raises(DoesNotFit) as caught:
        encode.encode_within(pixels, 9_000)
    told = sentence_of(caught.value)
    assert "320 × 400" in told
    found = re.search(r"(\d+) × (\d+) pixels would fit\.$", told)
    assert found
    width, height = int(found[1]), int(found[2])
    assert abs(width / height - 0.8) < 0.02
    smaller = np.asarray(Image.fromarray(pixels).resize((width, height), Image.Resampling.LANCZOS))
    assert len(encode.encode_jpeg(smaller, quality=encode.FLOOR_QUALITY)) <= 9_000 * 1.05


def test_a_cap_smaller_than_the_tags_says_so() -> None:
    with refused(DoesNotFit, "no picture fits"):
        encode.encode_within(_busy(), 800)


def test_the_quality_first_tried_is_kept_when_nothing_more_is_wanted() -> None:
    done = encode.encode_within(_busy(), 10_000_000)
    assert (done.quality, done.encodes) == (encode.START_QUALITY, 1)
    assert encode.encode_within(_busy(), 10_000_000, ceiling=92).quality == 92


@pytest.mark.parametrize("bits", [8, 16])
def test_tiff_read_by_tifffile(bits: int) -> None:
    pixels = _busy() if bits == 8 else _busy().astype(np.uint16) * 257
    data = encode.encode_tiff(pixels, ppi=300, icc=profiles.build("ProPhoto RGB"))
    with tifffile.TiffFile(io.BytesIO(data)) as file:
        page = file.pages[0]
        assert np.array_equal(page.asarray(), pixels)
        assert page.tags["XResolution"].value == (300, 1)
        assert page.tags["ResolutionUnit"].value == 2
        assert page.tags["InterColorProfile"].value == profiles.build("ProPhoto RGB")
        assert page.photometric.name == "RGB"


def test_subsampling_follows_use_and_size() -> None:
    assert encode.subsampling_for("print", 2400, 3000) == "444"
    assert encode.subsampling_for("full", 6000, 4000) == "444"
    assert encode.subsampling_for("casting", 800, 1000) == "444"
    assert encode.subsampling_for("casting", 1200, 1500) == "420"
    assert encode.subsampling_for("web", 1080, 1920) == "420"


def test_a_fine_red_line_keeps_its_colour_without_subsampling() -> None:
    """Why prints are 4:4:4: a one-pixel red line on grey, its colour (Cr) after a round trip."""
    pixels = np.full((64, 64, 3), 128, np.uint8)
    pixels[:, 31] = (200, 60, 60)
    kept = {}
    for subsampling in ("444", "420"):
        data = encode.encode_jpeg(pixels, quality=95, subsampling=subsampling)
        line = np.asarray(Image.open(io.BytesIO(data)))[:, 31].astype(float).mean(axis=0)
        kept[subsampling] = (line[0] - line[1]) / 140
    assert kept["444"] > 0.93
    assert kept["420"] < 0.75
