"""Colour conversion against colour-science, published check values and profiles made by others."""

from __future__ import annotations

import hashlib
import io
import struct
from collections.abc import Callable

import colour as science
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms

from galleries.imaging.colour import convert, matrix_shaper, profiles
from galleries.imaging.errors import BadProfile
from galleries.imaging.opening.decode import open_picture
from tests import outside
from tests.imaging.core_pictures import painted, saved
from tests.telling import refused

SRGB = convert.srgb_profile()
SPACES = {
    "sRGB": "sRGB",
    "Adobe RGB": "Adobe RGB (1998)",
    "Display P3": "Display P3",
    "ProPhoto RGB": "ProPhoto RGB",
}


def _patch(values: object) -> np.ndarray:
    return np.array(values, np.uint8).reshape(1, -1, 3)


def _lab(srgb: np.ndarray) -> np.ndarray:
    """CIE Lab (D65) of sRGB 0..1 by colour-science."""
    return science.XYZ_to_Lab(science.sRGB_to_XYZ(srgb))


# --- check values ---------------------------------------------------------------------------------------

# Adobe RGB to sRGB, 8 bit, computed with colour-science 0.4.7 [lib].
ADOBE_TO_SRGB = {
    (200, 120, 80): (223.75, 120.84, 76.54),
    (128, 128, 128): (129.0, 129.0, 129.0),
    (230, 180, 160): (246.89, 181.50, 160.56),
}


@pytest.mark.parametrize("source", ADOBE_TO_SRGB)
@pytest.mark.parametrize("own", [True, False])
def test_published_check_values(source: tuple[int, int, int], own: bool) -> None:
    adobe = profiles.build("Adobe RGB")
    if not own:
        adobe = outside.profile("colord/AdobeRGB1998.icc")
    assert np.abs(convert.between_profiles(_patch(source), adobe, SRGB)[0, 0] - ADOBE_TO_SRGB[source]).max() < 0.9
    fine = convert.between_profiles(_patch(source), adobe, SRGB, 16)[0, 0] / 257
    assert np.abs(fine - ADOBE_TO_SRGB[source]).max() < 0.15


@pytest.mark.parametrize("name", ["Adobe RGB", "Display P3", "ProPhoto RGB"])
@pytest.mark.parametrize("bits", [8, 16])
def test_the_colour_checker_within_ciede2000(name: str, bits: int) -> None:
    """ColorChecker 2005 as published in colour-science's data set; patches outside sRGB are left out."""
    checker = science.CCS_COLOURCHECKERS["ColorChecker 2005"]
    xyz = science.xyY_to_XYZ(np.array(list(checker.data.values())))
    wide = science.XYZ_to_RGB(xyz, SPACES[name], checker.illuminant, "Bradford", apply_cctf_encoding=True)
    truth = science.XYZ_to_RGB(xyz, "sRGB", checker.illuminant, "Bradford", apply_cctf_encoding=True)
    inside = np.all((truth > 0) & (truth < 1) & (wide > 0) & (wide < 1), axis=1)
    assert inside.sum() >= 22
    top = 2**bits - 1
    pixels = np.round(wide[inside] * top).astype(np.uint8 if bits == 8 else np.uint16).reshape(1, -1, 3)
    got = convert.between_profiles(pixels, profiles.build(name), SRGB, bits)[0] / top
    far = science.delta_E(_lab(truth[inside]), _lab(got), method="CIE 2000")
    assert far.mean() <= (1.0 if bits == 8 else 0.1)
    assert far.max() <= (2.0 if bits == 8 else 0.3)


def test_light_and_dark_skin_of_the_checker() -> None:
    """Published sRGB values 198.5 147.2 129.0 and 115.4 80.9 67.6 [lib, colour-science 0.4.7]."""
    for srgb in ((198.5, 147.2, 129.0), (115.4, 80.9, 67.6)):
        adobe = science.RGB_to_RGB(
            np.array(srgb) / 255, "sRGB", "Adobe RGB (1998)", apply_cctf_decoding=True, apply_cctf_encoding=True
        )
        got = convert.between_profiles(_patch(np.round(adobe * 255)), profiles.build("Adobe RGB"), SRGB)[0, 0]
        assert np.abs(got - srgb).max() < 1.2


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(*[st.integers(20, 235)] * 3), min_size=1, max_size=40), st.sampled_from(sorted(SPACES)))
def test_into_wider_spaces_and_back(values: list[tuple[int, int, int]], name: str) -> None:
    pixels = _patch(values)
    there = convert.between_profiles(pixels, SRGB, profiles.build(name), 16)
    back = convert.between_profiles(there, profiles.build(name), SRGB, 8)
    assert np.abs(back.astype(int) - pixels).max() <= 1


# --- profiles -------------------------------------------------------------------------------------------


def test_our_profiles_mean_what_others_mean() -> None:
    adobe = outside.profile("colord/AdobeRGB1998.icc")
    prophoto = outside.profile("colord/ProPhotoRGB.icc")
    steps = np.linspace(16, 255, 9).round().astype(np.uint8)
    grid = np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(1, -1, 3)
    for other, name in ((adobe, "Adobe RGB"), (prophoto, "ProPhoto RGB")):
        one, two = (convert.between_profiles(grid, icc, SRGB, 16) / 65535 for icc in (other, profiles.build(name)))
        assert science.delta_E(_lab(one), _lab(two), method="CIE 2000").max() < 0.3
    assert convert.same_colours(outside.profile("sRGB.icc"), SRGB)
    assert not convert.same_colours(adobe, SRGB)


def test_the_profile_is_honoured_even_a_mad_one() -> None:
    swapped = outside.profile("colord/SwappedRedAndGreen.icc")
    picture = open_picture(saved(painted(), "PNG", icc_profile=swapped))
    srgb = convert.between_profiles(picture.pixels, picture.profile, SRGB)
    expected = painted()[:, :, [1, 0, 2]]
    assert np.abs(srgb.astype(int) - expected).mean() < 3


@pytest.mark.parametrize("name", sorted(SPACES))
def test_colorants_agree_with_colour_science(name: str) -> None:
    """Matrix columns in the profile against colour-science's, adapted to D50 by Bradford (ICC.1)."""
    data = profiles.build(name)
    found = []
    for tag in (b"rXYZ", b"gXYZ", b"bXYZ"):
        (offset,) = struct.unpack_from(">I", data, data.index(tag) + 4)
        found.append(np.array(struct.unpack_from(">3i", data, offset + 8)) / 65536)
    space = science.RGB_COLOURSPACES[SPACES[name]]
    d50 = science.xy_to_XYZ(science.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"])
    adapt = science.adaptation.matrix_chromatic_adaptation_VonKries(
        science.xy_to_XYZ(space.whitepoint), d50, transform="Bradford"
    )
    assert np.abs(np.stack(found, axis=1) - adapt @ space.matrix_RGB_to_XYZ).max() < 6e-4


def test_built_profiles_are_always_the_same_bytes() -> None:
    assert hashlib.sha256(SRGB).hexdigest() == hashlib.sha256(profiles.build.__wrapped__("sRGB")).hexdigest()
    assert len(SRGB) < 1000


def test_an_unknown_profile_name_lists_the_known() -> None:
    with refused(BadProfile, r"“CMYK Press”.*sRGB, Adobe RGB"):
        convert.output_profile("CMYK Press")
    with refused(BadProfile, "needs an RGB profile"):
        convert.output_profile("Gray")


def test_srgb_by_another_name_is_not_converted() -> None:
    other = outside.profile("sRGB.icc")
    pixels = painted()
    assert convert.between_profiles(pixels, other, SRGB) is pixels


# --- 16 bit ---------------------------------------------------------------------------------------------


def test_a_fine_gradient_keeps_its_steps() -> None:
    ramp = np.linspace(0.30, 0.32, 600)
    pixels = np.round(np.stack([ramp, ramp * 0.9, ramp * 0.8], axis=1) * 65535).astype(np.uint16)[None]
    fine = convert.between_profiles(pixels, profiles.build("ProPhoto RGB"), SRGB, 16)
    assert fine.dtype == np.uint16
    assert len(np.unique(fine[0, :, 1])) >= 590
    coarse = convert.between_profiles(convert.depth(pixels, 8), profiles.build("ProPhoto RGB"), SRGB, 8)
    assert len(np.unique(coarse[0, :, 1])) < 12  # what banding would look like


@pytest.mark.parametrize(("source", "target"), [("Adobe RGB", "sRGB"), ("ProPhoto RGB", "sRGB"), ("sRGB", "Adobe RGB")])
def test_sixteen_bits_are_exact_to_half_a_code_value(source: str, target: str) -> None:
    """Against colour-science in double precision, on colours that both spaces hold. What is left comes from
    the four-digit matrices it takes from the standards; its mean is under 0.04 code values."""
    pixels = np.random.default_rng(0).integers(0, 65536, (1, 20_000, 3)).astype(np.uint16)
    with np.errstate(invalid="ignore"):
        exact = science.RGB_to_RGB(
            pixels / 65535, SPACES[source], SPACES[target],
            apply_cctf_decoding=True, apply_cctf_encoding=True, chromatic_adaptation_transform="Bradford",
        )  # fmt: skip
    inside = ((exact > 0.04) & (exact < 0.998)).all(axis=-1)
    assert inside.mean() > 0.1
    got = convert.between_profiles(pixels, profiles.build(source), profiles.build(target), 16) / 65535
    assert np.abs(got - exact)[inside].max() * 255 < 0.5
    assert np.abs(got - exact)[inside].mean() * 255 < 0.04


@pytest.mark.parametrize("shades", [slice(0, 40), slice(0, 256, 5)], ids=["dark", "all"])
@pytest.mark.parametrize(("source", "target", "in_whole_steps"), [
    ("Adobe RGB", "sRGB", True), ("Display P3", "sRGB", True), ("ProPhoto RGB", "sRGB", True),
    ("sRGB", "Display P3", True), ("sRGB", "Adobe RGB", False), ("sRGB", "ProPhoto RGB", False),
])  # fmt: skip
def test_eight_bits_are_rounded_once(source: str, target: str, in_whole_steps: bool, shades: slice) -> None:
    """Half a code value is the rounding itself; against the profiles' own curves and matrices in double precision. A
    target that is a bare gamma is so steep in the shades that whole steps of 16-bit light will not do."""
    steps = np.arange(256, dtype=np.uint8)[shades]
    pixels = np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(len(steps), -1, 3)
    ours, theirs = matrix_shaper.read(profiles.build(source)), matrix_shaper.read(profiles.build(target))
    assert ours is not None
    assert theirs is not None
    assert (matrix_shaper._light_tables_8(ours, theirs) is not None) is in_whole_steps
    light = np.stack([ours.curves[band][pixels[:, :, band].astype(int) * 257] for band in range(3)], axis=-1)
    light = (light @ (np.linalg.inv(theirs.matrix) @ ours.matrix).T).clip(0, 1)
    codes = np.linspace(0, 255, 65536)
    exact = np.stack([np.interp(light[:, :, band], theirs.curves[band], codes) for band in range(3)], axis=-1)
    assert np.abs(convert.between_profiles(pixels, profiles.build(source), profiles.build(target)) - exact).max() < 0.58


@pytest.mark.parametrize("name", ["Adobe RGB", "Display P3", "ProPhoto RGB"])
def test_our_own_sixteen_bit_way_agrees_with_littlecms(name: str) -> None:
    pixels = np.random.default_rng(1).integers(0, 256, (40, 500, 3)).astype(np.uint8)
    by_littlecms = convert._by_pillow(pixels, profiles.build(name), SRGB, "RGB")
    own = convert.between_profiles(pixels, profiles.build(name), SRGB, 16) / 257
    assert np.abs(own - by_littlecms).max() < 1.0


def test_a_profile_with_tables_is_left_to_littlecms() -> None:
    assert matrix_shaper.read(_press_profile()) is None
    assert matrix_shaper.read(b"no profile") is None


def _parametric_srgb() -> bytes:
    """sRGB with parametric curves of type 3 (ICC.1 parametricCurveType), as newer cameras write it."""
    numbers = (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
    curve = b"para\0\0\0\0" + struct.pack(">HH5i", 3, 0, *(round(65536 * number) for number in numbers))
    xyz = [SRGB[struct.unpack_from(">I", SRGB, SRGB.index(tag) + 4)[0] :][:20] for tag in (b"rXYZ", b"gXYZ", b"bXYZ")]
    tags = [(b"desc", profiles._description("sRGB by formula")), (b"cprt", profiles._text("none")),
            (b"wtpt", profiles._s15(np.array([0.9642, 1, 0.8249]))),
            *zip((b"rXYZ", b"gXYZ", b"bXYZ"), xyz, strict=True),
            *((tag, curve) for tag in (b"rTRC", b"gTRC", b"bTRC"))]  # fmt: skip
    return profiles._assemble(b"RGB ", tags)


def test_parametric_curves_mean_the_same_as_sampled_ones() -> None:
    assert convert.same_colours(_parametric_srgb(), SRGB)
    one, other = matrix_shaper.read(_parametric_srgb()), matrix_shaper.read(SRGB)
    assert one is not None
    assert other is not None
    assert np.abs(one.curves - other.curves).max() < 3e-5


def test_sixteen_to_eight_rounds_to_nearest() -> None:
    values = np.arange(65536, dtype=np.uint16).reshape(256, 256, 1).repeat(3, axis=2)
    assert np.abs(convert.depth(values, 8) - values / 257).max() <= 0.5
    eight = np.arange(256, dtype=np.uint8).reshape(1, 256, 1)
    assert np.array_equal(convert.depth(convert.depth(eight, 16), 8), eight)


# --- grey and black and white ---------------------------------------------------------------------------


def _neutral(pixels: np.ndarray) -> float:
    top = 65535 if pixels.dtype == np.uint16 else 255
    return float(np.abs(_lab(pixels.reshape(-1, 3) / top)[:, 1:]).max())


def _grey_ramp() -> np.ndarray:
    return np.arange(256, dtype=np.uint8).reshape(8, 32).repeat(4, axis=0)


@pytest.mark.parametrize("file_format", ["JPEG", "PNG", "TIFF"])
def test_grey_files_stay_neutral(file_format: str) -> None:
    for icc in (b"", profiles.build("Gray")):
        options = {"icc_profile": icc} if icc else {}
        picture = open_picture(saved(_grey_ramp(), file_format, **options))
        assert _neutral(picture.pixels) <= 0.5
        if file_format != "JPEG":
            assert np.abs(picture.pixels[:, :, 0].astype(int) - _grey_ramp()).max() <= 1


def test_a_gamma_profile_of_grey_is_honoured() -> None:
    """Debian's Gray.icc: values must give the lightness the profile's own curve says."""
    icc = outside.profile("Gray.icc")
    (offset,) = struct.unpack_from(">I", icc, icc.index(b"kTRC") + 4)
    count, first = struct.unpack_from(">IH", icc, offset + 8)
    grey = _grey_ramp()
    if count == 1:
        linear = (grey / 255) ** (first / 256)
    else:
        table = np.frombuffer(icc, ">u2", count, offset + 12) / 65535
        linear = np.interp(grey / 255, np.linspace(0, 1, count), table)
    expected = science.cctf_encoding(linear, "sRGB") * 255
    picture = open_picture(saved(grey, "PNG", icc_profile=icc))
    assert not picture.facts.profile_problem
    assert np.abs(picture.pixels[:, :, 1] - expected).max() <= 1
    assert _neutral(picture.pixels) <= 0.5


@pytest.mark.parametrize("name", ["Adobe RGB", "Display P3", "ProPhoto RGB"])
def test_black_and_white_frames_in_colour_files_stay_neutral(name: str) -> None:
    grey = _grey_ramp()[:, :, None].repeat(3, axis=2)
    for bits in (8, 16):
        pixels = convert.between_profiles(convert.depth(grey, bits), profiles.build(name), SRGB, bits)
        assert _neutral(pixels) <= 0.5


def _lightness(y: np.ndarray) -> np.ndarray:
    """CIE L* of Y 0..1 by colour-science."""
    return np.asarray(science.lightness(y * 100, method="CIE 1976"))


def _saturated() -> np.ndarray:
    """Every third step of each band in 16 bit: the corners lie beyond sRGB in every wide space."""
    steps = np.round(np.linspace(0, 65535, 9)).astype(np.uint16)
    return np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(27, 27, 3)


@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize("name", SPACES)
def test_monochrome_keeps_luminance_and_is_neutral(name: str, bits: int) -> None:
    """Y against colour-science's own decoding and matrix, also of colours that no sRGB screen shows."""
    icc = profiles.build(name)
    pixels = convert.depth(_saturated(), bits)
    mono = convert.to_monochrome(pixels, icc)
    assert (mono.shape, mono.dtype) == (pixels.shape, pixels.dtype)
    assert np.ptp(mono.astype(int), axis=2).max() == 0
    # ISO 22028-2 has a straight foot below 0.002; the profiles in use, ours too, are the plain power.
    space = science.RGB_COLOURSPACES[SPACES[name]]
    weights = space.matrix_RGB_to_XYZ[1]
    curves = {"ProPhoto RGB": lambda v: v**1.8}
    decode = curves.get(name, space.cctf_decoding)
    top = 2**bits - 1
    before, after = decode(pixels / top) @ weights, decode(mono[..., 0] / top)
    assert np.abs(_lightness(before) - _lightness(after)).max() < (0.5 if bits == 8 else 0.1)


@pytest.mark.parametrize("name", ["AdobeRGB1998", "WideGamutRGB", "BetaRGB", "ProPhotoRGB", "ECI-RGBv2"])
def test_monochrome_in_profiles_made_by_others_is_within_one_of_lightness(name: str) -> None:
    """Y under the white the profile says it was made for (chad), by numbers of the profile as LittleCMS reads them."""
    icc = outside.profile(f"colord/{name}.icc")
    opened = profiles.opened(icc).profile
    adaptation = np.array(opened.chromatic_adaptation[0])
    columns = np.stack([opened.red_colorant[0], opened.green_colorant[0], opened.blue_colorant[0]], axis=1)
    pixels = _saturated()
    mono = convert.to_monochrome(pixels, icc)
    shaper = matrix_shaper.read(icc)
    assert shaper is not None
    weights = (np.linalg.inv(adaptation) @ columns)[1]
    light = np.stack([shaper.curves[band][pixels[..., band]] for band in range(3)], axis=-1)
    assert np.abs(_lightness(light @ weights) - _lightness(shaper.curves[0][mono[..., 0]])).max() < 1


def test_monochrome_of_a_profile_that_only_littlecms_reads() -> None:
    points = np.round((0.01 + 0.99 * np.linspace(0, 1, 256) ** 2.2) * 65535).astype(">u2")
    curve = b"curv\0\0\0\0" + struct.pack(">I", 256) + points.tobytes()  # a black that is not black
    primaries, white, _ = profiles._SPACES["Adobe RGB"]
    icc = profiles._rgb(profiles._colorants(primaries, white), curve, "A scanner's own", white)
    assert matrix_shaper.read(icc) is None
    pixels = convert.depth(_saturated(), 8)
    lab = ImageCms.createProfile("LAB")

    def lightness(rgb: np.ndarray) -> np.ndarray:
        way = ImageCms.buildTransform(profiles.opened(icc), lab, "RGB", "LAB", ImageCms.Intent.RELATIVE_COLORIMETRIC)
        return np.asarray(way.apply(Image.fromarray(rgb, "RGB")))[..., 0] / 2.55

    mono = convert.to_monochrome(pixels, icc)
    assert np.abs(lightness(pixels) - lightness(mono)).max() < 1
    assert np.ptp(mono.astype(int), axis=2).max() <= 1


# --- CMYK -----------------------------------------------------------------------------------------------

INK_BLACK_L = 12.0


def _ink_lab(ink: np.ndarray) -> np.ndarray:
    """A made-up press, smooth: Lab (D50) of ink 0..1, its black at L* 12."""
    paper = (1 - ink[..., :3]) * (1 - ink[..., 3:])
    xyz = science.RGB_to_XYZ(paper, "sRGB", apply_cctf_decoding=True)
    lab = science.XYZ_to_Lab(xyz)
    lab[..., 0] = INK_BLACK_L + lab[..., 0] * (100 - INK_BLACK_L) / 100
    return lab


def _press_profile() -> bytes:
    """An ICC profile with only an 8-bit A2B table (lut8Type, ICC.1:2001-04), 9 points a side."""
    grid = np.linspace(0, 1, 9)
    ink = np.stack(np.meshgrid(grid, grid, grid, grid, indexing="ij"), axis=-1)
    lab = _ink_lab(ink)
    table = np.stack([lab[..., 0] * 2.55, lab[..., 1] + 128, lab[..., 2] + 128], axis=-1)
    straight = bytes(range(256))
    lut = b"mft1\0\0\0\0" + bytes((4, 3, 9, 0)) + struct.pack(">9i", *(65536 * n for n in (1, 0, 0, 0, 1, 0, 0, 0, 1)))
    lut += straight * 4 + table.clip(0, 255).round().astype(np.uint8).tobytes() + straight * 3
    lut += bytes(-len(lut) % 4)
    tags = [
        (b"desc", profiles._description("Made-up press")),
        (b"cprt", profiles._text("none")),
        (b"wtpt", profiles._s15(np.array([0.9642, 1, 0.8249]))),
        *((tag, lut) for tag in (b"A2B0", b"A2B1", b"A2B2")),
    ]
    data = bytearray(profiles._assemble(b"CMYK", tags))
    data[12:16], data[20:24] = b"scnr", b"Lab "  # an input profile: it has no way back to ink
    return bytes(data)


def _cmyk_file(ink: np.ndarray, icc: bytes) -> bytes:
    out = io.BytesIO()
    image = Image.frombytes("CMYK", ink.shape[1::-1], np.round(ink * 255).astype(np.uint8).tobytes())
    image.save(out, "TIFF", icc_profile=icc)
    return out.getvalue()


def test_cmyk_goes_through_its_profile_with_black_point_compensation() -> None:
    rng = np.random.default_rng(5)
    ink = rng.uniform(0, 0.55, (6, 6, 4))
    ink[0, 0], ink[0, 1] = 0, (0, 0, 0, 1)
    picture = open_picture(_cmyk_file(ink, _press_profile()))
    assert picture.facts.mode == "CMYK"
    assert picture.facts.profile_name == "Made-up press"
    assert picture.profile == SRGB
    pixels = picture.pixels
    assert pixels[0, 0].min() >= 254  # relative colorimetric: paper is white
    assert pixels[0, 1].max() <= 4  # compensated: the press's black is the screen's (uncompensated it is about 33)
    # Black point compensation scales XYZ so that the black goes to zero (ISO 18619) [std, from memory].
    xyz = science.Lab_to_XYZ(_ink_lab(np.round(ink * 255) / 255))
    white = science.Lab_to_XYZ(np.array([100.0, 0, 0]))
    black = science.Lab_to_XYZ(np.array([INK_BLACK_L, 0, 0]))
    expected = science.XYZ_to_Lab((xyz - black) * white / (white - black))
    far = science.delta_E(expected, _lab(pixels / 255), method="CIE 2000")
    assert far.mean() <= 1.0
    assert np.sort(far.ravel())[-3] <= 2.5  # table of 9 points and 8 bits, not the conversion


@pytest.mark.parametrize("adobe", [True, False])
def test_cmyk_without_a_profile_is_plain_arithmetic(adobe: bool) -> None:
    rgb = painted(64, 48)
    if adobe:
        data = saved(rgb, "JPEG", mode="CMYK", quality=98)
        assert b"Adobe" in data[:400]
    else:
        data = saved(rgb, "TIFF", mode="CMYK")
    picture = open_picture(data)
    assert picture.facts.profile_assumed
    assert np.abs(picture.pixels.astype(int) - rgb).mean() < 2.5


def test_adobe_ycck_equals_adobe_cmyk() -> None:
    """An Adobe YCCK file as another encoder writes it (libvips writes CMYK JPEG as YCCK or CMYK)."""
    import pyvips

    rgb = painted(64, 48)
    ink = 255 - np.dstack([rgb, np.full(rgb.shape[:2], 255, np.uint8)])
    image = pyvips.Image.new_from_array(ink).copy(interpretation="cmyk")
    picture = open_picture(image.jpegsave_buffer(Q=95, subsample_mode="off"))
    assert picture.facts.mode == "CMYK"
    assert np.abs(picture.pixels.astype(int) - rgb).mean() < 2.5


CONVERSIONS: dict[str, Callable[[], np.ndarray]] = {
    "8": lambda: convert.between_profiles(painted(), profiles.build("Adobe RGB"), SRGB),
    "16": lambda: convert.between_profiles(painted(), profiles.build("Display P3"), SRGB, 16),
    "mono": lambda: convert.to_monochrome(painted(), SRGB),
}


@pytest.mark.parametrize("name", CONVERSIONS)
def test_the_same_input_gives_the_same_pixels(name: str) -> None:
    assert np.array_equal(CONVERSIONS[name](), CONVERSIONS[name]())


def test_a_profile_named_in_letters_that_do_not_exist_is_still_used() -> None:
    """Found by fuzzing (tests/fuzz opener): a byte over 127 in an ASCII name (ICC.1:2001-04, 6.5.17) comes back from
    LittleCMS as a letter beyond the last one."""
    icc = bytearray(SRGB)
    (count,) = struct.unpack_from(">I", icc, 128)
    at = next(132 + 12 * n for n in range(count) if icc[132 + 12 * n : 136 + 12 * n] == b"desc")
    text = b"Nord\xf4\0"
    name = b"desc\0\0\0\0" + struct.pack(">I", len(text)) + text + bytes(90)
    struct.pack_into(">II", icc, at + 4, len(icc), len(name))
    data = bytes(icc) + name
    data = struct.pack(">I", len(data)) + data[4:]
    assert profiles.examine(data, "RGB") == profiles.ProfileVerdict(data, "unnamed profile")
