"""Curves and matrices of profiles, tag by tag, after ICC.1 (curveType, parametricCurveType, XYZType) [from memory].

Built profiles are read back by LittleCMS and against colour-science; hand-laid ones are damaged tag by tag.
"""

from __future__ import annotations

import hashlib
import struct

import colour
import numpy as np
import pytest

from galleries.imaging.codes import Code
from galleries.imaging.colour import convert, matrix_shaper, profiles
from galleries.imaging.errors import BadProfile

X = np.linspace(0, 1, 65536)


def curv(*points: int) -> bytes:
    return b"curv\0\0\0\0" + struct.pack(f">I{len(points)}H", len(points), *points)


def para(kind: int, *values: float) -> bytes:
    fixed = [round(value * 65536) for value in values]
    return b"para\0\0\0\0" + struct.pack(f">HH{len(fixed)}i", kind, 0, *fixed)


def xyz(*values: float) -> bytes:
    return b"XYZ \0\0\0\0" + struct.pack(">3i", *(round(value * 65536) for value in values))


# Curves


def test_no_points_are_the_identity_and_one_is_a_gamma() -> None:
    """ICC.1, curveType: a count of 0 is the identity, of 1 a gamma as u8Fixed8Number."""
    assert np.array_equal(matrix_shaper._curve(curv()), X)
    assert np.allclose(matrix_shaper._curve(curv(563)), X ** (563 / 256))
    assert np.allclose(matrix_shaper._curve(curv(256)), X)


def test_points_are_joined_by_straight_lines() -> None:
    found = matrix_shaper._curve(curv(0, 16384, 65535))
    assert found is not None
    assert found[[0, 65535]] == pytest.approx([0, 1])
    assert np.interp(0.5, X, found) == pytest.approx(16384 / 65535, abs=2e-5)
    assert np.interp(0.25, X, found) == pytest.approx(8192 / 65535, abs=2e-5)
    assert np.interp(0.75, X, found) == pytest.approx((16384 + 65535) / 2 / 65535, abs=2e-5)


# ICC.1 table of parametricCurveType: Y in g, a, b, c, d, e, f; sRGB's curve as type 3 (IEC 61966-2-1).
G = 2.0
CURVES = [
    (para(0, G), X**2),
    (para(1, G, 0.5, 0.25), np.where(X >= -0.5, (0.5 * X + 0.25) ** 2, 0)),
    (para(1, G, 1.0, -0.25), np.where(X >= 0.25, (X - 0.25).clip(0) ** 2, 0)),
    (para(2, G, 1.0, -0.25, 0.125), np.where(X >= 0.25, (X - 0.25).clip(0) ** 2 + 0.125, 0.125)),
    (para(3, G, 0.75, 0.25, 0.125, 0.5), np.where(X >= 0.5, (0.75 * X + 0.25) ** 2, 0.125 * X)),
    (para(4, G, 0.5, 0.25, 0.125, 0.5, 0.25, 0.0625),
     np.where(X >= 0.5, (0.5 * X + 0.25) ** 2 + 0.25, 0.125 * X + 0.0625)),
]  # fmt: skip


@pytest.mark.parametrize(("tag", "expected"), CURVES, ids=["0", "1", "1 late", "2", "3", "4"])
def test_each_parametric_function_is_the_standards(tag: bytes, expected: np.ndarray) -> None:
    found = matrix_shaper._curve(tag)
    assert found is not None
    assert np.abs(found - expected).max() < 1e-9


def test_parametric_values_stay_in_range() -> None:
    found = matrix_shaper._curve(para(2, 1.0, 3.0, -0.5, -0.5))
    assert found is not None
    assert (found.min(), found.max()) == (0, 1)


@pytest.mark.parametrize("tag", [b"", b"mft2" + bytes(40), para(5, 1.0), b"text\0\0\0\0abc"])
def test_other_curves_are_left_to_littlecms(tag: bytes) -> None:
    assert matrix_shaper._curve(tag) is None


def test_the_srgb_curve_is_that_of_colour_science() -> None:
    values = np.linspace(0, 1, 1001)
    ours = profiles.srgb_to_linear(values)
    assert np.abs(ours - colour.models.eotf_sRGB(values)).max() < 1e-6
    assert profiles.srgb_to_linear(np.array([0.0, 0.04045, 1.0])) == pytest.approx([0, 0.04045 / 12.92, 1])


def test_an_inverse_curve_undoes_its_curve() -> None:
    shaper = matrix_shaper.Shaper(np.stack([X**2.2, X, X**1.8]), np.eye(3), np.full(3, 1 / 3))
    inverse = shaper.inverse_curves()
    assert inverse.shape == (3, 65536)
    for row, curve in zip(inverse, shaper.curves, strict=True):
        codes = np.array([0.01, 0.1, 0.5, 0.9, 1.0])
        light = np.interp(codes, X, curve)
        assert np.interp(np.sqrt(light), X, row) == pytest.approx(codes, abs=2e-3)
        assert np.all(np.diff(row) >= 0)


# Whole profiles


def profile(space: bytes = b"RGB ", pcs: bytes = b"XYZ ", **tags: bytes) -> bytes:
    plain: dict[str, bytes] = {
        "rXYZ": xyz(0.4, 0.2, 0.0), "gXYZ": xyz(0.3, 0.7, 0.1), "bXYZ": xyz(0.1, 0.1, 0.7),
        "rTRC": curv(512), "gTRC": curv(512), "bTRC": curv(256),
    }  # fmt: skip
    if space == b"GRAY":
        plain = {"kTRC": curv(512)}
    whole = profiles._assemble(space, [(name.encode(), data) for name, data in {**plain, **tags}.items() if data])
    return whole[:20] + pcs + whole[24:]


def test_curves_and_matrix_stand_where_their_tags_say() -> None:
    found = matrix_shaper.read(profile())
    assert found is not None
    assert found.matrix == pytest.approx(np.array([[0.4, 0.3, 0.1], [0.2, 0.7, 0.1], [0.0, 0.1, 0.7]]), abs=1e-5)
    assert np.allclose(found.curves, np.stack([X**2, X**2, X]))
    grey = matrix_shaper.read(profile(b"GRAY"))
    assert grey is not None
    assert (grey.curves.shape, grey.matrix.tolist()) == ((1, 65536), [[1.0]])


@pytest.mark.parametrize(
    "icc",
    [
        profile(A2B0=b"mft2" + bytes(60)),
        profile(A2B1=b"mft2" + bytes(60)),
        profile(D2B0=b"mpet" + bytes(60)),
        profile(pcs=b"Lab "),
        profile(pcs=b"Luv "),
        profile(rTRC=b""),
        profile(bXYZ=b""),
        profile(bXYZ=xyz(0.4, 0.2, 0.0)),  # two primaries alike: no way back
        profile(gTRC=curv(65535, 0)),  # falls
        profile(gTRC=curv(0, 0)),  # never bright
        profile(gTRC=para(9, 1.0)),
        profile(b"GRAY", kTRC=b""),
        profile()[:140],
        b"",
    ],
)
def test_profiles_that_are_no_curve_and_matrix_are_left_alone(icc: bytes) -> None:
    assert matrix_shaper.read(icc) is None


def test_grey_over_lab_is_still_a_curve() -> None:
    assert matrix_shaper.read(profile(b"GRAY", b"Lab ")) is not None


def test_equal_tags_share_their_bytes_and_all_begin_on_four() -> None:
    """ICC.1 7.3.1: the tag table may point at shared data; each element begins on a four-byte boundary."""
    icc = profiles._assemble(
        b"RGB ", [(b"aaaa", b"text\0\0\0\0abc\0x"), (b"bbbb", b"other data"), (b"cccc", b"other data")]
    )
    assert struct.unpack_from(">I", icc)[0] == len(icc)
    assert len(icc) % 4 == 0
    (count,) = struct.unpack_from(">I", icc, 128)
    entries = [struct.unpack_from(">4sII", icc, 132 + 12 * at) for at in range(count)]
    assert [name for name, _, _ in entries] == [b"aaaa", b"bbbb", b"cccc"]
    assert entries[1][1:] == entries[2][1:]
    assert all(offset % 4 == 0 for _, offset, _ in entries)
    assert [icc[offset : offset + size] for _, offset, size in entries[:2]] == [b"text\0\0\0\0abc\0x", b"other data"]
    assert entries[0][1] == 128 + 4 + 12 * 3


def test_the_header_is_that_of_a_display_profile() -> None:
    """ICC.1:2001-04, 6.1: version 2.1, class mntr, space, PCS XYZ, date, acsp, intent 1, D50."""
    icc = profiles.build("sRGB")
    assert icc[8:12] == bytes.fromhex("02100000")
    assert (icc[12:16], icc[16:20], icc[20:24], icc[36:40]) == (b"mntr", b"RGB ", b"XYZ ", b"acsp")
    assert struct.unpack_from(">6H", icc, 24) == (2025, 1, 1, 0, 0, 0)
    assert struct.unpack_from(">I", icc, 64) == (1,)
    assert np.array(struct.unpack_from(">3i", icc, 68)) / 65536 == pytest.approx([0.9642, 1.0, 0.8249], abs=1e-4)
    assert icc[84:128] == bytes(44)


@pytest.mark.parametrize("name", profiles.NAMES)
def test_littlecms_reads_what_was_built(name: str) -> None:
    opened = profiles.opened(profiles.build(name)).profile
    assert opened.version == pytest.approx(2.1)
    assert opened.xcolor_space.strip() == ("GRAY" if name == "Gray" else "RGB")
    assert opened.profile_description.startswith(name)
    assert "no rights reserved" in opened.copyright


# Verdicts


SRGB = profiles.build("sRGB")


def test_a_usable_profile_is_used_under_its_name() -> None:
    verdict = profiles.examine(profiles.build("Adobe RGB"), "RGB")
    assert (verdict.name, verdict.problem) == ("Adobe RGB (1998) compatible", None)
    assert verdict.icc == profiles.build("Adobe RGB")


@pytest.mark.parametrize(
    ("icc", "space", "code"),
    [
        (b"", "RGB", Code.PROFILE_DAMAGED),
        (b"no profile" * 40, "RGB", Code.PROFILE_DAMAGED),
        (SRGB, "GRAY", Code.PROFILE_SPACE),
        (SRGB, "CMYK", Code.PROFILE_SPACE),
        (profiles.build("Gray"), "RGB", Code.PROFILE_SPACE),
        (profile(rTRC=b""), "RGB", Code.PROFILE_LACKS),
        (bytes(profiles.LARGEST + 1), "RGB", Code.PROFILE_LARGE),
        (bytes(profiles.LARGEST), "RGB", Code.PROFILE_DAMAGED),
    ],
    ids=["empty", "text", "as grey", "as ink", "grey", "no curve", "over the largest", "the largest"],
)
def test_an_unusable_profile_is_told_and_not_used(icc: bytes, space: str, code: Code) -> None:
    verdict = profiles.examine(icc, space)
    assert verdict.icc == b""
    assert verdict.problem is not None
    assert verdict.problem.code == code


def test_a_wrong_space_is_named_with_the_right_one() -> None:
    problem = profiles.examine(SRGB, "CMYK").problem
    assert problem is not None
    assert problem.data == {"name": "sRGB", "actual": "RGB", "space": "CMYK"}


@pytest.mark.parametrize(
    ("text", "printable"), [("sRGB", "sRGB"), (" a\0b\n ", "ab"), ("x" * 90, "x" * 80), ("\x1b[2J", "[2J"), ("", "")]
)
def test_a_profiles_name_is_cut_to_what_can_be_printed(text: str, printable: str) -> None:
    assert profiles._printable(text) == printable


def test_a_fingerprint_is_sha256() -> None:
    assert profiles.fingerprint(SRGB) == hashlib.sha256(SRGB).hexdigest()


# Depth and grey


@pytest.mark.parametrize(
    ("value", "as8"),
    [(0, 0), (128, 0), (129, 1), (257, 1), (385, 1), (386, 2), (32767, 127), (65406, 254), (65407, 255)],
)
def test_sixteen_bits_become_the_nearest_eight(value: int, as8: int) -> None:
    """The nearest of v / 257, halves down (there are none: 257 is odd)."""
    assert as8 == round(value / 257)
    assert convert.depth(np.full((1, 1, 3), value, np.uint16), 8)[0, 0, 0] == as8


def test_depth_goes_up_exactly_and_leaves_what_fits() -> None:
    ramp = np.arange(256, dtype=np.uint8).reshape(16, 16, 1)
    fine = convert.depth(ramp, 16)
    assert fine.dtype == np.uint16
    assert np.array_equal(fine, ramp.astype(np.uint16) * 257)
    assert np.array_equal(convert.depth(fine, 8), ramp)
    assert convert.depth(ramp, 8) is ramp
    assert convert.depth(fine, 16) is fine


def test_more_rows_than_a_strip_are_all_converted() -> None:
    tall = np.repeat(np.arange(1100, dtype=np.uint16).reshape(-1, 1, 1) * 50, 3, axis=2)
    assert np.array_equal(convert.depth(tall, 8), np.round(tall / 257).astype(np.uint8))
    ink = np.zeros((1100, 1, 4), np.uint8)
    ink[:, 0, 3] = np.arange(1100) % 256
    assert np.array_equal(convert.cmyk_to_srgb(ink, b"")[:, 0, 0], 255 - np.arange(1100) % 256)


@pytest.mark.parametrize("bits", [8, 16])
def test_grey_with_the_srgb_curve_keeps_its_values(bits: int) -> None:
    table = convert._grey_table(profiles.build("Gray"), bits)
    assert len(table) == 2**bits
    assert np.abs(table.astype(int) - np.arange(2**bits)).max() <= (0 if bits == 8 else 60)


def test_a_linear_grey_is_lifted_by_the_srgb_curve() -> None:
    """Half of the light is sRGB 188 (IEC 61966-2-1: 0.5 → 0.7354 × 255 = 187.5)."""
    table = convert._grey_table(profile(b"GRAY", kTRC=curv(256)), 8)
    assert table[[0, 255]].tolist() == [0, 255]
    assert abs(int(table[128]) - 188) <= 1


@pytest.mark.parametrize("shape", [(4, 5), (4, 5, 1)])
def test_grey_becomes_three_equal_bands(shape: tuple[int, ...]) -> None:
    grey = np.arange(20, dtype=np.uint8).reshape(shape)
    found = convert.grey_to_srgb(grey, b"")
    assert found.shape == (4, 5, 3)
    assert all(np.array_equal(found[:, :, band], grey.reshape(4, 5)) for band in range(3))


@pytest.mark.parametrize(("rgb", "luminance"), [((255, 0, 0), 0.2126), ((0, 255, 0), 0.7152), ((0, 0, 255), 0.0722)])
def test_black_and_white_keeps_the_luminance_of_each_primary(rgb: tuple[int, int, int], luminance: float) -> None:
    """Rec. 709's weights of the sRGB primaries; the code value is that of the sRGB curve [lib, colour-science]."""
    grey = convert.to_monochrome(np.array([[rgb]], np.uint8), SRGB)[0, 0]
    expected = 255 * float(colour.models.eotf_inverse_sRGB(np.array(luminance)))
    assert set(grey.tolist()) == {grey[0]}
    assert abs(int(grey[0]) - expected) <= 1


def test_only_alike_profiles_are_the_same_colours() -> None:
    assert convert.same_colours(SRGB, SRGB)
    assert not convert.same_colours(SRGB, profiles.build("Display P3"))
    assert not convert.same_colours(profiles.build("Adobe RGB"), SRGB)


def test_a_grey_profile_is_no_profile_of_a_size() -> None:
    with pytest.raises(BadProfile) as caught:
        convert.output_profile("Gray")
    assert caught.value.told.code == Code.PROFILE_GREY
    assert convert.output_profile("Display P3") == profiles.build("Display P3")
