from __future__ import annotations

import math
from collections.abc import Sequence

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from galleries.imaging.colour.planes import from_rgb, to_rgb
from galleries.imaging.drawing.lettering import text_mask, writable
from galleries.imaging.drawing.stamp import StampText, clear_zones, stamp, stamp_boxes, stamp_planes
from galleries.imaging.face.faces import Face
from galleries.imaging.framing.crops import propose
from galleries.imaging.framing.geometry import Ratio, Rect, fit_largest
from tests import outside
from tests.imaging.heads import head
from tests.size_data import SIZES

TEXT = StampText("Studio Ørsted & Lind")
RATIOS = sorted({size.ratio for size in SIZES if size.ratio}, key=lambda r: r.fraction)
READABLE_SHARE = 0.0025  # a whole piece takes at least 1/400 of the crop
READABLE_LENGTH = 0.10  # and a tenth of the crop's shorter side in length


def plain(width: int, height: int, value: int) -> NDArray[np.uint8]:
    return np.full((height, width, 3), value, np.uint8)


def ink(width: int, height: int, faces: Sequence[Face], text: StampText = TEXT) -> NDArray[np.bool_]:
    """Pixels that the stamp changes on mid grey."""
    return (stamp(plain(width, height, 128), text, faces) != 128).any(axis=2)


def whole_pieces(rect: Rect, boxes: list[tuple[int, int, int, int]]) -> list[tuple[int, int, int, int]]:
    return [b for b in boxes if rect.contains(Rect(*b))]


def readable(rect: Rect, boxes: list[tuple[int, int, int, int]]) -> bool:
    for _x, _y, w, h in whole_pieces(rect, boxes):
        if w * h >= READABLE_SHARE * rect.area and max(w, h) >= READABLE_LENGTH * min(rect.width, rect.height):
            return True
    return False


def test_a_picture_itself_stays_as_it_is_however_it_lies_in_memory() -> None:
    picture, locked = plain(600, 400, 90), plain(600, 400, 90)
    copy = stamp(picture, TEXT, [])
    assert (picture == 90).all()
    locked.setflags(write=False)
    assert np.array_equal(stamp(locked, TEXT, []), copy)
    assert (locked == 90).all()
    turned = plain(400, 600, 90).transpose(1, 0, 2)
    assert np.array_equal(stamp(turned, TEXT, []), copy)
    with pytest.raises(ValueError, match="stamp wants uint8"):
        stamp(picture[:, :, 0], TEXT, [])


@pytest.mark.parametrize("size", [(600, 400), (601, 399)])
def test_planes_are_stamped_as_their_rgb_is(size: tuple[int, int]) -> None:
    picture = np.empty((size[1], size[0], 3), np.uint8)
    picture[:] = np.linspace(20, 230, size[0])[None, :, None] * np.array([1.0, 0.8, 0.6])
    planes = from_rgb(picture)
    stamped = stamp_planes(planes, TEXT, [])
    one, other = to_rgb(stamped).astype(int), stamp(picture, TEXT, []).astype(int)
    assert np.abs(one - other).mean() < 1
    assert np.percentile(np.abs(one - other), 99) <= 9  # colour beside a letter's edge has half the samples
    assert np.array_equal(planes.luma, from_rgb(picture).luma)
    grey = to_rgb(stamp_planes(from_rgb(plain(*size, 90)), TEXT, []))
    assert (grey == grey[:, :, :1]).all()


@given(
    st.sampled_from([(1365, 2048), (2048, 1365), (1638, 2048), (2048, 2048), (480, 320)]),
    st.floats(0.3, 0.7), st.floats(0.2, 0.5), st.floats(0.05, 0.25), st.floats(-25, 25), st.sampled_from(RATIOS),
)  # fmt: skip
@settings(max_examples=80, deadline=None)
def test_every_delivery_crop_keeps_a_whole_piece(
    frame: tuple[int, int], at_x: float, at_y: float, size: float, roll: float, ratio: Ratio
) -> None:
    width, height = frame
    face = head(width * at_x, height * at_y, size * min(frame), roll=roll)
    boxes = stamp_boxes(width, height, [face], TEXT)
    assert readable(propose(width, height, face, ratio).rect, boxes)


@pytest.mark.parametrize("ratio", RATIOS, ids=lambda r: f"{r.width}x{r.height}")
@pytest.mark.parametrize("size", [0.02, 0.06, 0.12, 0.2])
@pytest.mark.parametrize("roll", [0, 25])
def test_the_tightest_crop_round_the_face_keeps_a_whole_piece(ratio: Ratio, size: float, roll: float) -> None:
    """Brow to chin and not a pixel more, in every delivery shape: somebody who cuts the stamp away."""
    width, height = 2048, 2048
    face = head(1024, 900, size * 2048, roll=roll)
    x, y, w, h = face.box
    tight = max(w / ratio.width, h / ratio.height)
    cw, ch = math.ceil(tight * ratio.width), math.ceil(tight * ratio.height)
    rect = Rect(int(x + w / 2 - cw / 2), int(y + h / 2 - ch / 2), cw + 1, ch + 1).clamp_to(width, height)
    assert readable(rect, stamp_boxes(width, height, [face], TEXT))


@pytest.mark.parametrize("face", [head(683, 800, 210), head(683, 800, 210, roll=20), head(300, 500, 60)])
def test_eyes_nose_and_mouth_are_untouched(face: Face) -> None:
    changed = ink(1365, 2048, [face])
    y, x = np.mgrid[0:2048, 0:1365]
    for (cx, cy), radius in clear_zones(face):
        assert not changed[np.hypot(x - cx, y - cy) < radius - 6].any()


def test_background_and_torso_are_crossed() -> None:
    changed = ink(1365, 2048, [head(683, 700, 190)])
    assert changed[:250].any()
    assert changed[1150:1500, 300:1050].any()
    for quarter in (changed[:1024, :683], changed[:1024, 683:], changed[1024:, :683], changed[1024:, 683:]):
        assert 0.01 < quarter.mean() < 0.2


@pytest.mark.parametrize("value", [0, 1, 32, 64, 96, 128, 160, 192, 224, 254, 255])
def test_letters_show_on_any_tone(value: int) -> None:
    """Somewhere in every piece the tone moves by at least 30 of 255 code values, lighter or darker."""
    out = stamp(plain(900, 1200, value), TEXT, [head(450, 400, 130)]).astype(int)
    for x, y, w, h in stamp_boxes(900, 1200, [head(450, 400, 130)], TEXT):
        moved = np.abs(out[y : y + h, x : x + w] - value).max(axis=2)
        assert (moved >= 30).mean() > 0.01
        assert moved.max() < 160  # the picture stays visible underneath


def test_the_stamp_looks_the_same_at_any_size() -> None:
    large = stamp(plain(1600, 2400, 128), TEXT, [head(800, 900, 260)])
    small = stamp(plain(400, 600, 128), TEXT, [head(199.625, 224.625, 65)]).astype(float)
    shrunk = cv2.resize(large, (400, 600), interpolation=cv2.INTER_AREA).astype(float)
    one, other = (cv2.GaussianBlur(np.abs(p[:, :, 0] - 128), (0, 0), 1) for p in (shrunk, small))
    assert np.corrcoef(one.ravel(), other.ravel())[0, 1] > 0.9
    assert one.sum() == pytest.approx(other.sum(), rel=0.1)


@pytest.mark.parametrize("ratio", RATIOS, ids=lambda r: f"{r.width}x{r.height}")
def test_without_a_face_any_centred_crop_of_half_the_frame_keeps_a_piece(ratio: Ratio) -> None:
    boxes = stamp_boxes(1365, 2048, [], TEXT)
    assert readable(fit_largest(ratio, Rect(170, 256, 1024, 1536)), boxes)


@pytest.mark.parametrize("name", ["Atelier Zoë Œuvrard", "李小龍攝影", "Фотостудия Нева", "Studio 光 & Søn"])
def test_names_in_other_scripts_are_written(name: str) -> None:
    assert writable(name) == name, outside.MISSING.format("A font of fonts-dejavu-core or fonts-droid-fallback")
    assert name in StampText(name).line
    assert "PROOF" in StampText(name).line
    wide, narrow = text_mask(name, 40), text_mask(name[: len(name) // 2], 40)
    assert wide.shape[1] > narrow.shape[1]
    assert stamp_boxes(900, 1200, [], StampText(name))


def test_what_cannot_be_written_is_left_out() -> None:
    assert StampText("\x00\n \t").line == "PROOF"
    assert StampText("A\nB").line == "A B · PROOF"
    assert len(StampText("x" * 500).line) < 60
    assert StampText("North Light", "for A. Example").small_line == "PROOF · North Light · for A. Example"


def test_the_given_picture_is_not_changed_and_others_are_refused() -> None:
    picture = plain(300, 400, 90)
    stamp(picture, TEXT, [])
    assert (picture == 90).all()
    with pytest.raises(ValueError, match="uint8"):
        stamp(picture.astype(np.uint16), TEXT, [])
    with pytest.raises(ValueError, match="height, width, 3"):
        stamp(picture[:, :, 0], TEXT, [])


@given(st.integers(1, 80), st.integers(1, 80), st.booleans())
@settings(max_examples=20, deadline=None)
def test_tiny_pictures_are_stamped_too(width: int, height: int, known: bool) -> None:
    faces = [head(width / 2, height / 2, max(1.0, min(width, height) / 5))] if known else []
    assert stamp(plain(width, height, 100), TEXT, faces).shape == (height, width, 3)


def test_a_stronger_stamp_covers_the_same_places_and_weighs_more() -> None:
    """The quiet one still changes a mid grey by more than 15 code values (own choice)."""
    face, grey = head(400, 450, 120), plain(800, 1000, 128)
    made = [stamp(grey, StampText("North Light", strength=each), [face]).astype(int) - 128 for each in (0.7, 1.0, 1.3)]
    weights = [np.abs(one).mean() for one in made]
    assert weights[0] < weights[1] < weights[2]
    assert made[0].max() > 15
    assert np.array_equal(made[1], stamp(grey, StampText("North Light"), [face]).astype(int) - 128)
