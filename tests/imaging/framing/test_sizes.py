"""Delivery sizes: pixels against the published trim sizes, rounding, and contradictions refused."""

from __future__ import annotations

from dataclasses import replace

import pytest

from galleries.imaging.errors import BadCrop
from galleries.imaging.framing.geometry import Ratio
from tests.size_data import BY_SLUG, SIZES
from tests.telling import refused

# inches × 300 [arithmetic]; ISO 216 millimetres / 25.4 × 300 [std]; bleed 1/8 in or 3 mm a side.
TRIM_AND_BLEED = {
    "print-4x6": ((1200, 1800), (1275, 1875)),
    "print-5x7": ((1500, 2100), (1575, 2175)),
    "print-8x10": ((2400, 3000), (2475, 3075)),
    "print-11x14": ((3300, 4200), (3375, 4275)),
    "print-a4": ((2480, 3508), (2551, 3579)),
    "print-a5": ((1748, 2480), (1819, 2551)),
}
ISO216_MM = {"print-a4": (210, 297), "print-a5": (148, 210)}


@pytest.mark.parametrize("slug", TRIM_AND_BLEED)
def test_print_sizes_are_what_the_paper_is(slug: str) -> None:
    trim, bleed = TRIM_AND_BLEED[slug]
    size, with_bleed = BY_SLUG[slug], BY_SLUG[f"{slug}-bleed"]
    assert (size.out_width, size.out_height) == trim
    assert (with_bleed.width, with_bleed.height) == trim
    assert (with_bleed.out_width, with_bleed.out_height) == bleed
    assert with_bleed.ratio == Ratio(*bleed)


@pytest.mark.parametrize("slug", ISO216_MM)
def test_iso_sizes_follow_from_millimetres(slug: str) -> None:
    size = BY_SLUG[slug]
    assert (size.width, size.height) == tuple(round(mm / 25.4 * size.ppi) for mm in ISO216_MM[slug])


def test_every_size_says_where_it_comes_from() -> None:
    assert len(BY_SLUG) == len(SIZES)
    for size in SIZES:
        assert size.source, size.slug
        assert size.checked, size.slug
        assert size.source_kind in ("trade", "std", "arithmetic"), size.slug


def test_the_full_frame_has_no_shape() -> None:
    full = BY_SLUG["full"]
    assert full.full_frame
    assert full.ratio is None
    assert (full.out_width, full.out_height) == (0, 0)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"use": "poster"}, "use “poster”"),
        ({"file_format": "GIF"}, "file format “GIF”"),
        ({"bits": 16}, "16 bits are not possible in a JPEG"),
        ({"width": 0}, "no size"),
        ({"quality": 0}, "quality must be"),
        ({"bleed": -1}, "cannot be negative"),
        ({"border": 1400}, "leave nothing"),
    ],
)
def test_contradictions_are_named(change: dict[str, object], told: str) -> None:
    with refused(BadCrop, told):
        replace(BY_SLUG["print-8x10"], **change)
