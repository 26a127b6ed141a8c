"""The tracer's own arithmetic: pieces of a JPEG, the prepared pair, signs by key, scales; hand-laid and small."""

from __future__ import annotations

import hashlib
import hmac
import itertools
import math
import struct

import cv2
import numpy as np
import pytest
import scipy.linalg
from hypothesis import given, settings
from hypothesis import strategies as st

from galleries.imaging import codes
from galleries.imaging.errors import Unreadable, Unsupported
from galleries.imaging.tracer import code, pattern, read
from galleries.imaging.tracer.code import SYMBOLS, WORD, Code
from tests.imaging.core_pictures import painted, saved

KEY = b"key"


# Pieces (T.81 B.2.1: RST0 to RST7 end a restart interval; 0xFF 0x00 is a stuffed byte of data) [from memory]


HEAD = b"\xff\xd8" + b"\xff\xdb\x00\x04ab" + b"\xff\xda\x00\x08\x01\x01\x00\x00\x3f\x00"


def test_a_jpeg_is_cut_behind_each_restart_marker() -> None:
    body = [b"one\xff\x00\xff\xd0", b"two\xff\xd1", b"\xff\xd7", b"end\xff\xd9"]
    head, pieces = pattern._pieces(HEAD + b"".join(body))
    assert head == HEAD
    assert pieces == body


def test_markers_of_the_head_are_no_pieces() -> None:
    head = b"\xff\xd8\xff\xfe\x00\x06\xff\xd0\xff\xd1" + HEAD[2:]
    assert pattern._pieces(head + b"all\xff\xd9") == (head, [b"all\xff\xd9"])


def test_pieces_put_together_are_the_file() -> None:
    for every in (1, 3, 10):
        data = saved(painted(), quality=80, restart_marker_blocks=every)
        head, pieces = pattern._pieces(data)
        assert head + b"".join(pieces) == data
        blocks = math.ceil(160 / 16) * math.ceil(120 / 16)  # 4:2:0: 16 × 16 pixels a coded block
        assert len(pieces) == math.ceil(blocks / every)


# The pair


def test_a_prepared_pair_is_read_back() -> None:
    first, second = HEAD + b"first\n", HEAD + b"and the second\n"
    prepared = b"tracer-pair-1\n%d 7 16 8\n" % len(first) + first + second
    assert pattern.is_prepared(prepared)
    assert pattern.pair(prepared) == (first, second, 7, (16, 8))


@pytest.mark.parametrize("data", [b"", b"tracer-pair-1", b"tracer-pair-2\n1 1 8 8\n", HEAD, b" tracer-pair-1\n"])
def test_other_bytes_are_not_prepared(data: bytes) -> None:
    assert not pattern.is_prepared(data)


def test_halves_that_do_not_fit_are_refused() -> None:
    first = HEAD + b"a\xff\xd0b"
    for second in (HEAD + b"a", b"\xff\xd8" + HEAD[8:] + b"a\xff\xd0b"):
        with pytest.raises(Unreadable) as caught:
            pattern.embed(b"tracer-pair-1\n%d 1 8 8\n" % len(first) + first + second, KEY, 1)
        assert caught.value.told.code == codes.Code.TRACER_HALVES


def test_a_copy_is_made_of_one_half_or_the_other_by_its_signs() -> None:
    count = SYMBOLS + 5
    halves = [
        HEAD + b"".join(b"%c%04d\xff\xd0" % (name, at) for at in range(count - 1)) + b"%c" % name for name in b"ab"
    ]
    prepared = b"tracer-pair-1\n%d 1 8 8\n" % len(halves[0]) + halves[0] + halves[1]
    for payload in (0, 77):
        head, pieces = pattern._pieces(pattern.embed(prepared, KEY, payload))
        signs = Code(KEY, count).signs(payload)
        assert head == HEAD
        assert [piece[:1] for piece in pieces] == [b"a" if sign > 0 else b"b" for sign in signs]


@pytest.mark.parametrize(
    ("data", "code_told"),
    [
        (saved(painted(), "PNG"), codes.Code.TRACER_NOT_COLOUR),
        (saved(painted()[:, :, 0]), codes.Code.TRACER_NOT_COLOUR),
        (saved(painted(), mode="CMYK"), codes.Code.TRACER_NOT_COLOUR),
        (saved(painted()), codes.Code.TRACER_TOO_SMALL),
    ],
)
def test_what_cannot_carry_a_tracer_is_named(data: bytes, code_told: str) -> None:
    with pytest.raises(Unsupported) as caught:
        pattern.prepare(data, KEY)
    assert caught.value.told.code == code_told


@pytest.mark.parametrize("data", [b"", b"no picture", saved(painted())[:200]])
def test_what_cannot_be_opened_is_unreadable(data: bytes) -> None:
    with pytest.raises(Unreadable) as caught:
        pattern.prepare(data, KEY)
    assert caught.value.told.code == codes.Code.TRACER_PROOF_UNREADABLE


@pytest.mark.parametrize(("subsampling", "block"), [(0, (8, 8)), (1, (16, 8)), (2, (16, 16))])
def test_a_block_has_the_size_of_its_sampling(subsampling: int, block: tuple[int, int]) -> None:
    """T.81 A.2: a coded block (MCU) is 8 pixels times the largest sampling factor on each axis."""
    data = saved(painted(), quality=81, subsampling=subsampling, dpi=(300, 300), icc_profile=b"profile" * 20)
    rgb, options, mcu = pattern._opened(data)
    assert mcu == block
    assert rgb.shape == (120, 160, 3)
    assert (options["subsampling"], options["dpi"], options["icc_profile"]) == (
        subsampling,
        (300, 300),
        b"profile" * 20,
    )
    assert pattern._opened(saved(painted()))[1]["dpi"] == (72, 72), "a file that says none is for screens"
    again = pattern._opened(pattern._saved(rgb, options))
    assert again[1:] == (options, mcu)


def test_the_pattern_is_the_keys_and_as_strong_as_asked() -> None:
    rgb = painted(256, 200)
    plus, minus = (part.astype(int) for part in pattern._pattern(rgb, KEY))
    assert plus.shape == minus.shape == rgb.shape
    assert not (plus & minus).any(), "each pixel is raised or lowered"
    fine = plus - minus
    assert np.array_equal(fine[:, :, 0], fine[:, :, 2])
    squares = fine[:, :, 0].reshape(50, 4, 64, 4)
    assert (squares == squares[:, :1, :, :1]).all(), "elements of four pixels a side"
    assert math.sqrt((fine**2).mean()) == pytest.approx(pattern.STRENGTH, rel=0.05)
    assert abs(np.sign(squares[:, 0, :, 0]).mean()) < 0.1
    other = pattern._pattern(rgb, b"another")[0].astype(int) - pattern._pattern(rgb, b"another")[1]
    assert abs(np.corrcoef(fine.ravel(), other.ravel())[0, 1]) < 0.06


# The code


@given(st.integers(0, 2**32 - 1), st.integers(0, 3))
def test_a_round_is_an_hmac_of_number_and_half(half: int, number: int) -> None:
    message = b"tracer round " + str(number).encode() + struct.pack(">I", half)
    assert code._round(KEY, number, half) == struct.unpack(">I", hmac.new(KEY, message, hashlib.sha256).digest()[:4])[0]


@given(st.integers(0, 2**64 - 1))
def test_the_permutation_is_a_feistel_network_of_four_rounds(word: int) -> None:
    """Luby and Rackoff 1988: (L, R) becomes (R, L xor f(R)), four times [from memory]."""
    left, right = divmod(word, 2**32)
    for number in range(4):
        left, right = right, left ^ code._round(KEY, number, right)
    assert code._permuted(KEY, word) == left * 2**32 + right


def test_signs_are_plus_and_minus_one_and_the_keys_alone() -> None:
    one, again, other = Code(KEY, 2500), Code(KEY, 2500), Code(b"other", 2500)
    assert set(one.signs(5)) == {-1.0, 1.0}
    assert np.array_equal(one.signs(5), again.signs(5))
    assert abs(one.signs(5) @ other.signs(5)) < 0.1 * 2500
    assert abs(one.signs(5).mean()) < 0.1


def test_every_sign_of_every_word_has_its_place() -> None:
    assert sorted(Code(KEY, SYMBOLS).where) == list(range(SYMBOLS))
    counts = np.bincount(Code(KEY, 2 * SYMBOLS + 3).where, minlength=SYMBOLS)
    assert sorted(set(counts)) == [2, 3]
    assert (counts == 3).sum() == 3


def test_words_of_a_block_are_orthogonal() -> None:
    """Hadamard 1893: rows of the matrix are ±1 and their products vanish."""
    matrix = code._HADAMARD
    assert np.array_equal(matrix @ matrix.T, WORD * np.eye(WORD))
    assert np.array_equal(matrix, scipy.linalg.hadamard(WORD)), "another order would unread every copy handed out"


@settings(max_examples=8)
@given(st.integers(0, 2**32 - 1))
def test_a_payload_without_noise_is_heard_alone_and_whole(payload: int) -> None:
    reader = Code(KEY, SYMBOLS)
    signs = reader.signs(payload)
    assert reader._likely(signs) == [payload]
    match = reader._judge(payload, 10, signs, np.ones(SYMBOLS))
    assert (match.payload, match.strength) == (payload, 1.0)
    assert match.z == pytest.approx(math.sqrt(SYMBOLS))
    against = reader._judge(payload, 10, -signs, np.ones(SYMBOLS))
    assert (against.strength, against.chance) == (-1.0, 1.0)


def test_silence_has_no_strength_and_every_chance() -> None:
    reader = Code(KEY, SYMBOLS)
    match = reader._judge(3, 1, np.zeros(SYMBOLS), np.zeros(SYMBOLS))
    assert (match.strength, match.z, match.chance) == (0.0, 0.0, 1.0)
    assert reader.listen(np.zeros(SYMBOLS), np.zeros(SYMBOLS), [3]) == []


def test_a_chance_is_never_more_than_certain() -> None:
    reader = Code(KEY, SYMBOLS)
    faint = reader.signs(3) * 0.001 + np.random.default_rng(1).normal(0, 1, SYMBOLS)
    assert reader._judge(3, 2**32, faint, np.ones(SYMBOLS)).chance <= 1.0


def test_only_bytes_whose_redundancy_fits_make_a_payload() -> None:
    reader = Code(KEY, SYMBOLS)
    word = code._permuted(KEY, 4711 << 32)
    right = [word >> 8 * block & 255 for block in range(8)]
    wrong = [byte ^ 1 for byte in right]
    assert reader._fitting([[byte] for byte in right]) == [4711]
    assert reader._fitting([[byte] for byte in wrong]) == []
    assert reader._fitting([list(pair) for pair in zip(wrong, right, strict=True)]) == [4711]


def test_candidates_are_believed_at_a_strength_that_strangers_are_not() -> None:
    reader = Code(KEY, SYMBOLS)
    heard = reader.signs(9) * 0.17 + np.random.default_rng(6).normal(0, 1, SYMBOLS)
    weight = np.ones(SYMBOLS)
    assert reader.listen(heard, weight) == []
    assert [match.payload for match in reader.listen(heard, weight, [8, 9, 10])] == [9]


def test_a_faint_second_copy_is_heard_when_the_first_is_taken_away_whole() -> None:
    """Places weigh differently: what the first copy explains of each is its sign times that place's weight."""
    reader = Code(KEY, SYMBOLS)
    weight = np.random.default_rng(8).uniform(0.2, 3.0, SYMBOLS)
    mixed = (reader.signs(123_456) + 0.05 * reader.signs(654_321)) * weight
    assert [match.payload for match in reader.listen(mixed, weight)] == [123_456, 654_321]


# Scales


@pytest.mark.parametrize("scale", [0.25, 0.5, 1.0, 3.0])
def test_a_copys_scale_is_its_pixels_per_pixel_of_the_proof(scale: float) -> None:
    placed = np.diag([1 / scale, 1 / scale, 1.0])
    assert read._scale(placed, np.zeros((40, 60), np.float32)) == pytest.approx(scale)
    turn = math.radians(30)
    turned = placed @ np.array([[math.cos(turn), -math.sin(turn), 5], [math.sin(turn), math.cos(turn), 9], [0, 0, 1]])
    assert read._scale(turned, np.zeros((40, 60), np.float32)) == pytest.approx(scale)
    assert read._scale(placed @ np.diag([-1.0, 1, 1]), np.zeros((40, 60), np.float32)) == pytest.approx(scale)


def test_scale_is_that_of_the_copys_middle() -> None:
    """A homography stretches more to one side: the middle counts."""
    placed = np.array([[1, 0, 0], [0, 1, 0], [0.002, 0, 1]], np.float64)
    wide = read._scale(placed, np.zeros((40, 100), np.float32))
    assert wide == pytest.approx((1 + 0.002 * 50) ** 1.5, rel=0.01)


@pytest.mark.parametrize(("x", "y"), [(2, 2), (4, 0.5)])
def test_a_zoom_maps_pixel_middles_as_opencv_resizes(x: float, y: float) -> None:
    picture = np.random.default_rng(5).random((16, 24), np.float32)
    size = (round(24 * x), round(16 * y))
    resized = cv2.resize(picture, size, interpolation=cv2.INTER_LINEAR)
    warped = cv2.warpPerspective(
        picture, read._zoom(x, y), size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    assert np.abs(resized - warped)[2:-2, 4:-4].max() < 0.05


@pytest.mark.parametrize(
    ("shape", "side", "expected"),
    [
        ((100, 200), 100, (50, 100)),
        ((100, 200), 200, (100, 200)),
        ((100, 200), 300, (100, 200)),
        ((9, 900), 90, (8, 90)),
    ],
)
def test_pictures_are_shrunk_to_a_long_side_and_never_enlarged(
    shape: tuple[int, int], side: int, expected: tuple[int, int]
) -> None:
    assert read._shrunk(np.zeros(shape, np.float32), side).shape == expected


@pytest.mark.parametrize(
    ("shape", "expected"), [((100, 200), (400, 800)), ((800, 20), (800, 20)), ((900, 900), (900, 900))]
)
def test_tiny_pictures_are_enlarged(shape: tuple[int, int], expected: tuple[int, int]) -> None:
    assert read._enlarged(np.zeros(shape, np.float32)).shape == expected


def test_pieces_follow_the_blocks_of_the_proof() -> None:
    class Known:
        mean = np.zeros((32, 64), np.float32)
        mcu = (16, 16)
        piece = np.arange(8).reshape(2, 4)

    inside, piece = read._pieces(np.eye(3), Known.mean, Known)  # type: ignore[arg-type]
    for row, column in itertools.product(range(2), range(4)):
        block = (slice(row * 16 + 4, row * 16 + 12), slice(column * 16 + 4, column * 16 + 12))
        assert (piece[block] == row * 4 + column).all()
    assert inside[2:-2, 2:-2].all()
    assert not inside[:2].any()
    assert not inside[-2:].any()
    assert not inside[:, :2].any()
    assert not inside[:, -2:].any()
