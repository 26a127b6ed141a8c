"""Reading the tracer: lay the copy over the proof, explain all that is picture, and listen to what is left."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from galleries.imaging.arrays import Floats
from galleries.imaging.tracer.reference import Reference

_WORK = 1100  # long side the features are looked for at
_FINE = ((500, 30), (1000, 8))  # long side and rounds the alignment is refined at
_LEAST_POINTS = 10
_TINY = 800  # long side a small copy is enlarged to before features are looked for
_SURE = 80  # so many agreeing features leave no doubt
_LOCAL = 33  # pixels over which brightness and noise are taken as constant

Matrix = NDArray[Any]  # 3 × 3 float64


def aligned(copy: Floats, proof: Floats) -> Matrix | None:
    """The homography from pixels of the copy to pixels of the proof; None when the two don't match.

    A mirrored copy is tried as well: a face alone looks enough like its mirror image to mislead the first try.
    """
    flip = np.array([[-1, 0, copy.shape[1] - 1], [0, 1, 0], [0, 0, 1]], np.float64)
    starts = [_by_features(copy, proof)]
    if starts[0][1] < _SURE:
        points = _by_features(np.ascontiguousarray(copy[:, ::-1]), proof)
        starts.append((points[0] @ flip if points[0] is not None else None, points[1]))
    for start, count in sorted(starts, key=lambda entry: -entry[1]):
        if start is not None and count >= _LEAST_POINTS:
            homography = _refined(copy, proof, start)
            if homography is not None:
                return homography
    return None


def heard(placed: Matrix, copy: Floats, known: Reference) -> tuple[Floats, Floats]:
    """Score and weight per piece of the proof (see `Code.listen`), both arrays float64.

    Works on the copy's own grid: what the proof and its tracer look like there is worked out, the proof is
    taken away after fitting blur, sharpening and tone curve, and the rest is weighed by the local noise.
    """
    scale = _scale(placed, copy)
    if scale > 1.3:  # an enlarged copy holds no more than the proof did
        small = _sized(copy, 1 / scale, cv2.INTER_AREA)
        placed = placed @ _zoom(copy.shape[1] / small.shape[1], copy.shape[0] / small.shape[0])
        copy, scale = small, 1.0
    mean = _seen(known.mean, placed, copy, scale)
    added = _seen(known.added, placed, copy, scale)
    inside, piece = _pieces(placed, copy, known)
    kernel, base = _explained(copy, mean, inside)
    rest = np.where(inside, copy - base, 0).astype(np.float32)
    added = cv2.filter2D(added, -1, kernel)
    side = 2 * round(_LOCAL * min(1.0, scale) / 2) + 1
    share = np.maximum(cv2.blur(inside.astype(np.float32), (side, side)), 1e-3)
    rest -= cv2.blur(rest, (side, side)) / share
    noise = cv2.blur(np.where(inside, rest * rest, 0).astype(np.float32), (side, side)) / share + 0.25
    limit = 3 * np.sqrt(noise)
    rest = np.clip(rest, -limit, limit)
    hit = np.where(inside, added / noise, 0).astype(np.float32)
    sums = [
        np.bincount(piece.ravel(), weights=values.ravel(), minlength=known.code.places)
        for values in (hit * rest, hit * added)
    ]
    return sums[0], sums[1]


def _seen(picture: Floats, placed: Matrix, copy: Floats, scale: float) -> Floats:
    """The picture of the proof as the copy's pixels see it: each the mean over its own area."""
    fine = max(1, min(8, int(np.ceil(1 / scale - 0.1))))
    height, width = copy.shape
    matrix = _zoom(fine, fine) @ np.linalg.inv(placed)
    over = cv2.warpPerspective(
        picture, matrix, (width * fine, height * fine), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
    )
    return cv2.resize(over, (width, height), interpolation=cv2.INTER_AREA) if fine > 1 else over


def _pieces(placed: Matrix, copy: Floats, known: Reference) -> tuple[NDArray[np.bool_], NDArray[np.int64]]:
    """Per pixel of the copy: whether it lies inside the proof, and which piece it shows (0 outside)."""
    height, width = copy.shape
    mcu_w, mcu_h = known.mcu
    shape = known.mean.shape
    grid = _zoom(1 / mcu_w, 1 / mcu_h) @ placed
    piece = cv2.warpPerspective(
        known.piece.astype(np.float32), np.linalg.inv(grid), (width, height), flags=cv2.INTER_NEAREST
    )
    inside = cv2.warpPerspective(
        np.ones(shape, np.float32), np.linalg.inv(placed), (width, height), flags=cv2.INTER_LINEAR
    )
    inner = cv2.erode((inside > 0.999).astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    inner[:2] = inner[-2:] = False
    inner[:, :2] = inner[:, -2:] = False
    return inner, piece.astype(np.int64)


def _by_features(copy: Floats, proof: Floats) -> tuple[Matrix | None, int]:
    """The better of two tries: the proof at working size, and, where that leaves doubt, at its own size."""
    first = _by_features_at(copy, proof, _WORK)
    if first[1] >= _SURE:
        return first
    second = _by_features_at(copy, proof, max(proof.shape))
    return max(first, second, key=lambda entry: entry[1])


def _by_features_at(copy: Floats, proof: Floats, side: int) -> tuple[Matrix | None, int]:
    """A first alignment without mirroring, and how many features agree with it."""
    detector = cv2.ORB.create(2000 if side == _WORK else 4000, edgeThreshold=16, fastThreshold=7)
    small = [_enlarged(_shrunk(copy, _WORK)), _shrunk(proof, side)]
    (points_a, features_a), (points_b, features_b) = (
        detector.detectAndCompute(np.clip(picture, 0, 255).astype(np.uint8), None) for picture in small
    )
    if features_a is None or features_b is None:
        return None, 0
    pairs = cv2.BFMatcher(cv2.NORM_HAMMING).knnMatch(features_a, features_b, k=2)
    good = [p[0] for p in pairs if len(p) == 2 and p[0].distance < 0.8 * p[1].distance]
    if len(good) < _LEAST_POINTS:
        return None, 0
    from_ = np.array([points_a[m.queryIdx].pt for m in good])
    to = np.array([points_b[m.trainIdx].pt for m in good])
    cv2.setRNGSeed(1)
    affine, kept = cv2.estimateAffine2D(from_, to, method=cv2.RANSAC, ransacReprojThreshold=3, maxIters=5000)
    if affine is None or not 0.02 < float(np.linalg.det(affine[:, :2])) < 50:
        return None, 0
    matrix = np.vstack([affine, [0, 0, 1]])
    up = _zoom(proof.shape[1] / small[1].shape[1], proof.shape[0] / small[1].shape[0])
    down = _zoom(copy.shape[1] / small[0].shape[1], copy.shape[0] / small[0].shape[0])
    return up @ matrix @ np.linalg.inv(down), int(kept.sum())


def _refined(copy: Floats, proof: Floats, start: Matrix) -> Matrix | None:
    """Alignment by enhanced correlation (Evangelidis and Psarakis 2008), coarse then fine, as a homography."""
    homography = start
    for side, rounds in _FINE:
        small_copy, small_proof = _shrunk(copy, side), _shrunk(proof, side)
        down_copy = _zoom(copy.shape[1] / small_copy.shape[1], copy.shape[0] / small_copy.shape[0])
        down_proof = _zoom(proof.shape[1] / small_proof.shape[1], proof.shape[0] / small_proof.shape[0])
        guess = np.linalg.inv(np.linalg.inv(down_proof) @ homography @ down_copy)  # proof → copy, as ECC wants it
        guess = (guess / guess[2, 2]).astype(np.float32)
        stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, rounds, 1e-5)
        try:
            quality, better = cv2.findTransformECC(small_proof, small_copy, guess, cv2.MOTION_HOMOGRAPHY, stop, None, 3)
        except cv2.error:
            return None  # it did not converge: the pictures have nothing in common
        if quality < 0.6:
            return None
        homography = down_proof @ np.linalg.inv(np.asarray(better, np.float64)) @ np.linalg.inv(down_copy)
    return np.asarray(homography)


def _explained(over: Floats, mean: Floats, inside: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """The 5 × 5 kernel, offset and curve that best turn the proof into the copy, and the proof so turned."""
    ys, xs = np.nonzero(inside[2:-2:3, 2:-2:5])
    ys, xs = ys * 3 + 2, xs * 5 + 2
    columns = [mean[ys + dy, xs + dx] for dy in range(-2, 3) for dx in range(-2, 3)]
    centre = mean[ys, xs]
    design = np.stack([*columns, centre * centre / 255, np.ones_like(centre)], axis=1)
    gram, side = design.T @ design, design.T @ over[ys, xs]
    gram = gram.astype(np.float64) + np.eye(len(gram)) * 1e-3 * float(np.trace(gram)) / len(gram) * 1e-3
    coefficients = np.linalg.solve(gram, side.astype(np.float64)).astype(np.float32)
    kernel = coefficients[:25].reshape(5, 5)
    return kernel, cv2.filter2D(mean, -1, kernel) + coefficients[25] * mean * mean / 255 + coefficients[26]


def _scale(placed: Matrix, copy: Floats) -> float:
    """Pixels of the copy per pixel of the proof, at the copy's centre."""
    x, y = copy.shape[1] / 2, copy.shape[0] / 2
    points = np.array([[[x, y]], [[x + 1, y]], [[x, y + 1]]])
    o, a, b = cv2.perspectiveTransform(points, placed)[:, 0]
    return float(1 / np.sqrt(abs(np.cross([*(a - o), 0], [*(b - o), 0])[2])))


def _shrunk(picture: Floats, long_side: int) -> Floats:
    factor = long_side / max(picture.shape)
    return _sized(picture, factor, cv2.INTER_AREA) if factor < 1 else picture


def _enlarged(picture: Floats) -> Floats:
    """Tiny pictures made large enough for the feature detector's windows."""
    factor = _TINY / max(picture.shape)
    return _sized(picture, factor, cv2.INTER_CUBIC) if factor > 1 else picture


def _sized(picture: Floats, factor: float, how: int) -> Floats:
    """Resized to whole pixels, so that the scale is exactly the ratio of the sizes."""
    height, width = (max(8, round(side * factor)) for side in picture.shape)
    return cv2.resize(picture, (width, height), interpolation=how)


def _zoom(x: float, y: float) -> Matrix:
    """Scaling by x and y that maps pixel centres as cv2.resize does."""
    return np.array([[x, 0, (x - 1) / 2], [0, y, (y - 1) / 2], [0, 0, 1]], np.float64)
