"""Serious to smiling on portraits that were not used to set the scale, and open to intense by construction.

Outside: 26 studio portraits with a neutral face (Face Research Lab London Set, DeBruine and Jones, CC BY 4.0, frames
_03); NASA's public-domain portrait of an astronaut who smiles broadly (scikit-image) and the US Navy's of an officer
who does not (matplotlib). There is no outside set here in which each person also smiles, and none for intensity.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from galleries.imaging.face.faces import find_faces
from galleries.sorting.expression import LIFT, WIDTH, Numbers, Place, in_order, places, smile
from tests import outside

HELD_APART = slice(1, None, 2)  # the scale was set on the others


def smile_in(path: str) -> float:
    bgr = cv2.imread(path)
    shrink = min(1.0, 1024 / max(bgr.shape[:2]))
    bgr = cv2.resize(bgr, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    face = find_faces(np.ascontiguousarray(bgr[:, :, ::-1])).face
    assert face is not None
    value = smile(face.features)
    assert value is not None
    return value


def test_neutral_portraits_held_apart_read_as_serious() -> None:
    portraits = sorted(outside.shared("portraits").glob("*.jpg"))
    assert len(portraits) == 26
    values = [smile_in(str(path)) for path in portraits[HELD_APART]]
    assert all(Place(value).smile_band == "serious" for value in values), values
    assert max(values) < 0.2  # the least of a slight smile is 0.3


def test_a_broad_smile_reads_as_smiling_and_a_grave_face_does_not() -> None:
    astronaut = smile_in(str(outside.packaged("skimage", "data/astronaut.png")))
    officer = smile_in(str(outside.packaged("matplotlib", "mpl-data/sample_data/grace_hopper.jpg")))
    assert Place(astronaut).smile_band == "smiling"
    assert Place(officer).smile_band == "serious"


def test_lifted_corners_alone_are_a_lowered_head() -> None:
    neutral = smile((WIDTH[0], LIFT[0], 0.28))
    assert neutral == 0
    assert Place(smile((WIDTH[0], LIFT[0] + 8 * LIFT[1], 0.28))).smile_band == "serious"
    assert Place(smile((WIDTH[0] + 5 * WIDTH[1], LIFT[0] + 5 * LIFT[1], 0.28))).smile_band == "smiling"
    assert smile(()) is None


def sitting(**odd: Numbers) -> dict[int, Place]:
    """Six frames of one person, alike but for the ones given by their number."""
    usual = {key: Numbers((0.57, 0.0, 0.28), 0.34) for key in range(6)}
    return places({**usual, **{int(key[1:]): one for key, one in odd.items()}})


def test_brows_and_lids_are_held_against_the_persons_own_frames() -> None:
    told = sitting(
        n1=Numbers((0.57, 0.0, 0.24), 0.30), n2=Numbers((0.57, 0.0, 0.31), 0.37), n3=Numbers((0.57, 0.0, 0.24), 0.1)
    )
    assert told[0].intensity == 0.5
    assert (told[0].intensity_band, told[1].intensity_band, told[2].intensity_band) == ("", "intense", "open")
    assert told[3].intensity is None  # closed lids are no intensity
    assert told[3].smile_band == "serious"


def test_what_was_not_read_has_no_place_and_few_frames_have_no_middle() -> None:
    assert sitting(n1=Numbers())[1] == Place()
    few = places({key: Numbers((0.57, 0.0, 0.28), 0.34) for key in range(4)})
    assert [one.intensity for one in few.values()] == [None] * 4
    assert [one.smile_band for one in few.values()] == ["serious"] * 4


@pytest.mark.parametrize(("by", "want"), [("smile", [3, 1, 4, 2]), ("intensity", [4, 1, 2, 3])])
def test_least_first_and_what_was_not_read_last(by: str, want: list[int]) -> None:
    told = {1: Place(0.9, 0.2), 3: Place(0.1, None), 4: Place(0.9, 0.1)}
    assert in_order([1, 2, 3, 4], told, by) == want
