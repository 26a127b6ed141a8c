from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from galleries.imaging.codes import Code
from galleries.imaging.face.faces import Face, find_faces
from galleries.imaging.framing.crops import (
    EYE_LINE,
    HEADROOM,
    CropProposal,
    head_shares,
    propose,
    warnings_for,
)
from galleries.imaging.framing.geometry import Ratio, Rect, from_turned, to_turned, turned_inside
from galleries.told import told
from tests import outside
from tests.benchmarks.eyes import portraits
from tests.imaging.heads import head, mirrored
from tests.size_data import BY_SLUG, SIZES
from tests.telling import sentence_of

RATIOS = sorted({size.ratio for size in SIZES if size.ratio}, key=lambda r: r.fraction)
SHAPES = st.one_of(
    st.sampled_from(RATIOS),
    st.tuples(st.integers(1, 64), st.integers(1, 64))
    .filter(lambda p: 9 / 16 <= p[0] / p[1] <= 16 / 9)
    .map(lambda p: Ratio(*p)),
)


@st.composite
def frames_with_faces(draw: st.DrawFn) -> tuple[int, int, Face]:
    width, height = draw(st.integers(300, 7000)), draw(st.integers(300, 7000))
    d = draw(st.floats(0.02, 0.4)) * min(width, height)
    x, y = draw(st.floats(0.05, 0.95)) * width, draw(st.floats(0.05, 0.95)) * height
    face = head(x, y, d, roll=draw(st.floats(-30, 30)), yaw=draw(st.floats(-1, 1)), hair=draw(st.floats(-0.1, 0.6)))
    return width, height, face


def shares(proposal: CropProposal, face: Face) -> tuple[float, float, float]:
    """Eye line, headroom and head as shares of the crop's height, straight from the points."""
    rect = proposal.rect
    return (
        (face.eye_middle[1] + 0.5 - rect.y) / rect.height,
        (face.crown_y + 0.5 - rect.y) / rect.height,
        (face.menton[1] - face.crown_y) / rect.height,
    )


def keeps_rules(rect: Rect, face: Face, ratio: Ratio, slack: float = 0.0) -> bool:
    eye, room, size = shares(CropProposal(rect, 0.0, ()), face)
    least, most = head_shares(ratio)
    return (
        EYE_LINE[0] - slack <= eye <= EYE_LINE[1] + slack
        and HEADROOM[0] - slack <= room <= HEADROOM[1] + slack
        and least - slack <= size <= most + slack
        and rect.x <= face.box[0]
        and face.box[0] + face.box[2] <= rect.right
    )


@given(frames_with_faces(), SHAPES)
@settings(max_examples=120, deadline=None)
def test_inside_the_frame_and_of_the_exact_shape(case: tuple[int, int, Face], ratio: Ratio) -> None:
    width, height, face = case
    rect = propose(width, height, face, ratio).rect
    assert rect.inside(width, height)
    step_is_fine = max(ratio.width, ratio.height) <= 0.02 * min(width, height)
    if step_is_fine:
        assert rect.width * ratio.height == rect.height * ratio.width
    else:
        assert ratio.matches(rect)


@given(frames_with_faces(), SHAPES)
@settings(max_examples=120, deadline=None)
def test_the_chin_is_never_cut_where_the_frame_holds_it(case: tuple[int, int, Face], ratio: Ratio) -> None:
    width, height, face = case
    if face.menton[1] + 0.5 > height:
        return
    assert face.menton[1] + 0.5 <= propose(width, height, face, ratio).rect.bottom + 0.5


@given(frames_with_faces(), SHAPES)
@settings(max_examples=60, deadline=None)
def test_levelled_crops_stay_inside_and_level_the_eyes(case: tuple[int, int, Face], ratio: Ratio) -> None:
    width, height, face = case
    found = propose(width, height, face, ratio, level=True)
    if not turned_inside(found.rect, found.tilt_deg, width, height):
        # nothing of this shape fits when turned: the eyes lie too close to the frame's edge
        assert found.rect.inside(width, height)
        return
    eyes = [to_turned(found.rect, found.tilt_deg, (p[0] + 0.5, p[1] + 0.5)) for p in (face.right_eye, face.left_eye)]
    assert eyes[0][1] == pytest.approx(eyes[1][1], abs=0.01)
    for eye, seen in zip(eyes, (face.right_eye, face.left_eye), strict=True):
        back = from_turned(found.rect, found.tilt_deg, eye)
        assert back == pytest.approx((seen[0] + 0.5, seen[1] + 0.5), abs=1e-6)


@given(st.integers(60, 220), st.floats(-0.1, 0.5), SHAPES)
@settings(max_examples=80, deadline=None)
def test_a_roomy_frame_keeps_every_rule(d: int, hair: float, ratio: Ratio) -> None:
    face = head(3000, 2400, d, hair=hair)
    found = propose(6000, 6000, face, ratio)
    eye, room, size = shares(found, face)
    slack = 0.006 + 2 * max(1, ratio.height / 2) / found.rect.height
    assert EYE_LINE[0] - slack <= eye <= EYE_LINE[1] + slack
    assert HEADROOM[0] - slack <= room <= HEADROOM[1] + slack
    least, most = head_shares(ratio)
    # in wide shapes the eye line and headroom set the head's size; they come first
    assert least - 0.08 <= size <= most + 0.08
    assert abs(found.rect.centre[0] - 3000.5) <= 1 + 0.01 * found.rect.width


@given(st.integers(250, 900), st.integers(250, 900), st.floats(0.35, 0.65), st.floats(0.25, 0.6), st.floats(0.08, 0.16))
@settings(max_examples=40, deadline=None)
def test_no_crop_that_keeps_the_rules_is_nearer_to_their_middle(
    w: int, h: int, at_x: float, at_y: float, size: float
) -> None:
    """Every position of every 4:5 is tried one by one; a step of the shape and a pixel of place are forgiven."""
    face, ratio = head(w * at_x, h * at_y, size * min(w, h)), Ratio(4, 5)
    proposal = propose(w, h, face, ratio).rect
    rules = np.array([EYE_LINE, HEADROOM, head_shares(ratio)])

    def off_middle(tops: np.ndarray, height: int) -> np.ndarray:
        """The sum of squares of the ways to the middles, in halves of the rules; infinite where one is broken."""
        eye, room = ((y + 0.5 - tops) / height for y in (face.eye_middle[1], face.crown_y))
        measures = np.stack([eye, room, np.full(len(tops), (face.menton[1] - face.crown_y) / height)])
        ways = (measures - rules.mean(axis=1)[:, None]) / (np.diff(rules) / 2)
        return np.where(np.abs(ways).max(axis=0) <= 1, np.square(ways).sum(axis=0), np.inf)

    best = math.inf
    for k in range(1, min(w // 4, h // 5) + 1):
        x = min(max(0, round(face.eye_middle[0] - 2 * k)), w - 4 * k)
        centred = abs((face.eye_middle[0] + 0.5 - x) / (4 * k) - 0.5) < 0.01
        if centred and x <= face.box[0] and face.box[0] + face.box[2] <= x + 4 * k:
            best = min(best, off_middle(np.arange(h - 5 * k + 1), 5 * k).min())
    if best < math.inf:
        assert keeps_rules(proposal, face, ratio, 0.006)
        assert off_middle(np.array([proposal.y]), proposal.height)[0] <= best + 0.1, (proposal, best)


def test_real_heads_stand_well_inside_the_rules() -> None:
    """Four portraits as if the wall went on round them (../shared: Face Research Lab London Set, DeBruine and Jones,
    CC BY 4.0)."""
    for name, rgb, _marks in list(portraits(outside.shared("portraits")))[4:17:4]:
        face = find_faces(rgb).face
        assert face is not None
        face = face.moved(500, 500)
        measures = shares(propose(2350, 2350, face, Ratio(4, 5)), face)
        for value, (least, most) in zip(measures, (EYE_LINE, HEADROOM, head_shares(Ratio(4, 5))), strict=True):
            assert abs(value - (least + most) / 2) < 0.4 * (most - least), (name, measures)


@pytest.mark.parametrize(("d", "code"), [(420, Code.TIGHT), (60, None)])
def test_a_head_a_little_too_large_is_said(d: int, code: Code | None) -> None:
    """A head of 1,535 px in a frame of 2,500: 0.614, where 0.60 is the most."""
    face = head(1000, 1090, d)
    codes = {reason.code for reason in propose(2000, 2500, face, Ratio(4, 5)).reasons}
    assert codes & {Code.TIGHT, Code.LOOSE} == ({code} if code else set())


def test_a_crop_keeps_its_sizes_pixels_where_the_rules_allow_it() -> None:
    """The middle of all rules is a crop of 2,870 px here; the loosest one that keeps them has 3,560."""
    face, ratio = head(2000, 2300, 420), Ratio(4, 5)
    free, small, print_size, poster = (
        propose(4000, 6000, face, ratio, out_height=height).rect for height in (0, 1500, 3000, 9000)
    )
    assert free == small
    assert free.height < 3000 <= print_size.height < 3050
    assert keeps_rules(print_size, face, ratio)
    assert keeps_rules(poster, face, ratio, 0.006)


@given(frames_with_faces(), SHAPES)
@settings(max_examples=40, deadline=None)
def test_a_mirrored_frame_gives_the_mirrored_crop(case: tuple[int, int, Face], ratio: Ratio) -> None:
    width, height, face = case
    one, other = propose(width, height, face, ratio).rect, propose(width, height, mirrored(face, width), ratio).rect
    step = max(4, ratio.width, width // 100)
    assert abs(other.width - one.width) <= step
    assert abs((width - other.right) - one.x) <= 2 * step


@pytest.mark.parametrize("size", [s for s in SIZES if s.ratio], ids=lambda s: s.slug)
def test_every_delivery_size_of_an_ordinary_portrait(size) -> None:
    face = head(2000, 2300, 420)
    found = propose(4000, 6000, face, size.ratio)
    assert found.rect.inside(4000, 6000)
    assert size.ratio.matches(found.rect)
    assert found.rect.y < face.crown_y or size.ratio.fraction > 1
    assert found.rect.bottom > face.menton[1]
    codes = {w.code for w in warnings_for(found.rect, (4000, 6000), face, size)}
    assert not codes & {Code.OUTSIDE, Code.SHAPE, Code.CHIN_CUT, Code.SIDE_CUT}


def test_the_ratio_with_bleed_is_exact_in_steps_of_33_to_41() -> None:
    size = BY_SLUG["print-8x10-bleed"]
    assert size.ratio == Ratio(33, 41)
    rect = propose(4000, 6000, head(2000, 2300, 420), size.ratio).rect
    assert (rect.width % 33, rect.height % 41) == (0, 0)
    assert rect.width // 33 == rect.height // 41


def test_look_room_goes_to_the_side_looked_to() -> None:
    face = head(3000, 2000, 200, yaw=0.6)
    found = propose(6000, 4000, face, Ratio(4, 5))
    assert found.rect.right - 3000 > 3000 - found.rect.x
    assert Code.ROOM_RIGHT in {reason.code for reason in found.reasons}


@pytest.mark.parametrize(
    ("face", "ratio", "words"),
    [
        (head(300, 400, 120), Ratio(16, 9), "crown (estimated) is cut"),
        (head(300, 800, 150), Ratio(4, 5), "chin is cut"),
        (head(110, 400, 90), Ratio(16, 9), "off the middle"),
        (head(300, 60, 60, hair=0.5), Ratio(4, 5), "outside the frame"),
    ],
    ids=["too wide a shape", "chin under the edge", "at the side", "crown over the edge"],
)
def test_a_frame_that_cannot_give_it_says_why(face: Face, ratio: Ratio, words: str) -> None:
    found = propose(600, 900, face, ratio)
    assert found.rect.inside(600, 900)
    assert any(words in sentence_of(reason) for reason in found.reasons[1:])
    assert face.menton[1] > 900 or found.rect.bottom > face.menton[1]


def test_no_face_is_the_middle_of_the_upper_part() -> None:
    found = propose(4000, 6000, None, Ratio(4, 5))
    assert found.rect == Rect(0, 250, 4000, 5000)
    assert found.reasons == (told(Code.MIDDLE),)


def test_the_whole_frame_is_not_cropped() -> None:
    assert propose(4000, 6000, None, None).rect == Rect(0, 0, 4000, 6000)


def test_warnings_are_arithmetic() -> None:
    face, size = head(2000, 2300, 420), BY_SLUG["print-8x10"]
    good = propose(4000, 6000, face, size.ratio, out_height=size.out_height).rect
    assert [w.code for w in warnings_for(good, (4000, 6000), face, size)] == []
    small = Rect(good.x + 500, good.y, 1200, 1500)
    found = {w.code: sentence_of(w) for w in warnings_for(small, (4000, 6000), face, size)}
    assert "enlarged 2.00 times" in found[Code.TO_ENLARGE]
    assert "150 ppi" in found[Code.FEW_PPI]
    assert Code.CHIN_CUT in found
    assert {Code.OUTSIDE, Code.SHAPE} <= {
        w.code for w in warnings_for(Rect(3900, 0, 800, 900), (4000, 6000), face, size)
    }
    assert Code.FACE_NOT_KNOWN in {w.code for w in warnings_for(good, (4000, 6000), None, size)}


def test_the_bleed_is_no_room_for_the_chin() -> None:
    face, size = head(2000, 2300, 420), BY_SLUG["print-8x10-bleed"]
    bottom = round(face.menton[1]) + 20  # 20 px under the chin, of which the bleed takes more
    rect = Rect(600, bottom - 41 * 60, 33 * 60, 41 * 60)
    assert rect.bottom > face.menton[1]
    assert Code.CHIN_CUT in {w.code for w in warnings_for(rect, (4000, 6000), face, size)}


def test_numbers_of_identity_photographs() -> None:
    """Arithmetic only, no taste. ICAO Doc 9303: crown to chin 70 to 80 % of the height [secondary source];
    ISO/IEC 29794-5 as coded in BSI's OFIQ: eye midpoint to chin is ideally 0.45 of the height [std, code]."""
    face = head(1000, 1000, 200, hair=0.0)
    below = face.menton[1] - face.eye_middle[1]
    assert below == pytest.approx(340)
    icao = Rect(400, 600, 720, 900)
    sentences = {w.code: sentence_of(w) for w in warnings_for(icao, (2000, 2000), face, BY_SLUG["casting-4x5"])}
    assert (face.menton[1] - face.crown_y) / icao.height == pytest.approx(0.7556, abs=1e-4)
    assert sentences[Code.HEAD_LARGE] == "The head takes 76 % of the height."
    ofiq = Rect(0, 0, round(below / 0.45 * 0.8), round(below / 0.45))
    assert below / ofiq.height == pytest.approx(0.45, abs=0.001)
    assert head_shares(Ratio(4, 5)) == (0.40, 0.60)
