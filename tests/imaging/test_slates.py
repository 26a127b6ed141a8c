"""Slates are read as they are photographed, and nothing else is taken for one.

The code is that of ISO/IEC 18004: its corners, its white margin and its correction level H are drawn by segno and read
by OpenCV, two programs that know nothing of each other. What happens to a slate before a camera (turned to 40°, out of
focus, four stops of light missing, 80 pixels small, a lamp reflected) is common practice, no source.
"""

from __future__ import annotations

import io
from typing import Any

import cv2
import numpy as np
import pytest
import segno
from PIL import Image

from galleries.imaging import slate_codes, slates
from galleries.imaging.contained import door
from galleries.imaging.slates import Sight, SlateSight
from tests import pictures
from tests.slates import frame_pixels, held

WAYS = ("turned", "out of focus", "low light", "small", "glossy")


def _way(kind: str, chance: Any) -> dict[str, Any]:
    within = chance.uniform
    return {
        "turned": {"side": within(110, 200), "yaw": within(-40, 40), "roll": within(-40, 40)},
        "out of focus": {"side": within(140, 200), "blur": within(1, 2), "pitch": within(-25, 25)},
        "low light": {"side": within(110, 200), "light": within(0.06, 0.25), "noise": within(2, 4)},
        "small": {"side": 80, "yaw": within(-10, 10), "roll": within(-40, 40)},
        "glossy": {"side": within(140, 200), "glare": within(0.6, 1.2), "yaw": within(-25, 25)},
    }[kind]


def test_a_hundred_slates_none_read_wrong_and_hardly_one_not_at_all() -> None:
    chance = np.random.default_rng(1804)
    right, wrong = 0, []
    for number in range(100):
        kind, code = WAYS[number % len(WAYS)], slate_codes.new_code()
        way = _way(kind, chance)
        seen = slates.look_for(held(frame_pixels(number % 2), code, **way, chance=chance))
        right += seen == SlateSight(Sight.READ, code)
        if seen.code not in {"", code}:
            wrong.append((kind, way, seen))
    assert wrong == []
    assert right >= 98


def test_frames_without_a_slate_show_none() -> None:
    for index in range(4):
        assert slates.look_for(frame_pixels(index)) == SlateSight(Sight.NONE)


@pytest.mark.parametrize(
    ("corners", "is_square"),
    [
        ([[0, 0], [100, 0], [100, 100], [0, 100]], True),
        ([[0, 0], [77, 14], [70, 110], [0, 100]], True),  # turned by about 40 degrees
        ([[0, 0], [713, 10], [700, 500], [2, 3]], False),  # seen in hair and a jumper, of painted frames of 1.5 MP
        ([[0, 0], [302, 0], [330, 1162], [0, 1100]], False),
        ([[0, 0], [100, 100], [100, 0], [0, 100]], False),  # crossed
    ],
)
def test_what_is_suspected_of_a_code_may_be_a_square_that_is_held_up(corners: list[list[int]], is_square: bool) -> None:
    assert slates._may_be_square(np.array(corners, np.float32)) == is_square


def test_a_code_of_something_else_is_no_slate_and_does_not_hide_one() -> None:
    frame = held(frame_pixels(0), "HTTPS://POSTER.EXAMPLE/")
    assert slates.look_for(frame) == SlateSight(Sight.NONE)
    code = slate_codes.new_code()
    both = np.hstack([frame, held(frame_pixels(0), code)])
    assert slates.look_for(both) == SlateSight(Sight.READ, code)


def test_a_code_that_cannot_be_read_is_said_to_be_one() -> None:
    frame = held(frame_pixels(0), slate_codes.new_code(), side=200)
    tall, wide = frame.shape[:2]
    middle = (wide // 2, int(tall * 0.4 + 0.13 * 1.45 * 1.32 * 200))
    thumb = cv2.ellipse(frame.copy(), (middle, (100, 120), 0), (90, 60, 50), -1)
    assert slates.look_for(thumb) == SlateSight(Sight.UNREAD)


@pytest.mark.parametrize("text", ["", "SL", "SLABC", "SL" + "0" * 18, "XX" + "A" * 18, "SL" + "A" * 19])
def test_only_what_has_the_form_of_a_code_is_one(text: str) -> None:
    assert not slate_codes.is_code(text)


def test_a_new_code_fits_the_smallest_version_that_holds_it_at_level_h() -> None:
    """Table 7 of ISO/IEC 18004 (from memory): version 2-H holds 20 alphanumeric signs."""
    codes = {slate_codes.new_code() for _time in range(200)}
    assert len(codes) == 200
    assert all(slate_codes.is_code(code) for code in codes)
    assert segno.make(next(iter(codes)), error="h", boost_error=False).designator == "2-H"


def test_the_contained_child_looks_at_the_file_and_makes_its_picture() -> None:
    code, out = slate_codes.new_code(), io.BytesIO()
    Image.fromarray(held(frame_pixels(0), code)).save(out, "JPEG", quality=90)
    view = door.look_for_slate(out.getvalue(), 480)
    assert view.seen == SlateSight(Sight.READ, code)
    with Image.open(io.BytesIO(view.plain)) as picture:
        assert max(picture.size) == 480
    assert door.look_for_slate(pictures.camera_file(0)[1], 480).seen == SlateSight(Sight.NONE)
