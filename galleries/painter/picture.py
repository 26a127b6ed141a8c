"""One frame of the plan painted, and the truth about it."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from galleries.imaging.arrays import Pixels

from .eyes import Eye, EyeTruth, paint_eye, surface_points
from .fringe import paint_brow, paint_lashes
from .hair import hair_layer
from .light import exposed
from .noise import BAND, Field, grain_tile, rng_for, widened
from .people import exposure_for
from .plan import LONG, PlannedFrame, SittingPlan
from .pose import View
from .relief import relief_of
from .scene import NOWHERE, Scene, build_scene, view_of
from .strokes import Brush
from .texture import add_texture
from .tone import develop, enlarge, to_bytes

CANVAS = 1350  # long side at which everything smooth is computed


@dataclass(frozen=True)
class Truth:
    """What is in a painted frame. Pixels of the upright picture of `width` × `height`."""

    name: str
    number: int
    captured_at: str  # camera clock, ISO, milliseconds
    look: str
    width: int
    height: int
    framing: str
    orientation: int
    eyes: tuple[EyeTruth, EyeTruth]  # the subject's right, left
    lids: float
    blink: bool
    sharp: bool
    soft: float
    smile: float
    yaw: float
    pitch: float
    roll: float
    crown: tuple[float, float]  # top of the skull, without hair
    chin: tuple[float, float]
    light: tuple[float, float, float]  # unit vector to the key: right, down, toward the camera
    lighting: str
    monochrome: bool
    run: int
    located: bool

    def as_dict(self) -> dict[str, Any]:
        return asdict(self)


def truth_of(plan: SittingPlan, frame: PlannedFrame, long_side: int = LONG) -> Truth:
    """The truth of a frame at a size, without painting it."""
    look, view = plan.look(frame.look), view_of(frame, long_side)
    relief = relief_of(plan.actor, frame.smile)
    eyes = [Eye(plan.actor, frame, view, relief, sign).truth(look.lights) for sign in (-1, 1)]
    chin_at = surface_points(relief, np.array([[0.0, 109.0 * plan.actor.long]]))[0]
    crown = view.to_pixels(np.array([0.0, -121.0, -80.0]))
    chin = view.to_pixels(chin_at)
    key = look.lights.lights[0].direction()
    return Truth(
        name=frame.name, number=frame.number, captured_at=frame.captured_at.isoformat(timespec="milliseconds"),
        look=frame.look, width=view.width, height=view.height, framing=frame.framing, orientation=frame.orientation,
        eyes=(eyes[0], eyes[1]), lids=frame.lids, blink=frame.lids < 0.3, sharp=frame.soft == 0, soft=frame.soft,
        smile=frame.smile, yaw=frame.yaw, pitch=frame.pitch, roll=frame.roll,
        crown=(float(crown[0]), float(crown[1])), chin=(float(chin[0]), float(chin[1])),
        light=(float(key[0]), float(key[1]), float(key[2])), lighting=look.lights.name,
        monochrome=look.treatment == "black and white", run=frame.run, located=frame.located,
    )  # fmt: skip


def _light_at(scene: Scene, place: NDArray[np.float64], factor: float) -> Field:
    """Mean light that fell on the skin about a place of the full picture, (3,)."""
    x, y = (place * factor).astype(int)
    reach = max(2, int(5 * scene.view.scale))
    window = scene.fall[max(y - reach, 0) : y + reach + 1, max(x - reach, 0) : x + reach + 1]
    if window.size == 0:
        return np.full(3, 0.5, np.float32)
    return np.asarray(np.median(window.reshape(-1, 3), axis=0), np.float32)


def _out_of_focus(picture: Pixels, sigma: float) -> Pixels:
    step = 2 if sigma > 3 else 1
    height, width = picture.shape[:2]
    small = cv2.resize(picture, (width // step, height // step), interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), sigma / step)
    return enlarge(small, width, height)


def _finish(picture: Pixels, plan: SittingPlan, frame: PlannedFrame, view: View) -> Pixels:
    """Softness of the lens and grain, band by band."""
    zoom = max(view.width, view.height) / LONG
    if frame.soft > 0:
        picture = _out_of_focus(picture, max(frame.soft * zoom, 0.9))
    grain = grain_tile(BAND, 0.6 if zoom > 0.5 else 0.45, plan.seed)
    shift = rng_for(plan.seed, 81, frame.index).integers(0, BAND, 2)
    noise = widened(grain, view.width, (int(shift[0]), int(shift[1])))
    strength = np.float32(0.011 if plan.look(frame.look).treatment == "colour" else 0.020)
    levels = np.round(noise * (strength * np.float32(255.0))).astype(np.int16)
    grains = cv2.merge([levels] * 3)
    for top in range(0, view.height, BAND):
        rows = slice(top, min(top + BAND, view.height))
        picture[rows] = cv2.add(picture[rows], grains[: rows.stop - top], dtype=cv2.CV_8U)
    return picture


def paint_frame(plan: SittingPlan, frame: PlannedFrame, long_side: int = LONG) -> Pixels:
    """The frame as an upright sRGB picture (height, width, 3) uint8 of the given long side in pixels.

    Raises ValueError for a long side under 300 pixels: an eye would be smaller than its parts.
    """
    if long_side < 300:
        raise ValueError(f"A painted frame needs a long side of at least 300 pixels, not {long_side}.")
    look, actor = plan.look(frame.look), plan.actor
    view = view_of(frame, long_side)
    factor = min(CANVAS, max(300.0, 0.6 * long_side)) / long_side
    canvas = view.resized(factor, round(view.width * factor), round(view.height * factor))
    nowhere = np.full((canvas.height, canvas.width), NOWHERE, np.float32)
    gain = exposure_for(actor)
    lights = exposed(look.lights, gain)
    back = hair_layer(actor, canvas, lights, look.treatment, nowhere, 1.0, "back")
    scene = build_scene(plan, frame, canvas, _sheet(back, canvas))
    picture = enlarge(to_bytes(develop(scene.picture, look.treatment)), view.width, view.height)
    add_texture(picture, scene.skin, scene.cloth, look.garment.cloth, view.scale, plan.seed)
    relief = relief_of(actor, frame.smile)
    for sign in (-1, 1):
        eye = Eye(actor, frame, view, relief, sign)
        fall = _light_at(scene, eye.place, factor)
        paint_eye(picture, eye, lights, fall * np.float32(gain**-0.5), look.treatment)
        paint_lashes(picture, eye, fall, look.treatment)
        brow_at = view.to_pixels(surface_points(relief, np.array([[sign * 30.0, -actor.brow_height]]))[0])
        paint_brow(picture, actor, frame, view, relief, sign, _light_at(scene, brow_at, factor), look.treatment)
    if view.scale < 3.0:
        hair = [hair_layer(actor, view, lights, look.treatment, scene.head_depth, factor, "whole")]
    else:  # what lies deep is drawn at half size: a lens would not hold it sharp, and it is most of the work
        half = view.resized(0.5, view.width // 2, view.height // 2)
        deep = hair_layer(actor, half, lights, look.treatment, scene.head_depth, factor * 2, "deep")
        top = hair_layer(actor, view, lights, look.treatment, scene.head_depth, factor, "top")
        hair = [deep.doubled() if deep else None, top]
    for layer in hair:
        if layer is not None:
            layer.blend(picture)
    return _finish(picture, plan, frame, view)


def _sheet(brush: Brush | None, canvas: View) -> Field | None:
    """The strokes behind the body as linear light, premultiplied, over the whole canvas."""
    if brush is None:
        return None
    full = np.zeros((canvas.height, canvas.width, 4), np.float32)
    ink = brush.sheet.astype(np.float32) / 255.0
    ink[..., :3] = ink[..., :3] ** 2.2 * 0.7
    full[brush.top : brush.top + ink.shape[0], brush.left : brush.left + ink.shape[1]] = ink
    return full
