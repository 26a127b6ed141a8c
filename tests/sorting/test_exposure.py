"""Frames that got less light are brought up before anything is compared; what only looks like it is left alone."""

from __future__ import annotations

import io
from dataclasses import replace

import colour
import numpy as np
import pytest
from PIL import Image

from galleries.imaging.recipes import read_frame
from galleries.sorting.clocks import streams
from galleries.sorting.exposure import brighter, levelled
from galleries.sorting.frames import FrameNumbers
from galleries.sorting.looks import propose_looks
from tests import outside
from tests.sorting.other_kinds import of_other_kind
from tests.sorting.sittings import of_kind, sitting
from tests.sorting.test_looks import GREY, NAVY, RED, WHITE, block, firsts

FACE = 58.0


def lit(frames: list[FrameNumbers], face: float = FACE) -> list[FrameNumbers]:
    return [replace(frame, face=face + 0.3 * (i % 3)) for i, frame in enumerate(frames)]


def untouched(frames: list[FrameNumbers]) -> bool:
    return all(levelled(stream).frames == stream.frames for stream in streams(frames))


@pytest.mark.parametrize("stops", [-0.7, -1.4, -3.0])
@pytest.mark.parametrize("lab", [(52.0, 0.0, 0.0), (64.0, 22.0, 18.0), (74.0, -6.0, -20.0)])
def test_less_light_is_one_factor_of_xyz(stops: float, lab: tuple[float, float, float]) -> None:
    """Beside colour-science 0.4.7, which goes by X, Y and Z (CIE 15)."""
    dark = brighter(FrameNumbers("a", backdrop=lab, wardrobe=lab, face=lab[0]), stops)
    expected = colour.XYZ_to_Lab(colour.Lab_to_XYZ(np.array(lab)) * 2**stops)
    assert dark.backdrop == dark.wardrobe == pytest.approx(tuple(expected), abs=0.3)
    assert dark.face == pytest.approx(expected[0], abs=0.3)


def test_a_portrait_with_less_light_is_read_as_that() -> None:
    """A studio portrait of ../shared, its light 1.4 stops less (IEC 61966-2-1 there and back)."""
    path = next(iter(sorted(outside.shared("portraits").glob("*.jpg"))))
    light = colour.cctf_decoding(np.asarray(Image.open(path).convert("RGB")) / 255.0) * 2**-1.4
    file = io.BytesIO()
    Image.fromarray(np.rint(colour.cctf_encoding(light) * 255).astype(np.uint8)).save(file, "JPEG", quality=92)
    usual, dark = (FrameNumbers.from_reading("", read_frame(source)[1].as_dict()) for source in (path, file.getvalue()))
    expected = brighter(usual, -1.4)
    assert dark.face == pytest.approx(expected.face, abs=1)
    assert dark.backdrop == pytest.approx(expected.backdrop, abs=1)
    assert dark.wardrobe == pytest.approx(expected.wardrobe, abs=1.5)


@pytest.mark.parametrize("stops", [-0.8, -1.5])
def test_a_lamp_turned_down_is_no_look_however_long(stops: float) -> None:
    frames = lit(block(1, 20, 0) + block(21, 110, 110))
    frames[20:] = [brighter(frame, stops) for frame in frames[20:]]
    assert firsts(propose_looks(frames)) == []
    assert firsts(propose_looks([replace(frame, face=None) for frame in frames])) == ["A0021"]  # nothing tells it


def test_a_change_beside_a_lamp_turned_down_is_a_look() -> None:
    frames = lit(block(1, 20, 0) + block(21, 20, 110) + block(41, 20, 220, wardrobe=RED))
    frames[20:40] = [brighter(frame, -1.0) for frame in frames[20:40]]
    assert firsts(propose_looks(frames)) == ["A0041"]


def test_flashes_that_fail_are_no_look_even_with_a_hand_before_the_clothes() -> None:
    frames = lit(block(1, 30, 0))
    frames[12] = replace(frames[12], wardrobe=(60.0, 14.0, 16.0))
    for i, stops in ((5, -2.0), (11, -2.2), (12, -3.1), (13, -2.6), (14, -3.8), (15, -2.9)):
        frames[i] = brighter(frames[i], stops)
    stream = levelled(streams(frames)[0])
    for i in (5, 11, 12, 13, 14, 15):
        assert stream.frames[i].backdrop == pytest.approx(GREY, abs=4)
    assert firsts(propose_looks(frames)) == []


def test_a_head_turned_from_the_lamp_is_left_alone() -> None:
    frames = lit(block(1, 30, 0))
    frames[10:20] = [replace(frame, face=FACE - 12) for frame in frames[10:20]]
    assert untouched(frames)


@pytest.mark.parametrize("worn", [NAVY, (16.0, 0.0, 0.0), WHITE])
def test_a_darker_backdrop_is_another_look(worn: tuple[float, float, float]) -> None:
    frames = lit(block(1, 20, 0, wardrobe=worn, backdrop=WHITE) + block(21, 20, 110, wardrobe=worn))
    assert untouched(frames)
    assert firsts(propose_looks(frames)) == ["A0021"]


def test_clothes_and_backdrop_darker_before_the_same_face_are_another_look() -> None:
    bright = block(1, 20, 0, wardrobe=WHITE, backdrop=(76.0, 0.0, 0.0))
    dark = [brighter(frame, -1.0) for frame in block(21, 20, 110, wardrobe=WHITE, backdrop=(76.0, 0.0, 0.0))]
    assert firsts(propose_looks(lit(bright + dark))) == ["A0021"]


@pytest.mark.parametrize("light", [(-0.8, 0.3), (0.9, 0.3)])
def test_a_darker_backdrop_and_other_clothes_before_a_darker_face_are_another_look(light: tuple[float, float]) -> None:
    """What differs wholly in its clothes does not lack light, unless those may be a hand."""
    bright = lit(block(1, 20, 0, wardrobe=NAVY, backdrop=(62.0, 0.0, 0.0)), 59.0)
    dark = lit(block(21, 20, 110, wardrobe=WHITE, backdrop=GREY, light=light), 51.0)
    assert untouched(bright + dark)
    assert firsts(propose_looks(bright + dark)) == ["A0021"]


@pytest.mark.parametrize("number", [42, 44])
def test_no_look_falls_apart_because_the_one_before_was_brighter(number: int) -> None:
    day = sitting(number, second_camera=number == 42 or None)
    assert len(propose_looks(day.frames).looks) == 6


@pytest.mark.parametrize("kind", ["dimmed", "misfires"])
def test_looks_are_as_before_the_light_changed(kind: str) -> None:
    for number in range(300, 304):
        day = of_other_kind(kind, number)
        assert len(propose_looks(day.frames).looks) == 3


def test_nothing_is_touched_where_the_light_stays() -> None:
    for kind in ("turns outfit", "between light", "gels", "backdrops"):
        assert untouched(list(of_kind(kind, 301).frames))
