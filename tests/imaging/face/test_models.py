"""The networks answer as another engine lets the same weights answer; pictures are halved once."""

from __future__ import annotations

import threading

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from galleries.imaging.face import models

NETWORKS = {
    "detector": (models._DETECTOR, 192, 1 / 127.5, -1.0),
    "mesh": (models._MESH, 192, 1 / 255, 0.0),
    "iris": (models._IRIS, 64, 1 / 255, 0.0),
}


def patch_of(side: int, seed: int = 1) -> NDArray[np.uint8]:
    rough = np.random.default_rng(seed).integers(0, 256, (12, 12, 3), dtype=np.uint8)
    return np.asarray(cv2.resize(rough, (side, side), interpolation=cv2.INTER_CUBIC), np.uint8)


@pytest.mark.parametrize("name", list(NETWORKS))
def test_opencvs_own_engine_answers_the_same(name: str) -> None:
    """OpenCV's dnn module reads the same files by code of its own. Answers are in samples of up to 200."""
    model, side, scale, shift = NETWORKS[name]
    patch = patch_of(side)
    net = cv2.dnn.readNet(str(models.weights_folder() / model[0]))
    net.setInput(cv2.dnn.blobFromImage(patch.astype(np.float32) * np.float32(scale) + np.float32(shift)))
    others = net.forward(list(model[1]))
    answers = models._run(model, [patch] * model.patches, scale, shift)
    for ours, other in zip(answers, others, strict=True):
        for each in np.split(ours, model.patches):
            assert np.abs(each.ravel() - other.ravel()).max() < 0.002


def test_an_eye_is_read_alike_whatever_the_other_one_is() -> None:
    one, other = patch_of(64), patch_of(64, 2)
    both = models._run(models._IRIS, [one, other], 1 / 255, 0.0)
    turned = models._run(models._IRIS, [other, one], 1 / 255, 0.0)
    for answer, again in zip(both, turned, strict=True):
        assert np.abs(answer - again[::-1]).max() < 0.0002
        assert np.abs(answer[0] - answer[1]).max() > 0.5


def test_a_batch_is_of_scaled_values() -> None:
    batch = np.full((2, 2, 2, 3), 7, np.float32)
    patch = np.arange(12, dtype=np.uint8).reshape(2, 2, 3)
    models._fill(batch, [patch, patch[::-1]], 2.0, -1.0)
    assert batch[0, :, :, 1].tolist() == [[1, 7], [13, 19]]
    assert batch[1, :, :, 1].tolist() == [[13, 19], [1, 7]]
    with pytest.raises(ValueError):
        models._fill(batch, [patch], 2.0, -1.0)


@pytest.mark.parametrize(
    ("size", "to"),
    [((341, 512), (192, 128)), ((170, 256), (32, 32)), ((683, 1023), (192, 128)), ((90, 60), (30, 45)),
     ((64, 96), (32, 16)), ((20, 30), (45, 10)), ((9, 7), (7, 9)), ((5, 1), (1, 3))],
)  # fmt: skip
def test_pixels_averaged_are_opencvs_own(size: tuple[int, int], to: tuple[int, int]) -> None:
    rgb = np.random.default_rng(size[0]).integers(0, 256, (*size, 3), dtype=np.uint8)
    for picture in (rgb, rgb[:, ::-1], np.full_like(rgb, 255)):
        own = cv2.resize(np.ascontiguousarray(picture), to, interpolation=cv2.INTER_AREA)
        averaged = models.averaged(picture, *to)
        assert averaged.dtype == np.uint8
        assert np.array_equal(averaged, own)


def test_threads_keep_networks_of_their_own() -> None:
    """Two at once, each with a picture of its own, ten times."""
    pictures = [patch_of(192, seed) for seed in (1, 2)]
    alone = [models._run(models._MESH, [picture], 1 / 255, 0.0)[0] for picture in pictures]
    same: list[bool] = []

    def ask(which: int) -> None:
        for _ in range(10):
            same.append(np.array_equal(models._run(models._MESH, [pictures[which]], 1 / 255, 0.0)[0], alone[which]))

    threads = [threading.Thread(target=ask, args=(which,)) for which in (0, 1)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert same == [True] * 20


@pytest.mark.parametrize("size", [(600, 401), (333, 500), (90, 90)])
def test_with_its_half_at_hand_a_picture_shrinks_to_the_same(size: tuple[int, int]) -> None:
    rgb = np.random.default_rng(2).integers(0, 256, (*size, 3), dtype=np.uint8)
    half = models.halved(rgb)
    for upper in (rgb, rgb[: size[0] // 3 * 2 + 1]):
        for width, height in ((64, 30), (192, 128), (size[1], len(upper))):
            assert np.array_equal(models.shrunk(upper, width, height, half), models.shrunk(upper, width, height))
