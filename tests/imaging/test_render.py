"""What a final and its preview are made of, step by step, on pictures small enough to know every pixel."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from galleries.imaging import preview, recipes
from galleries.imaging.codes import Code
from galleries.imaging.colour import convert, profiles
from galleries.imaging.drawing.border import border_and_name
from galleries.imaging.errors import BadCrop, DoesNotFit
from galleries.imaging.framing.cut_order import CutOrder
from galleries.imaging.framing.geometry import Rect
from galleries.imaging.framing.sizes import SizeSpec
from galleries.imaging.opening.decode import open_picture
from galleries.imaging.opening.picture import FrameFacts, Picture, Stored
from galleries.imaging.output import resize
from galleries.imaging.rights import RightsRecord
from tests.imaging.core_pictures import exif, painted, saved

FACTS = FrameFacts("PNG", 160, 120, 1, 8, "RGB", "sRGB", True)
SRGB = convert.srgb_profile()
PICTURE = Picture(painted(), SRGB, FACTS)


def size(**values: object) -> SizeSpec:
    plain: dict[str, object] = {"slug": "s", "title": "S", "use": "web", "width": 40, "height": 50}
    return SizeSpec(**{**plain, **values})  # type: ignore[arg-type]


def order(rect: Rect = Rect(10, 20, 80, 100), **values: object) -> CutOrder:  # noqa: B008 - it is frozen
    apart = {name: values.pop(name) for name in ("tilt_deg", "monochrome", "icc") if name in values}
    return CutOrder(size(**values), rect, **apart)  # type: ignore[arg-type]


FULL = order(Rect(10, 20, 80, 90), use="full", width=0, height=0)


# Warnings


@pytest.mark.parametrize(
    ("rect", "values", "codes"),
    [
        (Rect(0, 0, 80, 100), {}, []),
        (Rect(0, 0, 40, 50), {}, []),
        (Rect(0, 0, 39, 49), {}, [Code.ENLARGED]),
        (Rect(0, 0, 40, 50), {"bleed": 1}, [Code.ENLARGED]),
        (Rect(0, 0, 40, 50), {"min_ppi": 300}, []),
        (Rect(0, 0, 40, 50), {"min_ppi": 301}, [Code.UNDER_PPI]),
        (Rect(0, 0, 32, 40), {"min_ppi": 241}, [Code.ENLARGED, Code.UNDER_PPI]),
        (Rect(0, 0, 32, 40), {"min_ppi": 240}, [Code.ENLARGED]),
        (Rect(0, 0, 3, 4), {"width": 0, "height": 0, "min_ppi": 300}, []),
    ],
)
def test_too_few_pixels_are_told_with_what_they_give(rect: Rect, values: dict[str, object], codes: list[Code]) -> None:
    assert [told.code for told in recipes._warnings(order(rect, **values))] == codes


def test_the_numbers_of_an_enlargement() -> None:
    enlarged, under = recipes._warnings(order(Rect(0, 0, 32, 40), min_ppi=250))
    assert enlarged.data == {
        "enlarged_times": 1.25, "width_px": 32, "height_px": 40, "out_width_px": 40, "out_height_px": 50,
        "effective_ppi": 240, "wanted_ppi": 300,
    }  # fmt: skip
    assert under.data == {"effective_ppi": 240, "least_ppi": 250, "size": "s"}


# Pixels


def test_a_full_frame_is_its_pixels() -> None:
    assert np.array_equal(recipes.render(PICTURE, FULL), painted()[20:110, 10:90])


@pytest.mark.parametrize("bits", [8, 16])
def test_a_final_has_the_size_and_depth_asked_for(bits: int) -> None:
    made = recipes.render(PICTURE, order(bits=bits, file_format="TIFF"))
    assert made.shape == (50, 40, 3)
    assert made.dtype == (np.uint8 if bits == 8 else np.uint16)


def test_black_and_white_is_neutral_and_keeps_its_luminance() -> None:
    made = recipes.render(PICTURE, replace(FULL, monochrome=True))
    assert np.array_equal(made, convert.to_monochrome(painted()[20:110, 10:90], SRGB))
    assert (made[..., 0] == made[..., 2]).all()


def test_colours_are_converted_into_the_sizes_profile_or_the_labs() -> None:
    part = painted()[20:110, 10:90]
    for wanted, icc in ((replace(FULL, size=replace(FULL.size, profile="Adobe RGB")), profiles.build("Adobe RGB")),
                        (replace(FULL, icc=profiles.build("Display P3")), profiles.build("Display P3"))):  # fmt: skip
        assert np.array_equal(recipes.render(PICTURE, wanted), convert.between_profiles(part, SRGB, icc, 8))


def test_a_tilted_crop_is_turned_at_its_own_size() -> None:
    tilted = replace(FULL, crop=Rect(40, 30, 60, 50), tilt_deg=8.0)
    assert np.array_equal(recipes.render(PICTURE, tilted), resize.cut_turned(painted(), Rect(40, 30, 60, 50), 8.0))


def test_the_finish_comes_last_and_is_given_the_order() -> None:
    seen: list[tuple[tuple[int, ...], CutOrder]] = []

    def finish(pixels: np.ndarray, asked: CutOrder) -> np.ndarray:
        seen.append((pixels.shape, asked))
        return np.full_like(pixels, 7)

    wanted = order()
    assert (recipes.render(PICTURE, wanted, finish) == 7).all()
    assert seen == [((50, 40, 3), wanted)]


# Cut from a JPEG's planes


@pytest.mark.parametrize(
    "values",
    [
        {"use": "print"},
        {"use": "print", "profile": "Adobe RGB"},
        {"use": "print", "border": 4},
        {"use": "print", "file_format": "TIFF", "bits": 16},
        {"use": "print", "monochrome": True},
        {"use": "casting", "byte_cap": 100_000},
        {"use": "print", "tilt_deg": 5.0},
        {"use": "full", "width": 0, "height": 0},
    ],
    ids=["plain", "profile", "border", "tiff", "monochrome", "capped", "tilted", "native"],
)
@pytest.mark.parametrize("subsampling", [0, 2], ids=["444", "420"])
def test_a_final_of_planes_looks_as_one_of_rgb(values: dict[str, object], subsampling: int) -> None:
    data = saved(painted(320, 240), quality=97, subsampling=subsampling, exif=exif(orientation=6))
    wanted = order(Rect(41, 30, 120, 150), **values)
    made = recipes.make_finals(data, [wanted], finish=border_and_name(""))[0]
    expected = recipes.render(open_picture(data), wanted, border_and_name(""))
    if wanted.size.file_format == "JPEG":
        expected = shown(saved(expected, subsampling=0, quality=100))
    far = np.abs(open_picture(made.data).pixels.astype(float) - expected) / (257 if wanted.size.bits == 16 else 1)
    assert far.mean() < 2
    assert np.percentile(far, 97) < 12  # the disc's edge is of strong colours


@pytest.mark.parametrize(
    ("values", "straight"),
    [
        ({}, True), ({"border": 4}, False), ({"name_strip": True}, False), ({"profile": "Adobe RGB"}, False),
        ({"file_format": "TIFF"}, False), ({"byte_cap": 9000}, False), ({"use": "web"}, False),
        ({"use": "casting"}, False), ({"monochrome": True}, False), ({"icc": profiles.build("Display P3")}, False),
    ],
)  # fmt: skip
def test_planes_go_straight_to_the_encoder_only_where_nothing_is_left_to_do(
    values: dict[str, object], straight: bool
) -> None:
    wanted = order(Rect(10, 20, 80, 100), **{"use": "print", **values})
    assert recipes._ready(wanted, SRGB, border_and_name("N")) is straight


def test_a_drawn_on_size_is_ready_where_nobody_draws() -> None:
    assert recipes._ready(order(use="print", border=4), SRGB, None)


# Files


def opened(data: bytes) -> Image.Image:
    return Image.open(io.BytesIO(data))


@pytest.mark.parametrize(("use", "progressive"), [("web", True), ("casting", True), ("print", False), ("full", False)])
def test_screen_files_come_in_passes_and_print_files_in_one(use: str, progressive: bool) -> None:
    made = recipes._encode(painted(40, 50), order(use=use), 0)
    assert bool(opened(made.data).info.get("progressive")) is progressive
    assert made.quality == 92
    assert opened(made.data).info["dpi"] == (300, 300)


def test_a_tiff_over_its_cap_is_refused_with_its_bytes() -> None:
    pixels = painted(40, 50)
    whole = recipes._encode(pixels, order(file_format="TIFF"), 0)
    assert whole.quality == 0
    assert opened(whole.data).format == "TIFF"
    cap = len(whole.data)
    assert recipes._encode(pixels, order(file_format="TIFF", byte_cap=cap), 0).data == whole.data
    with pytest.raises(DoesNotFit) as caught:
        recipes._encode(pixels, order(file_format="TIFF", byte_cap=cap), 1)
    assert caught.value.told.data == {"size_bytes": cap + 1, "cap_bytes": cap}


def test_a_cap_leaves_room_for_what_is_reserved() -> None:
    pixels = np.random.default_rng(3).integers(0, 256, (100, 80, 3), np.uint8)
    free = len(recipes._encode(pixels, order(quality=90), 0).data)
    capped = recipes._encode(pixels, order(quality=90, byte_cap=free), 2000)
    assert len(capped.data) <= free - 2000
    assert capped.quality < 90
    assert recipes._encode(pixels, order(quality=90, byte_cap=free * 2), 0).quality == 90


def test_rights_are_reserved_for_where_there_is_a_cap() -> None:
    record = RightsRecord(title="t" * 900)
    assert recipes._rights_overhead(None, order(byte_cap=5000)) == 0
    assert recipes._rights_overhead(record, order()) == 0
    short = recipes._rights_overhead(RightsRecord(title="t"), order(byte_cap=5000))
    assert recipes._rights_overhead(record, order(byte_cap=5000)) > short + 899
    assert short > 64


def test_finals_come_in_the_order_asked_and_a_bad_one_stops_all() -> None:
    data = saved(painted(), "PNG")
    orders = [order(), FULL, order(width=80, height=100)]
    made = recipes.make_finals(data, orders)
    assert [(file.width, file.height) for file in made] == [(40, 50), (80, 90), (80, 100)]
    assert [opened(file.data).size for file in made] == [(40, 50), (80, 90), (80, 100)]
    with pytest.raises(BadCrop):
        recipes.make_finals(data, [order(), order(Rect(100, 0, 80, 100))])


# Proofs before they are stamped


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_a_proof_is_shrunk_as_stored_and_then_turned(orientation: int) -> None:
    stored_pixels = painted(160, 120)
    upright = (160, 120) if orientation < 5 else (120, 160)
    facts = replace(FACTS, width=upright[0], height=upright[1], orientation=orientation)
    made = recipes.proof_pixels(Stored(stored_pixels, SRGB, facts, 1.0), 80)
    assert made.shape == ((60, 80, 3) if orientation < 5 else (80, 60, 3))
    small = resize.resize_to(stored_pixels, 80, 60)
    turns = {1: 0, 3: 2, 6: -1, 8: 1}[orientation]
    assert np.array_equal(made, np.rot90(small, turns))


def test_a_proof_is_never_enlarged_and_in_srgb() -> None:
    wide = Stored(painted(), profiles.build("Display P3"), FACTS, 1.0)
    made = recipes.proof_pixels(wide, 4000)
    assert np.array_equal(made, convert.between_profiles(painted(), profiles.build("Display P3"), SRGB, 8))


def test_a_view_is_an_ordinary_file_of_the_size_asked() -> None:
    with opened(recipes.make_view(saved(painted(), exif=exif(orientation=6)), 80)) as image:
        assert image.size == (60, 80)
        assert not image.getexif()
        assert image.info["icc_profile"] == SRGB
        assert not image.info.get("progressive")


# Previews


def shown(data: bytes) -> np.ndarray:
    return np.asarray(opened(data)).astype(int)


def test_a_preview_shows_the_crop_in_the_shape_of_its_file() -> None:
    source = saved(painted(), "PNG")
    square, full = preview.cut_small(source, [order(Rect(10, 20, 80, 100)), FULL], 40)
    assert shown(square).shape == (40, 32, 3)
    assert shown(full).shape == (40, 36, 3)
    expected = resize.resize_to(painted(), 32, 40, Rect(10, 20, 80, 100)).astype(int)
    assert np.abs(shown(square) - expected).mean() < 3
    assert preview.cut_small(source, [], 40) == []


def test_a_preview_is_not_larger_than_its_file_and_may_be_black_and_white() -> None:
    (made,) = preview.cut_small(saved(painted(), "PNG"), [order(monochrome=True)], 4000)
    assert shown(made).shape == (50, 40, 3)
    assert np.ptp(shown(made), axis=2).max() <= 2


def test_a_preview_carries_its_border_in_scale_and_leaves_out_letters_that_are_too_small() -> None:
    bordered = order(Rect(0, 0, 80, 100), width=80, height=100, border=8)
    (made,) = preview.cut_small(saved(painted(), "PNG"), [bordered], 50)
    assert shown(made)[:3].min() > 225
    assert shown(made)[6:-6, 6:-6].mean() < 200
    named = order(Rect(0, 0, 80, 100), width=80, height=100, name_strip=True)
    (made,) = preview.cut_small(saved(painted(), "PNG"), [named], 50, name="W" * 60)
    assert shown(made)[-2:].min() > 230


def test_a_preview_outside_the_frame_is_refused() -> None:
    with pytest.raises(BadCrop):
        preview.cut_small(saved(painted(), "PNG"), [order(Rect(100, 0, 80, 100))], 40)


def cell(grey: int, width: int = 40, height: int = 50) -> bytes:
    return saved(np.full((height, width, 3), grey, np.uint8), quality=95)


def test_cells_stand_in_rows_at_the_foot_of_their_places() -> None:
    cells = [
        preview.SheetPicture(cell(200), ""),
        preview.SheetPicture(cell(100, 60, 30), ""),
        preview.SheetPicture(cell(0), ""),
    ]
    page = shown(preview.contact_sheet(cells, 2, cell=60, gap=10))
    assert page.shape == (2 * 90 + 10, 2 * 70 + 10, 3)

    def at(left: int, top: int, width: int, height: int) -> float:
        return float(page[top : top + height, left : left + width].mean())

    assert at(22, 22, 36, 46) == pytest.approx(200, abs=3)  # 40 wide in 60, 50 high in 60: ten down, ten in
    assert at(82, 42, 56, 26) == pytest.approx(100, abs=3)
    assert at(22, 112, 36, 46) == pytest.approx(0, abs=3)
    assert at(82, 112, 56, 46) == pytest.approx(preview.GROUND, abs=2)
    assert at(0, 0, 150, 8) == pytest.approx(preview.GROUND, abs=2)


def test_a_label_stands_under_its_picture_and_never_beside_it() -> None:
    plain = shown(preview.contact_sheet([preview.SheetPicture(cell(100), "")], 1, cell=60, gap=30))
    for text in ("8 × 10 in", "a very long label " * 8):
        page = shown(preview.contact_sheet([preview.SheetPicture(cell(100), text)], 1, cell=60, gap=30))
        ys, xs = np.nonzero(np.abs(page - plain).max(axis=2) > 60)
        assert 90 <= ys.min() <= ys.max() < 112
        assert 30 <= xs.min() <= xs.max() < 90


def test_a_preview_on_srgb_paper_is_nearly_as_it_was() -> None:
    jpeg = saved(painted(), quality=95)
    made, warning = preview.paper_view(jpeg, SRGB)
    assert warning is None
    assert np.abs(shown(made) - shown(jpeg)).mean() < 3
