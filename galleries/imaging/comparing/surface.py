"""What a retouch did to skin and irises: texture taken away, colour moved. Read from patches that lie on each other.

Regions come from the face's mesh. Each reading is None where it cannot be made: too few pixels, black and white,
nothing to compare a grade with, lids closed.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from galleries.imaging.arrays import Floats, Pixels
from galleries.imaging.colour.difference import ciede2000
from galleries.imaging.comparing.grade import Grade, as_lab, spots_of
from galleries.imaging.comparing.patches import EYE_DISTANCE, Patches
from galleries.imaging.face import tones
from galleries.imaging.face.faces import Face, Point

Mask = NDArray[np.bool_]

LEAST_FINE = 0.5  # real pixels for each of the patch under which texture cannot be read
LEAST_FOR_IRIS = 0.3
_FINE, _COARSE = 0.8, 2.4  # the band's sigmas in pixels of the patch: waves of about 3 to 12, 1/30 to 1/120 of the face
_WIDE = 9.0  # sigma of the tones by which the skin's own contrast is read
_LEAST_ENERGY = 0.25  # code values (root mean square) under which a region had no texture to lose
_LEAST_PIXELS = 250


def regions(patches: Patches) -> dict[str, Mask]:
    """Skin of forehead, cheeks and chin in the patch."""
    face = patches.face
    d, shape = EYE_DISTANCE, patches.here.shape
    skin = tones.face_mask(shape, face) & patches.inside
    (rx, ry), (lx, ly), (mx, my) = face.right_eye, face.left_eye, face.mouth
    ex, ey = face.eye_middle
    middles = {
        "forehead": ((ex + 0.55 * (face.forehead[0] - ex), ey + 0.68 * (face.forehead[1] - ey)), 0.48 * d, 0.22 * d),
        "right_cheek": ((rx + 0.42 * (mx - rx) - 0.24 * d, ry + 0.55 * (my - ry)), 0.24 * d, 0.26 * d),
        "left_cheek": ((lx + 0.42 * (mx - lx) + 0.24 * d, ly + 0.55 * (my - ly)), 0.24 * d, 0.26 * d),
        "chin": ((mx + 0.62 * (face.chin[0] - mx), my + 0.62 * (face.chin[1] - my)), 0.30 * d, 0.16 * d),
    }
    masks = {}
    for name, (middle, across, down) in middles.items():
        mask = np.zeros(shape[:2], np.uint8)
        axes = (round(across), round(down))
        cv2.ellipse(mask, (round(middle[0]), round(middle[1])), axes, face.roll_deg, 0, 360, 1, -1)
        masks[name] = (mask > 0) & skin
    return masks


def laid(patches: Patches) -> Pixels:
    """The version's patch brought back along the flow, so that each pore lies where it lay in the frame."""
    h, w = patches.flow.shape[:2]
    yy, xx = np.mgrid[0:h, 0:w].astype(np.float32)
    smooth = cv2.GaussianBlur(patches.flow.astype(np.float32), (0, 0), 3.0)
    return np.asarray(
        cv2.remap(patches.there, xx + smooth[..., 0], yy + smooth[..., 1], cv2.INTER_CUBIC,
                  borderMode=cv2.BORDER_REPLICATE), np.uint8,
    )  # fmt: skip


def _lightness(rgb: Pixels) -> Floats:
    return np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), np.float32)


def _band(values: Floats, coarser: float) -> Floats:
    one, two = (cv2.GaussianBlur(values, (0, 0), sigma * coarser) for sigma in (_FINE, _COARSE))
    return np.asarray(one - two, np.float32)


def texture_lost(patches: Patches, there: Pixels, masks: dict[str, Mask]) -> dict[str, float] | None:
    """Share of each region's fine structure that is gone, 0..1; regions that had none are left out.

    What of the frame's own band lies at the same place in the version (a regression, so that grain laid over smoothed
    skin gives nothing back), against what the region's tones did (a grade's contrast) and what became of hair, brows
    and lashes (a smaller file is softer everywhere). None where the files are too coarse or the whole became soft.
    """
    if patches.fineness < LEAST_FINE:
        return None
    coarser = max(1.0, 0.8 / patches.fineness)
    here, now = _lightness(patches.here), _lightness(there)
    band_here, band_now = _band(here, coarser), _band(now, coarser)
    wide_here, wide_now = (cv2.GaussianBlur(values, (0, 0), _WIDE) for values in (here, now))
    whole = _kept_elsewhere(patches, band_here, band_now, wide_here, wide_now)
    if whole is None:
        return None
    lost = {}
    for name, mask in masks.items():
        if int(mask.sum()) < _LEAST_PIXELS:
            continue
        a, b = band_here[mask], band_now[mask]
        calm = np.abs(a) < 3.5 * np.median(np.abs(a)) + 1e-3  # a hair or a mole is no texture
        energy = float((a[calm] ** 2).mean())
        if energy < _LEAST_ENERGY**2:
            continue
        kept = float((a[calm] * b[calm]).mean()) / energy
        slope = _slope(wide_here[mask], wide_now[mask])
        lost[name] = round(min(1.0, max(0.0, 1 - kept / slope / whole)), 3)
    return lost or None


def _slope(before: Floats, after: Floats) -> float:
    """How much a grade stretched the tones of a region; between two thirds and one and a half."""
    x, y = before - before.mean(), after - after.mean()
    spread = float((x * x).mean())
    return min(1.5, max(0.67, float((x * y).mean()) / spread)) if spread > 4.0 else 1.0


def _kept_elsewhere(
    patches: Patches, band_here: Floats, band_now: Floats, wide_here: Floats, wide_now: Floats
) -> float | None:
    """The share of fine structure kept by what is no skin; None where there is none, or the whole became soft."""
    strong = cv2.GaussianBlur(band_here * band_here, (0, 0), 2.0)
    other = ~tones.face_mask(patches.here.shape, patches.face) & patches.inside
    other &= strong > 9.0
    if int(other.sum()) < _LEAST_PIXELS:
        return 1.0
    a, b = band_here[other], band_now[other]
    kept = float((a * b).mean()) / float((a * a).mean()) / _slope(wide_here[other], wide_now[other])
    return min(1.0, kept) if kept > 0.5 else None


def skin_moved(patches: Patches, there: Pixels, grade: Grade) -> tuple[float, float]:
    """CIEDE2000 between the skin's median as it is and as the grade alone would have left it; and by how many L*."""
    mask = tones.face_mask(patches.here.shape, patches.face) & patches.inside
    would, now = grade.applied(patches.here[mask], spots_of(patches, mask)), as_lab(there[mask] / np.float32(255))
    a, b = np.median(would, axis=0), np.median(now, axis=0)
    return float(ciede2000(a, b)), float(b[0] - a[0])


def irises_moved(patches: Patches, there: Pixels, grade: Grade) -> dict[str, float] | None:
    """CIEDE2000 (lightness counting half: eyes are often brightened) of each iris' median against the grade alone."""
    if patches.fineness < LEAST_FOR_IRIS:
        return None
    face, moved = patches.face, {}
    for name, eye, radius, lid, openness in (
        ("right_eye", face.right_eye, face.iris_radius_right, face.right_lid, face.right_openness),
        ("left_eye", face.left_eye, face.iris_radius_left, face.left_lid, face.left_openness),
    ):
        if openness is not None and openness < 0.15:
            continue
        mask = _iris(patches.here.shape, eye, radius, lid) & patches.inside
        if int(mask.sum()) < 60:
            continue
        before, after = patches.here[mask], there[mask]
        shine = before.max(axis=1).astype(int)
        dull = (shine < np.median(shine) + 45) & (after.max(axis=1) < 250)
        if int(dull.sum()) < 40:
            continue
        a = np.median(grade.applied(before[dull], spots_of(patches, mask)[dull]), axis=0)
        b = np.median(as_lab(after[dull] / np.float32(255)), axis=0)
        moved[name] = round(float(ciede2000(a, b, 2.0)), 2)
    return moved or None


def _iris(shape: tuple[int, ...], middle: Point, radius: float, lid: tuple[Point, ...]) -> Mask:
    """The ring between pupil and rim, as far as the lids leave it free."""
    yy, xx = np.mgrid[0 : shape[0], 0 : shape[1]]
    away = np.hypot(xx - middle[0], yy - middle[1]) / max(radius, 1e-6)
    ring = (away > 0.4) & (away < 0.88)
    if len(lid) >= 8:
        between = np.zeros(shape[:2], np.uint8)
        cv2.fillPoly(between, [np.rint(np.array(lid)).astype(np.int32)], 1)
        ring &= cv2.erode(between, np.ones((3, 3), np.uint8)) > 0
    return np.asarray(ring, np.bool_)


def eye_box(face: Face, name: str) -> tuple[float, float, float, float]:
    x, y = getattr(face, name)
    d = EYE_DISTANCE
    return x - 0.3 * d, y - 0.18 * d, 0.6 * d, 0.36 * d
