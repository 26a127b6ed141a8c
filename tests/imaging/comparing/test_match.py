"""Is a retouched picture made from that frame? Truth: painted frames of one run, and 26 studio portraits (Face
Research Lab London Set, DeBruine and Jones, CC BY 4.0) where ../shared/data is present."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from galleries.imaging.comparing import match
from tests import outside, retouches
from tests.pictures import camera_file

RUN = range(3)  # the first frames of the painter's plan: one look, one after the other


def _small(rgb: np.ndarray) -> match.Small:
    return match.open_small(retouches.as_jpeg(rgb, 95))


@pytest.fixture(scope="module")
def run() -> list[tuple[np.ndarray, match.Small]]:
    found = []
    for index in RUN:
        data = camera_file(index)[1]
        found.append((retouches.opened(data), match.open_small(data)))
    return found


@pytest.mark.parametrize("kind", list(retouches.HARMLESS))
def test_a_retouch_is_found_among_the_frames_of_its_run(run: list, kind: str) -> None:
    rgb, _small_frame = run[1]
    picture = _small(retouches.HARMLESS[kind](rgb))
    laid = [match.overlay(frame, picture) for _rgb, frame in run]
    values = [one.likeness if one else None for one in laid]
    assert match.choose(values) == 1, values


def test_a_neighbour_alone_is_not_taken_for_the_frame(run: list) -> None:
    for index, (rgb, _frame) in enumerate(run):
        picture = _small(retouches.calm(rgb))
        others = [match.overlay(frame, picture) for other, (_rgb, frame) in enumerate(run) if other != index]
        assert match.choose([one.likeness if one else None for one in others]) is None


def test_the_overlay_says_where_the_crop_was(run: list) -> None:
    rgb, frame = run[2]
    h, w = rgb.shape[:2]
    left, top = int(0.12 * w), int(0.06 * h)
    small = _small(retouches.cropped(rgb))
    laid = match.overlay(frame, small)
    assert laid is not None
    corner = laid.matrix @ np.array([0.0, 0.0, 1.0])
    assert corner / frame.scale == pytest.approx((left, top), abs=3)
    assert laid.area == pytest.approx(0.78 * 0.8, abs=0.04)


def test_mirrored_is_not_the_same(run: list) -> None:
    rgb, frame = run[0]
    laid = match.overlay(frame, _small(np.ascontiguousarray(rgb[:, ::-1])))
    assert laid is None or laid.likeness < match.SAME


def test_other_people_in_the_same_pose_are_other() -> None:
    files = sorted(outside.shared("portraits").glob("*.jpg"))[::7]
    small = [match.open_small(path) for path in files]
    for index, one in enumerate(small):
        laid = match.overlay(one, small[(index + 1) % len(small)])
        assert laid is None or laid.likeness < match.OTHER


def test_portraits_are_known_again_after_everything() -> None:
    for path in sorted(outside.shared("portraits").glob("*.jpg"))[::9]:
        rgb = cv2.cvtColor(cv2.imread(str(path)), cv2.COLOR_BGR2RGB)
        laid = match.overlay(match.open_small(path), _small(retouches.everything(rgb)))
        assert laid is not None
        assert laid.likeness > match.SAME


@pytest.mark.parametrize(
    ("likenesses", "chosen"),
    [
        ([], None),
        ([None, None], None),
        ([0.97], 0),
        ([0.79], None),
        ([0.2, 0.95, 0.5], 1),
        ([0.95, 0.93], None),  # two frames of one run, as like as can be
        ([0.99, 0.93], 0),
        ([None, 0.85, 0.75], 1),
        ([0.85, 0.8], None),
    ],
)
def test_doubt_is_never_settled_by_guessing(likenesses: list, chosen: int | None) -> None:
    assert match.choose(likenesses) == chosen
