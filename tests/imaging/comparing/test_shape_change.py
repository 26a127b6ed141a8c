"""Did the retouch change the face? Truth: changes of known size, made on painted frames and, where ../shared/data is
present, on studio portraits (Face Research Lab London Set, DeBruine and Jones, CC BY 4.0)."""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np
import pytest

from galleries.imaging.comparing import match, shape_change
from galleries.imaging.face.faces import Face, find_faces
from galleries.told import Told
from tests import outside, retouches
from tests.pictures import camera_file
from tests.telling import sentence_of


def _grey(rgb: np.ndarray) -> match.Small:
    return match.Small(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), 1.0)


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


def _change(rgb: np.ndarray, face: Face, version: np.ndarray) -> shape_change.ShapeChange:
    found = shape_change.change_between(_grey(rgb), _grey(version), face)
    assert found is not None
    return found


@pytest.mark.parametrize("kind", list(retouches.HARMLESS))
def test_a_retouch_of_tone_skin_and_framing_is_no_change_of_shape(faces: list, kind: str) -> None:
    for rgb, face in faces:
        change = _change(rgb, face, retouches.HARMLESS[kind](rgb))
        assert change.caution is None, change


@pytest.mark.parametrize("then", [None, "everything"])
def test_larger_eyes_are_told_by_how_much(faces: list, then: str | None) -> None:
    for rgb, face in faces:
        version, radius = rgb, 0.45 * face.eye_distance
        for eye in (face.right_eye, face.left_eye):
            version = retouches.grown(version, eye, radius, 0.08)
        version = retouches.HARMLESS[then](version) if then else version
        change = _change(rgb, face, version)
        assert change.eyes == pytest.approx(0.08, abs=0.02)
        assert "the eyes are" in sentence_of(change.caution)
        assert "larger" in sentence_of(change.caution)


@pytest.mark.parametrize("then", [None, "everything"])
def test_a_slimmer_jaw_is_told(faces: list, then: str | None) -> None:
    for rgb, face in faces:
        y = face.eye_middle[1] + 0.6 * (face.chin[1] - face.eye_middle[1])
        left, right = shape_change._sides(np.array(face.oval), y)
        push = 0.05 * (right - left) / 2
        version = retouches.pushed(rgb, [(left, y, push, 0), (right, y, -push, 0)], 0.16 * (right - left))
        version = retouches.HARMLESS[then](version) if then else version
        change = _change(rgb, face, version)
        assert change.jaw == pytest.approx(-0.05, abs=0.02)
        assert "the jaw is" in sentence_of(change.caution)
        assert "narrower" in sentence_of(change.caution)


def test_a_shorter_chin_is_told(faces: list) -> None:
    rgb, face = faces[0]
    lower = face.chin[1] - face.eye_middle[1]
    version = retouches.pushed(rgb, [(*face.chin, 0, -0.08 * lower)], 0.4 * face.eye_distance)
    change = _change(rgb, face, version)
    assert change.chin < -shape_change.TOLERANCE["chin"]
    assert "shorter" in sentence_of(change.caution)


def test_another_picture_is_not_compared(faces: list) -> None:
    rgb, face = faces[0]
    other = retouches.opened(camera_file(38)[1])
    assert shape_change.change_between(_grey(rgb), _grey(np.ascontiguousarray(other[:, ::-1])), face) is None


def test_the_caution_is_one_sentence_with_the_largest_change_first() -> None:
    told = shape_change.ShapeChange(eyes=0.061, mouth=0.0, cheeks=-0.01, jaw=-0.083, chin=0.0).caution
    assert sentence_of(told).startswith("Against the frame the jaw is 8 % narrower and the eyes are 6 % larger.")
    everything = shape_change.ShapeChange(0.1, 0.1, 0.1, 0.1, 0.1).caution
    assert len(everything.as_text(600)) < 300
    assert Told.from_stored(everything.as_text(600)) == everything
