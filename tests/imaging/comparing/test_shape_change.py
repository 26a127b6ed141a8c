"""Did the retouch change the face? Truth: changes of known size, made on painted frames and, where ../shared/data is
present, on studio portraits (Face Research Lab London Set, DeBruine and Jones, CC BY 4.0)."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest

from galleries.imaging.comparing import shape_change
from galleries.imaging.comparing.amounts import USUAL, Changes
from galleries.imaging.comparing.changes import changes_between
from galleries.imaging.comparing.patches import Open
from galleries.imaging.face.faces import Face, find_faces
from tests import outside, retouches
from tests.pictures import camera_file
from tests.telling import sentence_of

OF_SKIN = ("forehead_texture", "right_cheek_texture", "left_cheek_texture", "chin_texture")  # some of these smooth it


def _pictures() -> Iterator[np.ndarray]:
    yield retouches.opened(camera_file(1)[1])
    if outside.here("portraits"):
        for path in sorted(outside.shared("portraits").glob("*.jpg"))[3::13]:
            yield retouches.opened(path.read_bytes())


@pytest.fixture(scope="module")
def faces() -> list[tuple[np.ndarray, Face]]:
    found = []
    for rgb in _pictures():
        face = find_faces(rgb).face
        assert face is not None
        found.append((rgb, face))
    return found


def _change(rgb: np.ndarray, face: Face, version: np.ndarray) -> Changes:
    amounts = changes_between(Open(rgb, 1.0), Open(version, 1.0), face)
    assert amounts is not None
    return amounts


@pytest.mark.parametrize("kind", list(retouches.HARMLESS))
def test_a_retouch_of_tone_skin_and_framing_is_no_change_of_shape(faces: list, kind: str) -> None:
    for rgb, face in faces:
        change = _change(rgb, face, retouches.HARMLESS[kind](rgb))
        assert not [name for name in change.beyond() if name not in OF_SKIN], change


@pytest.mark.parametrize("then", [None, "everything"])
def test_larger_eyes_are_told_by_how_much(faces: list, then: str | None) -> None:
    for rgb, face in faces:
        version, radius = rgb, 0.45 * face.eye_distance
        for eye in (face.right_eye, face.left_eye):
            version = retouches.grown(version, eye, radius, 0.08)
        version = retouches.HARMLESS[then](version) if then else version
        change = _change(rgb, face, version)
        assert change.amounts["eyes"] == pytest.approx(8, abs=2)
        assert "the eyes are" in sentence_of(change.caution())
        assert "larger" in sentence_of(change.caution())


@pytest.mark.parametrize("then", [None, "everything"])
def test_a_slimmer_jaw_is_told(faces: list, then: str | None) -> None:
    for rgb, face in faces:
        y = face.eye_middle[1] + 0.6 * (face.chin[1] - face.eye_middle[1])
        left, right = shape_change._sides(np.array(face.oval), y)
        push = 0.05 * (right - left) / 2
        version = retouches.pushed(rgb, [(left, y, push, 0), (right, y, -push, 0)], 0.16 * (right - left))
        version = retouches.HARMLESS[then](version) if then else version
        change = _change(rgb, face, version)
        assert change.amounts["jaw"] == pytest.approx(-5, abs=2)
        assert "the jaw is" in sentence_of(change.caution())
        assert "narrower" in sentence_of(change.caution())


def test_a_shorter_chin_is_told(faces: list) -> None:
    rgb, face = faces[0]
    lower = face.chin[1] - face.eye_middle[1]
    version = retouches.pushed(rgb, [(*face.chin, 0, -0.08 * lower)], 0.4 * face.eye_distance)
    change = _change(rgb, face, version)
    assert change.amounts["chin"] < -USUAL["chin"]
    assert "shorter" in sentence_of(change.caution())


def test_another_picture_is_not_compared(faces: list) -> None:
    rgb, face = faces[0]
    other = retouches.opened(camera_file(38)[1])
    assert changes_between(Open(rgb, 1.0), Open(np.ascontiguousarray(other[:, ::-1]), 1.0), face) is None
