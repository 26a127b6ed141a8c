"""The compositions: proofs, readings, views, finals."""

from __future__ import annotations

import hashlib
import io
import subprocess
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image
from skimage import data as skimage_data

from galleries.imaging import recipes
from galleries.imaging.colour import convert, profiles
from galleries.imaging.drawing.stamp import StampText
from galleries.imaging.errors import BadCrop, DoesNotFit, TooLarge, Unreadable
from galleries.imaging.framing import geometry
from galleries.imaging.framing.cut_order import CutOrder
from galleries.imaging.framing.geometry import Rect
from galleries.imaging.framing.sizes import SizeSpec
from galleries.imaging.opening.decode import open_picture, turn_upright
from galleries.imaging.opening.picture import Limits
from galleries.imaging.rights import RightsRecord, check
from tests.imaging.core_pictures import exif, painted, saved
from tests.size_data import BY_SLUG
from tests.telling import refused, sentence_of

TEXT = StampText("Studio Nordlicht", "for Mara Lindqvist")
SMALL = SizeSpec("small", "Small", "casting", 80, 100, ppi=72, quality=90)
PRINT = SizeSpec("print", "Print", "print", 120, 150, ppi=300, min_ppi=240, quality=95)


@pytest.fixture(scope="module")
def portrait() -> bytes:
    """The public-domain astronaut portrait of scikit-image, as a camera file with an Adobe RGB profile."""
    rgb = skimage_data.astronaut()
    icc = profiles.build("Adobe RGB")
    return saved(convert.between_profiles(rgb, convert.srgb_profile(), icc), quality=95, icc_profile=icc, exif=exif())


def _pixels(data: bytes) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(data)))


# --- proofs ---------------------------------------------------------------------------------------------


def test_a_proof_is_stamped_srgb_and_nothing_else(portrait: bytes) -> None:
    proof = recipes.make_proof(portrait, TEXT, large=400, middle=300, small=160)
    for data, size in ((proof.large, (400, 400)), (proof.middle, (300, 300)), (proof.small, (160, 160))):
        image = Image.open(io.BytesIO(data))
        assert image.size == size
        assert image.info["icc_profile"] == convert.srgb_profile()
        assert not image.getexif()
        plain = np.asarray(Image.fromarray(skimage_data.astronaut()).resize(size, Image.Resampling.LANCZOS))
        far = np.abs(np.asarray(image).astype(int) - plain).max(axis=2)
        assert 0.005 < np.mean(far > 40) < 0.5  # the stamp
        assert np.median(far) < 9  # the rest is the picture, at a proof's quality
    assert (proof.large_size, proof.small_size) == ((400, 400), (160, 160))
    assert proof.reading.face is not None


def test_the_face_of_the_reading_is_in_full_frame_pixels(portrait: bytes) -> None:
    """Pupils near (204, 101) and (246, 103): trade.md's note on this picture."""
    _, reading = recipes.read_frame(portrait)
    assert reading.face is not None
    assert reading.face.right_eye == pytest.approx((204, 101), abs=4)
    assert reading.face.left_eye == pytest.approx((246, 103), abs=4)
    assert (reading.width, reading.height) == (512, 512)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_the_reading_follows_the_orientation(orientation: int) -> None:
    from galleries.imaging.opening.decode import turn_upright

    stored = turn_upright(skimage_data.astronaut(), geometry.INVERSE_ORIENTATION[orientation])
    data = saved(np.ascontiguousarray(stored), quality=95, exif=exif(orientation=orientation))
    proof = recipes.make_proof(data, TEXT, large=400, small=160)
    assert proof.reading.face is not None
    assert proof.reading.face.right_eye == pytest.approx((204, 101), abs=4)
    assert _pixels(proof.large).shape == (400, 400, 3)


def test_a_file_s_own_planes_are_read_as_its_pixels_are() -> None:
    """A size of which the face is looked for in as many pixels as colour has samples; and the file lies on its side."""
    large = cv2.resize(skimage_data.astronaut(), (2400, 2400), interpolation=cv2.INTER_CUBIC)
    data = saved(turn_upright(large, geometry.INVERSE_ORIENTATION[6]), quality=92, exif=exif(orientation=6))
    _, by_pixels = recipes.read_frame(data)
    by_planes = recipes.make_proof(data, TEXT).reading
    one, other = by_pixels.face, by_planes.face
    assert one is not None
    assert other is not None
    assert other.right_eye == pytest.approx(one.right_eye, abs=0.01 * one.eye_distance)
    assert other.left_eye == pytest.approx(one.left_eye, abs=0.01 * one.eye_distance)
    for name in ("sharpness", "detail", "face_l", "skin_ab", "backdrop_lab", "wardrobe_lab"):
        assert getattr(by_planes, name) == pytest.approx(getattr(by_pixels, name), rel=0.03, abs=0.7), name
    assert by_planes.catch_lights_right
    assert by_pixels.catch_lights_right
    assert by_planes.catch_lights_right[0].clock == by_pixels.catch_lights_right[0].clock
    assert by_planes.soft == by_pixels.soft


def test_proofs_repeat_to_the_byte_and_a_known_reading_changes_nothing(portrait: bytes) -> None:
    one = recipes.make_proof(portrait, TEXT, large=400, small=160)
    two = recipes.make_proof(portrait, TEXT, large=400, small=160, known=one.reading)
    assert (one.large, one.middle, one.small) == (two.large, two.middle, two.small)


def test_proofs_never_enlarge() -> None:
    proof = recipes.make_proof(saved(painted(300, 200)), TEXT)
    assert proof.large_size == (300, 200)
    assert proof.small_size == (300, 200)
    assert proof.middle == b""  # it would be no smaller than the large one


def test_the_picture_beside_a_proof_bears_no_stamp_at_any_size(portrait: bytes) -> None:
    srgb = saved(skimage_data.astronaut(), "PNG")  # neither shrunk, turned nor converted: one array all the way
    for source, side in ((portrait, 300), (srgb, 512)):
        proof = recipes.make_proof(source, TEXT, large=512, middle=300, small=160, plain=side)
        bare = _pixels(recipes.make_view(source, side)).astype(int)
        assert np.abs(_pixels(proof.plain) - bare).mean() < 2
        stamped = _pixels(recipes.make_view(proof.large, side))
        assert np.abs(stamped - bare).mean() > 4


def test_a_view_is_unstamped_and_clean(portrait: bytes) -> None:
    image = Image.open(io.BytesIO(recipes.make_view(portrait, 256)))
    assert image.size == (256, 256)
    plain = Image.fromarray(skimage_data.astronaut()).resize((256, 256), Image.Resampling.LANCZOS)
    assert np.abs(np.asarray(image).astype(int) - np.asarray(plain)).mean() < 4
    assert not image.getexif()


def test_limits_and_damage_reach_through_every_recipe(portrait: bytes) -> None:
    orders = [CutOrder(SMALL, Rect(0, 0, 80, 100))]
    for act in (
        lambda data, limits: recipes.make_proof(data, TEXT, limits),
        lambda data, limits: recipes.make_view(data, 100, limits),
        lambda data, limits: recipes.read_frame(data, limits),
        lambda data, limits: recipes.make_finals(data, orders, limits),
    ):
        with pytest.raises(TooLarge):
            act(portrait, Limits(max_side=100))
        with pytest.raises(Unreadable):
            act(portrait[:-3000], Limits())


# --- finals ---------------------------------------------------------------------------------------------


def test_finals_have_the_size_s_pixels_profile_and_ppi(portrait: bytes) -> None:
    bleed = replace(PRINT, slug="bleed", bleed=7.5, profile="Adobe RGB")
    ratio = bleed.ratio
    assert ratio is not None
    orders = [
        CutOrder(SMALL, geometry.fit_largest(geometry.Ratio(4, 5), (512, 512))),
        CutOrder(bleed, geometry.fit_largest(ratio, (512, 512))),
        CutOrder(BY_SLUG["full"], Rect(0, 0, 512, 512)),
    ]
    small, print_, full = recipes.make_finals(portrait, orders)
    assert (small.width, small.height) == (80, 100)
    assert (print_.width, print_.height) == (135, 165)
    assert (full.width, full.height) == (512, 512)
    image = Image.open(io.BytesIO(print_.data))
    assert image.size == (135, 165)
    assert image.info["icc_profile"] == profiles.build("Adobe RGB")
    assert image.info["dpi"] == (300, 300)
    assert hashlib.sha256(print_.data).hexdigest() == print_.sha256
    assert not small.warnings


def test_a_final_shows_the_crop_s_part_of_the_frame() -> None:
    frame = painted(400, 300)
    crop = Rect(60, 40, 160, 200)
    (final,) = recipes.make_finals(saved(frame, "PNG"), [CutOrder(SMALL, crop)])
    part = Image.fromarray(frame[40:240, 60:220]).resize((80, 100), Image.Resampling.LANCZOS)
    assert np.abs(_pixels(final.data).astype(int) - np.asarray(part)).mean() < 3


def test_a_tilted_final_is_level() -> None:
    """A frame whose dark bar slopes by 10 degrees, cut with a tilt of 10 degrees."""
    import cv2

    frame = np.full((400, 500, 3), 200, np.uint8)
    cv2.line(frame, (50, 200 - 35), (450, 200 + 35), (20, 20, 20), 9, cv2.LINE_AA)  # atan(70 / 400) = 9.93°
    crop = Rect(170, 100, 160, 200)
    (final,) = recipes.make_finals(saved(frame, "PNG"), [CutOrder(SMALL, crop, tilt_deg=9.926)])
    dark = 255 - _pixels(final.data)[:, :, 1].astype(float)
    dark -= dark.min()
    rows = (dark * np.arange(100)[:, None]).sum(axis=0) / dark.sum(axis=0)
    assert np.polyfit(np.arange(80), rows, 1)[0] == pytest.approx(0, abs=0.01)


def test_black_and_white_finals_are_neutral(portrait: bytes) -> None:
    size = replace(SMALL, file_format="TIFF", bits=16)
    orders = [CutOrder(SMALL, Rect(0, 0, 400, 500), monochrome=True), CutOrder(size, Rect(0, 0, 400, 500), 0, True)]
    jpeg, tiff = recipes.make_finals(portrait, orders)
    pixels = _pixels(jpeg.data).astype(int)
    assert np.abs(pixels - pixels[:, :, 1:2]).max() <= 1
    fine = open_picture(tiff.data)
    assert fine.pixels.dtype == np.uint16
    assert np.ptp(fine.pixels.astype(int), axis=2).max() <= 2  # of 65535


def test_sixteen_bits_survive_to_a_sixteen_bit_tiff() -> None:
    from galleries.imaging.output import encode

    ramp = np.linspace(20_000, 22_000, 400)
    frame = np.repeat(np.repeat(ramp[None, :, None], 300, axis=0), 3, axis=2).round().astype(np.uint16)
    source = encode.encode_tiff(frame, ppi=300, icc=profiles.build("ProPhoto RGB"))
    (final,) = recipes.make_finals(source, [CutOrder(BY_SLUG["full-tiff"], Rect(0, 0, 400, 300))])
    row = open_picture(final.data).pixels[150, :, 1]
    assert len(np.unique(row)) > 390
    assert final.quality == 0


def test_enlarging_is_said_with_figures(portrait: bytes) -> None:
    (final,) = recipes.make_finals(portrait, [CutOrder(PRINT, Rect(100, 20, 80, 100))])
    assert (final.width, final.height) == (120, 150)
    assert tuple(map(sentence_of, final.warnings)) == (
        "Enlarged 1.50 times: the crop has 80 × 100 pixels for 120 × 150, so the effective resolution is 200 of"
        " 300 ppi.",
        "200 ppi is under the 240 ppi that “print” asks for.",
    )


@pytest.mark.parametrize(
    ("order", "told"),
    [
        (CutOrder(SMALL, Rect(450, 0, 80, 100)), "does not lie inside the frame of 512 × 512"),
        (CutOrder(SMALL, Rect(0, 0, 100, 100)), "not of the shape 4:5"),
        (CutOrder(SMALL, Rect(0, 0, 400, 500), tilt_deg=20), "turned by 20.0°, leaves the frame"),
    ],
)
def test_wrong_crops_are_named(portrait: bytes, order: CutOrder, told: str) -> None:
    with refused(BadCrop, told):
        recipes.make_finals(portrait, [order])


def test_rights_are_inside_the_byte_cap_and_read_back(portrait: bytes) -> None:
    record = RightsRecord(creators=("Ida Nordlicht",), copyright_notice="© 2026 Ida Nordlicht", title="Mara Lindqvist")
    order = CutOrder(SMALL, Rect(0, 0, 400, 500))
    (plain,) = recipes.make_finals(portrait, [order])
    cap = len(plain.data) + 2000
    (final,) = recipes.make_finals(portrait, [replace(order, size=replace(SMALL, byte_cap=cap))], rights=record)
    assert len(final.data) <= cap
    assert check(final.data, record) == []
    assert Image.open(io.BytesIO(final.data)).info["icc_profile"] == convert.srgb_profile()
    with refused(DoesNotFit, r"would fit|no picture fits"):
        recipes.make_finals(portrait, [replace(order, size=replace(SMALL, byte_cap=4000))], rights=record)


def test_nothing_of_the_camera_s_metadata_is_carried_over(tmp_path: Path) -> None:
    source = tmp_path / "frame.jpg"
    source.write_bytes(saved(painted(400, 500), quality=95))
    tags = ("GPSLatitude=59.3", "GPSLatitudeRef=N", "SerialNumber=12345", "OwnerName=Somebody", "Artist=Nobody")
    subprocess.run(["exiftool", "-q", "-overwrite_original", *(f"-{t}" for t in tags), source], check=True)
    out = tmp_path / "final.jpg"
    for data in (
        recipes.make_finals(source, [CutOrder(SMALL, Rect(0, 0, 400, 500))])[0].data,
        recipes.make_view(source, 300),
        recipes.make_proof(source, TEXT).large,
    ):
        out.write_bytes(data)
        told = subprocess.run(["exiftool", "-G1", "-s", out], check=True, capture_output=True, text=True).stdout
        for word in ("GPS", "12345", "Somebody", "Nobody"):
            assert word not in told


def test_the_finish_hook_draws_before_encoding(portrait: bytes) -> None:
    def border(pixels: np.ndarray, order: CutOrder) -> np.ndarray:
        assert order.size is SMALL
        out = pixels.copy()
        out[:8] = 255
        return out

    (final,) = recipes.make_finals(portrait, [CutOrder(SMALL, Rect(0, 0, 400, 500))], finish=border)
    assert _pixels(final.data)[:6].min() > 245
    assert _pixels(final.data)[20:].mean() < 240


def test_finals_repeat_to_the_byte(portrait: bytes) -> None:
    order = CutOrder(replace(SMALL, byte_cap=9000), Rect(0, 0, 400, 500))
    assert recipes.make_finals(portrait, [order]) == recipes.make_finals(portrait, [order])


FRAME = saved(painted(240, 180), "PNG")


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(9, 16), st.integers(9, 16), st.integers(2, 12), st.data())
def test_any_size_and_crop_gives_exactly_its_pixels(w: int, h: int, times: int, data: st.DataObject) -> None:
    size = SizeSpec("any", "Any", "web", w * times, h * times, quality=80)
    ratio = size.ratio
    assert ratio is not None
    largest = geometry.fit_largest(ratio, (240, 180))
    height = data.draw(st.integers(max(2, largest.height // 4), largest.height))
    width = min(ratio.width_for(height), largest.width)
    x = data.draw(st.integers(0, 240 - width))
    y = data.draw(st.integers(0, 180 - height))
    (final,) = recipes.make_finals(FRAME, [CutOrder(size, Rect(x, y, width, height))])
    assert Image.open(io.BytesIO(final.data)).size == (w * times, h * times)
    assert bool(final.warnings) == (width < w * times or height < h * times)
