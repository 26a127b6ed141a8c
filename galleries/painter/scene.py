"""The sitter before the backdrop, lit, at the reduced size where everything is smooth."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from .backdrop import paint_backdrop
from .body import BodyView, build_body, relief_normals
from .light import LightSet, cast_shadow, diffuse, exposed, shine, skin_light
from .march import HeadHit, march
from .noise import Field, smoothstep
from .people import exposure_for
from .plan import LONG, SHORT, PlannedFrame, PlannedLook, SittingPlan
from .pose import Pose, View
from .relief import relief_of
from .skin import skin_of

NOWHERE = -400.0
# Pixels per mm at 6000 long side, height of the eyes over the picture's height.
FRAMINGS = {"head": (12.4, 0.405), "half": (7.3, 0.275), "wide": (9.6, 0.425)}


@dataclass(frozen=True)
class Scene:
    """Linear light (h, w, 3) at the canvas scale, with what the finer layers need to know."""

    view: View  # at the canvas scale
    picture: Field
    depth: Field  # of head and body, mm toward the camera, NOWHERE behind
    head_depth: Field
    skin: Field  # coverage of bare skin
    cloth: Field
    fall: Field  # light that reaches the skin, before its colour (h, w, 3)


def view_of(frame: PlannedFrame, long_side: int) -> View:
    """The camera of a frame for a picture of the given long side in pixels."""
    zoom = long_side / LONG
    short = round(SHORT * zoom)
    width, height = (long_side, short) if frame.wide else (short, long_side)
    scale, eyes = FRAMINGS["wide" if frame.wide else frame.framing]
    scale *= zoom
    aside = 0.06 * width if frame.wide else 0.0
    origin = (width / 2 - aside + frame.shift[0] * scale, height * eyes + frame.shift[1] * scale)
    return View(width, height, scale, origin, Pose(frame.yaw, frame.pitch, frame.roll))


def _over(below: Field, above: Field, cover: Field) -> Field:
    return np.asarray(below + (above - below) * cover[..., None], np.float32)


def _placed(window: Field, hit: HeadHit, view: View, fill: float) -> Field:
    shape = (view.height, view.width, *window.shape[2:])
    full = np.full(shape, fill, np.float32)
    full[hit.top : hit.top + window.shape[0], hit.left : hit.left + window.shape[1]] = window
    return full


def _enlarge(hit: HeadHit, coarse: View, view: View) -> HeadHit:
    """The hits of a coarser view, at the size of a finer one."""
    factor = view.scale / coarse.scale
    if factor == 1.0:
        return hit
    height, width = hit.gap.shape
    left, top = round(hit.left * factor), round(hit.top * factor)
    tall, broad = min(round(height * factor), view.height - top), min(round(width * factor), view.width - left)
    yy = ((np.arange(tall) + top + 0.5) / factor - 0.5 - hit.top).astype(np.float32)
    xx = ((np.arange(broad) + left + 0.5) / factor - 0.5 - hit.left).astype(np.float32)
    gx, gy = np.meshgrid(xx, yy)

    def grown(field: Field) -> Field:
        return cv2.remap(field, gx, gy, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)

    return HeadHit(left, top, grown(hit.column), grown(hit.row), grown(hit.depth), grown(hit.gap))


def lit_surface(
    normal: Field, depth: Field, surface: tuple[Field, Field, Field], lights: LightSet, scale: float, soft_skin: bool
) -> tuple[Field, Field]:
    """Shaded linear picture and the light that fell on it, both (h, w, 3). `surface`: albedo, gloss, hollow."""
    albedo, gloss, hollow = surface
    ambient = np.asarray(lights.ambient, np.float32) * (0.62 - 0.38 * normal[..., 1:2])
    fall = ambient * (hollow**1.6)[..., None]
    key = lights.lights[0]
    bounce = np.maximum(normal[..., 1:2], 0.0) * np.float32(0.20 * key.power)  # from the chest and the floor
    fall = fall + bounce * np.asarray(key.colour, np.float32) * np.array([1.0, 0.86, 0.76], np.float32)
    gleam = np.zeros_like(albedo)
    for light in lights.lights:
        reach = cast_shadow(depth, light, scale)
        colour = np.asarray(light.colour, np.float32) * np.float32(light.power)
        lit = diffuse(normal, light) * reach * hollow ** (0.5 + 0.7 * light.soft)
        fall = fall + (skin_light(lit, colour, scale) if soft_skin else lit[..., None] * colour)
        gleam += (shine(normal, light, 30.0) * gloss * reach * hollow)[..., None] * colour
    return np.asarray(albedo * fall * 0.55 + gleam * 0.42, np.float32), np.asarray(fall, np.float32)


def _body_layer(plan: SittingPlan, look: PlannedLook, frame: PlannedFrame, view: View) -> BodyView:
    yy, xx = np.mgrid[0 : view.height, 0 : view.width].astype(np.float32)
    lean = frame.shift[0] * 0.55 + frame.roll * 0.9
    x = (xx - (view.origin[0] - lean * view.scale)) / view.scale
    y = (yy - (view.origin[1] - 0.5 * frame.shift[1] * view.scale)) / view.scale
    y = y - np.float32(np.tan(np.deg2rad(frame.roll * 0.35))) * x
    turn = np.float32(1.0 / np.cos(np.deg2rad(14.0)))
    return build_body(plan.actor, look.garment, x * turn, y, view.scale, lean)


def build_scene(plan: SittingPlan, frame: PlannedFrame, view: View, back_hair: Field | None = None) -> Scene:
    """Light and layer everything smooth. `back_hair` (h, w, 4), linear and premultiplied, goes behind the body."""
    look = plan.look(frame.look)
    gain = exposure_for(plan.actor)
    lights = exposed(look.lights, gain)
    relief, tables = relief_of(plan.actor, frame.smile), skin_of(plan.actor, frame.smile)
    zoom = {"head": 1.0, "half": 0.62}[frame.framing] if not frame.wide else 0.9
    picture = paint_backdrop(look.ground, plan.seed, view.width, view.height, zoom,
                             (frame.shift[0] * view.scale * 0.3, 0.0))  # fmt: skip
    picture = picture * np.float32(gain**0.35)
    if back_hair is not None:
        picture = picture * (1.0 - back_hair[..., 3:]) + back_hair[..., :3]
    coarse = view.resized(0.5, view.width // 2, view.height // 2)
    hit = _enlarge(march(coarse, relief), coarse, view)
    head_depth = np.where(hit.gap < 0, hit.depth, np.float32(NOWHERE))
    head_depth = _placed(head_depth, hit, view, NOWHERE)
    body = _body_layer(plan, look, frame, view)
    both = np.maximum(head_depth, np.where(body.cover > 0.5, body.depth, np.float32(NOWHERE)))
    gloss = 0.30 * (1.0 - body.cloth) + (0.10 if look.garment.cloth == "weave" else 0.03) * body.cloth
    calmer = np.float32(1.0 - gain**-0.6)  # clothes need no more light because the skin does
    dressed = body.albedo * (1.0 - calmer * body.cloth)[..., None]
    shaded, body_fall = lit_surface(relief_normals(body.depth, view.scale), both, (dressed, gloss, body.hollow),
                                    lights, view.scale, False)  # fmt: skip
    under_chin = cv2.GaussianBlur((head_depth > NOWHERE).astype(np.float32), (0, 0), 16.0 * view.scale)
    shaded *= (1.0 - 0.55 * under_chin * (1 - body.cloth) * smoothstep(NOWHERE, -60.0, body.depth))[..., None]
    picture = _over(picture, shaded, body.cover)
    normal = cv2.remap(relief.normal, hit.column, hit.row, cv2.INTER_LINEAR) @ view.pose.matrix().T.astype(np.float32)
    seen = [cv2.remap(table, hit.column, hit.row, cv2.INTER_LINEAR)
            for table in (tables.albedo, tables.gloss, relief.hollow)]  # fmt: skip
    rows, columns = slice(hit.top, hit.top + hit.gap.shape[0]), slice(hit.left, hit.left + hit.gap.shape[1])
    face, fall = lit_surface(normal, both[rows, columns], (seen[0], seen[1], seen[2]), lights, view.scale, True)
    cover = smoothstep(0.7, -0.7, hit.gap * view.scale)
    behind = body.depth[rows, columns] - hit.depth  # the neck comes before the underside of the jaw
    cover = cover * (1.0 - smoothstep(-2.0, 5.0, behind) * (body.cover[rows, columns] > 0.5))
    picture[rows, columns] = _over(picture[rows, columns], face, cover)
    body_fall[rows, columns] = _over(body_fall[rows, columns], fall, cover)
    head = _placed(cover, hit, view, 0.0)
    skin = np.maximum(head, body.cover * (1.0 - body.cloth))
    return Scene(view, picture, both, head_depth, skin, body.cloth * body.cover * (1.0 - head), body_fall)
