"""The lowest point of the chin's outline, on portraits that its correction was not taken from.

Marked by us from the pictures (`chins.csv`) on 2026-11-27, without the reading drawn over them: portraits of the Face
Research Lab London Set, DeBruine and Jones, CC BY 4.0. `least_y` and `most_y` say how sure the mark is: beards and soft
throats hide the edge. The correction (`faces.MENTON_BELOW`) is the mean of the first, third and so on; the others are
here.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pytest

from galleries.imaging.codes import Code
from galleries.imaging.face.faces import MENTON_BELOW, Face, find_faces
from galleries.imaging.framing.crops import propose, warnings_for
from galleries.imaging.framing.geometry import Ratio, Rect
from tests import outside
from tests.benchmarks.eyes import chin_marks, portraits
from tests.size_data import BY_SLUG

WIDE = (Ratio(16, 9), Ratio(3, 2), Ratio(2, 1))


class Portrait(NamedTuple):
    face: Face
    menton_y: float
    size: tuple[int, int]


@pytest.fixture(scope="module")
def held_apart() -> list[Portrait]:
    marks, seen = chin_marks(), []
    for name, rgb, _eyes in list(portraits(outside.shared("portraits")))[1::2]:
        face = find_faces(rgb).face
        assert face is not None
        seen.append(Portrait(face, marks[name], (rgb.shape[1], rgb.shape[0])))
    return seen


def test_the_outline_is_where_it_was_marked(held_apart: list[Portrait]) -> None:
    """In shares of the head's height; the mesh's own point is 3.5 % too high on the mean, 6.3 % at most."""
    off = [(one.menton_y - one.face.menton[1]) / (one.menton_y - one.face.crown_y) for one in held_apart]
    assert len(off) == 13
    assert abs(np.mean(off)) < 0.006
    assert np.mean(np.abs(off)) < 0.018
    assert np.max(np.abs(off)) < 0.035


def test_what_is_said_to_be_sure_of_holds_the_mark(held_apart: list[Portrait]) -> None:
    for one in held_apart:
        assert abs(one.menton_y - one.face.menton[1]) <= one.face.menton_uncertainty


@pytest.mark.parametrize("tight", [1.0, 0.75, 0.62])
def test_no_wide_crop_cuts_a_chin_unsaid(held_apart: list[Portrait], tight: float) -> None:
    """In the whole portrait and in windows round the face, as frames from closer by would be."""
    for one in held_apart:
        side = round(tight * one.size[0])
        x, y = one.face.eye_middle[0] - side / 2, max(0.0, one.face.eye_middle[1] - 0.45 * side)
        face = one.face.moved(-x, -y)
        for ratio in WIDE:
            proposal = propose(side, side, face, ratio)
            if proposal.rect.bottom + y < one.menton_y:
                codes = {reason.code for reason in proposal.reasons}
                assert codes & {Code.CHIN_OUT_OF_FRAME, Code.CHIN_MAY_BE_CUT}, (ratio, proposal)


def test_a_crop_by_hand_that_ends_on_the_chin_is_said(held_apart: list[Portrait]) -> None:
    """2 % of the head above the outline: where the mesh's own point still lay inside, nothing was said."""
    size = BY_SLUG["casting-4x5"]
    for one in held_apart:
        bottom = int(one.menton_y - 0.02 * (one.menton_y - one.face.crown_y))
        rect = Rect(300, bottom - 900, 720, 900)
        codes = {warning.code for warning in warnings_for(rect, one.size, one.face, size)}
        assert codes & {Code.CHIN_CUT, Code.CHIN_MAY_BE_CUT}


def test_the_outline_goes_along_with_the_face(held_apart: list[Portrait]) -> None:
    face = held_apart[0].face
    for moved, factor, by in ((face.moved(-30, 12), 1.0, (-30, 12)), (face.scaled(3), 3.0, (1, 1))):
        assert moved.menton == pytest.approx([factor * at + way for at, way in zip(face.menton, by, strict=True)])
        assert moved.menton_uncertainty == pytest.approx(factor * face.menton_uncertainty)
    below = face.chin[1] - face.eye_middle[1]
    assert face.menton[1] - face.eye_middle[1] == pytest.approx((1 + MENTON_BELOW) * below)
