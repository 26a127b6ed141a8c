"""Is a retouch still true to the person? Truth: retouches of known size (`tests.face_retouches`) on a studio portrait
kept apart from the tuning (Face Research Lab London Set, DeBruine and Jones, CC BY 4.0), on a painted frame where
../shared/data is not there. All thirteen such portraits: `python -m tests.benchmarks true_to_life`."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from galleries.imaging.comparing import grade, patches, surface
from galleries.imaging.comparing.amounts import KIND, Changes
from galleries.imaging.comparing.changes import changes, changes_between
from galleries.imaging.comparing.patches import Open
from galleries.imaging.face import tones
from galleries.imaging.face.faces import Face, find_faces
from tests import face_retouches, outside, retouches
from tests.imaging.heads import head
from tests.pictures import camera_file

Pixels = np.ndarray


@pytest.fixture(scope="module")
def portrait() -> tuple[Pixels, Face]:
    if outside.here("portraits"):
        source = sorted(outside.shared("portraits").glob("*.jpg"))[13].read_bytes()
    else:
        source = camera_file(1)[1]
    rgb = retouches.opened(source)
    face = find_faces(rgb).face
    assert face is not None
    return rgb, face


def _changes(rgb: Pixels, face: Face, version: Pixels) -> Changes:
    amounts = changes_between(Open(rgb, 1.0), Open(version, 1.0), face)
    assert amounts is not None
    return amounts


def _kinds(amounts: Changes) -> set[str]:
    return {KIND[name] for name in amounts.beyond()}


def test_all_of_an_honest_retouch_at_once_is_no_caution(portrait: tuple[Pixels, Face]) -> None:
    rgb, face = portrait
    change = _changes(rgb, face, face_retouches.honest_all(rgb, face))
    assert change.caution() is None, change
    assert change.unread == ()


def test_a_person_made_another_is_told_in_each_kind_and_where(portrait: tuple[Pixels, Face]) -> None:
    rgb, face = portrait
    version = face_retouches.narrower_nose(rgb, face, 0.08)
    for work in (face_retouches.even_skin, face_retouches.darker_skin, face_retouches.other_eyes):
        version = work(version, face)
    change = _changes(rgb, face, retouches.jpeg_again(face_retouches.graded(version, face), 85))
    assert {"nose", "skin", "irises"} <= _kinds(change) <= {"nose", "skin", "irises", "texture"}, change
    if outside.here("portraits"):  # painted skin has too little texture to lose any
        assert "texture" in _kinds(change)
    assert change.amounts["lightness"] == pytest.approx(-12, abs=4)
    h, w = rgb.shape[:2]
    for name, (x, y) in (("right_eye_iris", face.right_eye), ("left_eye_iris", face.left_eye)):
        left, top, wide, high = change.places[name]
        assert left < x / w < left + wide
        assert top < y / h < top + high
        assert change.on_version[name] == pytest.approx(change.places[name], abs=0.004)


def test_a_narrower_face_with_a_shorter_chin(portrait: tuple[Pixels, Face]) -> None:
    rgb, face = portrait
    version = face_retouches.other_chin(face_retouches.narrower_face(rgb, face, 0.04), face, -0.035)
    assert {"width", "chin"} <= _kinds(_changes(rgb, face, version))


def test_black_and_white_says_nothing_of_colours(portrait: tuple[Pixels, Face]) -> None:
    rgb, face = portrait
    change = _changes(rgb, face, retouches.grey(face_retouches.darker_skin(rgb, face)))
    assert change.unread == ("skin", "irises")
    assert change.caution() is None


def test_a_small_file_says_nothing_of_texture(portrait: tuple[Pixels, Face]) -> None:
    rgb, face = portrait
    part = 60 / face.eye_distance
    tiny = cv2.resize(rgb, None, fx=part, fy=part, interpolation=cv2.INTER_AREA)
    change = _changes(rgb, face, tiny)
    assert "texture" in change.unread
    assert change.caution() is None, change


def test_another_backdrop_says_nothing_of_colours(portrait: tuple[Pixels, Face]) -> None:
    """Green on one side, purple on the other: no one grade did that."""
    rgb, face = portrait
    version = rgb.copy()
    x, _y, w, _h = (round(value) for value in face.box)
    version[:, : x - w // 4] = version[:, : x - w // 4] * np.array([0.2, 0.8, 0.3])
    version[:, x + w + w // 4 :] = version[:, x + w + w // 4 :] * np.array([0.7, 0.1, 0.9])
    change = _changes(rgb, face, version)
    assert not {"skin", "irises"} & _kinds(change), change


def test_files_are_read_upright_in_their_own_profiles_and_at_their_own_sizes(portrait: tuple[Pixels, Face]) -> None:
    rgb, face = portrait
    version = retouches.smaller(rgb)
    change = changes(retouches.as_jpeg(rgb), retouches.as_jpeg(version), face)
    assert change is not None
    assert change.caution() is None
    x, y, w, h = face.box
    assert change.places["face"] == pytest.approx(
        (x / rgb.shape[1], y / rgb.shape[0], w / rgb.shape[1], h / rgb.shape[0]), abs=0.002
    )


# The parts


def _still(here: Pixels, there: Pixels, face: Face) -> patches.Patches:
    whole = np.ones(here.shape[:2], bool)
    flow = np.zeros((*here.shape[:2], 2))
    eye = np.diag([1.0, 1.0, 1.0])
    size = (here.shape[1], here.shape[0])
    return patches.Patches(here, there, whole, face, None, flow, here, there, whole, face, 1.0, eye, size, eye, size)


def _ramp() -> tuple[Pixels, Face]:
    chance = np.random.default_rng(4)
    tone = np.linspace(20, 235, 400)[None, :, None] + chance.normal(0, 6, (420, 1, 3))
    return np.clip(tone, 0, 255).astype(np.uint8), head(200, 180, 60)


@pytest.mark.parametrize("exponent", [0.7, 1.0, 1.4])
def test_a_grade_is_read_outside_the_face_alone(exponent: float) -> None:
    here, face = _ramp()
    there = (255 * (here / 255) ** exponent).astype(np.uint8)
    inside = there.copy()
    cv2.fillPoly(inside, [np.rint(np.array(face.oval)).astype(np.int32)], (255, 0, 0))
    for version in (there, inside):
        whole = grade.read(_still(here, version, face))
        assert whole is not None
        assert whole.holds
        picked = here[50:60, 100:300].reshape(-1, 3)
        would = whole.applied(picked, np.zeros((len(picked), 2)))
        truth = grade.as_lab(there[50:60, 100:300].reshape(-1, 3) / 255)
        assert np.median(np.abs(would - truth)) < 1.5


def test_texture_is_what_lies_where_it_lay_whatever_grain_is_added() -> None:
    here, face = _ramp()
    chance = np.random.default_rng(7)
    pores = cv2.GaussianBlur(chance.normal(0, 1, here.shape[:2]).astype(np.float32), (0, 0), 1.2) * 25
    skin = np.clip(128 + np.repeat(pores[..., None], 3, axis=2), 0, 255).astype(np.uint8)
    mask = tones.face_mask(here.shape, face)
    half = cv2.addWeighted(skin, 0.5, np.full_like(skin, 128), 0.5, 0)
    flat = np.clip(128 + chance.normal(0, 8, skin.shape[:2])[..., None].repeat(3, 2), 0, 255).astype(np.uint8)
    for version, lost in ((skin, 0.0), (half, 0.5), (flat, 1.0)):
        there = np.where(mask[..., None], version, skin)
        share = surface.texture_lost(_still(skin, there, face), there, {"chin": mask})
        assert share is not None
        assert share["chin"] == pytest.approx(lost, abs=0.06)
    assert surface.texture_lost(_still(skin, flat, face), flat, {"chin": mask}) is None, "all of it is soft"
