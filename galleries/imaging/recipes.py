"""The only compositions: a proof, a reading, finals, a private view. One decode each.

Order inside a final, outermost last: decode in full and upright → crop (turned when tilted) → resize once to
the size's pixels, bleed included → output sharpening, held free of halos → black and white when asked → the
size's profile → `finish` (border, name strip: another module draws them) → encode within the byte cap →
rights metadata, whose bytes are reserved under the cap beforehand. Of a JPEG its own planes are cut and sharpened
(`output.cut_planes`), and made RGB at the final's size where something has to be done to its colours.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from galleries.imaging import slates
from galleries.imaging.arrays import Pixels
from galleries.imaging.codes import Code
from galleries.imaging.colour import convert
from galleries.imaging.colour.planes import Planes, from_rgb, halved, to_rgb
from galleries.imaging.colour.planes_to_srgb import planes_to_srgb
from galleries.imaging.errors import DoesNotFit
from galleries.imaging.face.reading import FrameReading
from galleries.imaging.framing.cut_order import CutOrder, Finish, check_order
from galleries.imaging.framing.geometry import Rect
from galleries.imaging.opening.decode import (
    open_planes,
    open_sensor,
    open_stored,
    turn_upright,
    view_upright,
)
from galleries.imaging.opening.picture import DEFAULT_LIMITS, FrameFacts, Limits, Picture, Stored, StoredPlanes
from galleries.imaging.opening.planes_view import UprightView
from galleries.imaging.output import encode, resize, sharpen
from galleries.imaging.output.cut_planes import cut_planes
from galleries.imaging.output.shrink_planes import averaged_first, shrink_again, shrink_planes
from galleries.told import Told, told

if TYPE_CHECKING:
    from galleries.imaging.drawing.stamp import StampText
    from galleries.imaging.rights import RightsRecord

PROOF_QUALITY = 82
MIDDLE_QUALITY = 76  # with a tracer woven in, real headshots come to 90 to 130 kB
SMALL_QUALITY = 77
VIEW_QUALITY = 90
_PROGRESSIVE = ("web", "casting")
READ_AT_LEAST = 2048  # long side the face is read from: irises of about 10 px in a headshot


@dataclass(frozen=True)
class ProofFiles:
    """Stamped sRGB JPEGs and what was seen in the same decode. `middle` is empty where none was asked for, or where it
    would be no smaller than the large one; `plain` is the picture without a stamp, if asked for."""

    large: bytes
    small: bytes
    middle: bytes
    large_size: tuple[int, int]
    small_size: tuple[int, int]
    facts: FrameFacts
    reading: FrameReading
    plain: bytes = b""


@dataclass(frozen=True)
class FinalFile:
    """A finished file; quality 0 for TIFF."""

    data: bytes
    width: int
    height: int
    sha256: str
    quality: int
    encodes: int
    warnings: tuple[Told, ...] = ()


def proof_pixels(stored: Stored, long_side: int) -> NDArray[np.uint8]:
    """Upright sRGB with the long side at `long_side`, or as it is when smaller: shrunk first, then turned
    and converted, since both cost by the pixel. A frame that lies on its side is turned in the middle of the shrinking,
    whose vertical half takes a third of the time of the other one."""
    facts, pixels = stored.facts, stored.pixels
    width, height = resize.fit_within(facts.width, facts.height, long_side)
    if facts.orientation >= 5:
        lower = resize.resize_to(pixels, pixels.shape[1], width)
        upright = resize.resize_to(turn_upright(lower, facts.orientation), width, height)
    else:
        upright = turn_upright(resize.resize_to(pixels, width, height), facts.orientation)
    return convert.between_profiles(upright, stored.profile, convert.srgb_profile(), 8)


def proof_planes(stored: StoredPlanes | Stored, long_side: int) -> Planes:
    """As `proof_pixels`, as planes with colour at half of both sides; a file's own planes are never made RGB."""
    if isinstance(stored, Stored):
        return from_rgb(proof_pixels(stored, long_side))
    facts = stored.facts
    size = resize.fit_within(facts.width, facts.height, long_side)
    return planes_to_srgb(shrink_planes(stored.planes, *size, facts.orientation), stored.profile)


def make_proof(
    source: bytes | Path,
    text: StampText,
    limits: Limits = DEFAULT_LIMITS,
    *,
    large: int = 2048,
    middle: int = 1080,
    small: int = 480,
    plain: int = 0,
    known: FrameReading | None = None,
) -> ProofFiles:
    """The stamped proof, its middle and its small companion, and the frame's reading, from one decode.

    `large`, `middle`, `small`: long sides in pixels, `middle` 0 for none; `plain`: that of the one without a stamp, 0
    for none. Never enlarged. `known`, the frame's reading when it was read before, saves reading it again (a new stamp
    text). Raises as `decode.open_picture`.
    """
    from galleries.imaging.drawing import stamp

    stored = open_planes(source, limits, at_least=max(large, READ_AT_LEAST))
    facts = stored.facts
    planes = proof_planes(stored, large)
    reading = known or _read(planes, stored)
    del stored
    faces = [face for face in (reading.face, *reading.others) if face is not None]
    large_size, middle_size, small_size, plain_size = (
        resize.fit_within(facts.width, facts.height, side) for side in (large, middle, small, plain)
    )

    bare = b""
    if plain:
        view = shrink_planes(averaged_first(planes, *plain_size), *plain_size)
        bare = encode.encode_planes(view, quality=VIEW_QUALITY)
    # Stamped once: shrunk, the large one has the same stamp as its smaller companions would be given, drawn finer.
    marked = stamp.stamp_planes(planes, text, [face.scaled(planes.size[0] / facts.width) for face in faces])
    del planes
    large_data, middle_data = encode.encode_planes(marked, quality=PROOF_QUALITY), b""
    if 0 < middle < max(large_size):
        between = shrink_again(marked, *middle_size)
        middle_data = encode.encode_planes(between, quality=MIDDLE_QUALITY)
        if small <= middle:
            marked = between  # the nearest that is larger
    small_data = encode.encode_planes(shrink_again(marked, *small_size), quality=SMALL_QUALITY)
    return ProofFiles(large_data, small_data, middle_data, large_size, small_size, facts, reading, bare)


def _read(picture: Planes | NDArray[np.uint8], stored: StoredPlanes | Stored) -> FrameReading:
    """Face and colours from the shrunken sRGB picture, fine detail from the decode itself."""
    from galleries.imaging.face import reading

    facts = stored.facts
    size = (facts.width, facts.height)
    fine: Any
    rgb: Any
    if isinstance(stored, StoredPlanes):
        fine = UprightView(stored.planes, facts.orientation)
    else:
        fine = view_upright(stored.pixels, facts.orientation)
        if fine.dtype != np.uint8:
            fine = convert.depth(fine, 8)
    rgb, look = picture, None
    if isinstance(picture, Planes):
        rgb = UprightView(picture)
        if max(picture.size) // reading.LOOK_SIDE == 2:  # as much of light as there is of colour
            look = to_rgb(Planes(halved(picture.luma), picture.cb, picture.cr))
    return reading.read_pixels(rgb, full_size=size, fine=fine, fine_scale=stored.scale, look=look)


def read_frame(source: bytes | Path, limits: Limits = DEFAULT_LIMITS) -> tuple[FrameFacts, FrameReading]:
    """Facts and reading without making a proof. Raises as `decode.open_picture`."""
    stored = open_stored(source, limits, at_least=READ_AT_LEAST)
    return stored.facts, _read(proof_pixels(stored, READ_AT_LEAST), stored)


class SlateView(NamedTuple):
    """What was seen of a slate, and the picture without a stamp as `make_view` makes it."""

    seen: slates.SlateSight
    plain: bytes


def look_for_slate(source: bytes | Path, plain: int, limits: Limits = DEFAULT_LIMITS) -> SlateView:
    """Whether the frame shows a slate, and its picture with the long side at `plain`, from one decode. Raises as
    `decode.open_picture`."""
    stored = open_stored(source, limits, at_least=READ_AT_LEAST)
    picture = proof_pixels(stored, READ_AT_LEAST)
    facts = stored.facts
    del stored
    bare = resize.shrink_far(picture, *resize.fit_within(facts.width, facts.height, plain))
    return SlateView(slates.look_for(picture), _view_of(bare))


def make_view(source: bytes | Path, long_side: int = 3000, limits: Limits = DEFAULT_LIMITS) -> bytes:
    """An unstamped sRGB JPEG for the photographer's own desk; never enlarged, nothing carried over."""
    stored = open_stored(source, limits, at_least=long_side)
    return _view_of(proof_pixels(stored, min(long_side, max(stored.pixels.shape[:2]))))


def cut_sensor(source: bytes | Path, region: Rect, limits: Limits = DEFAULT_LIMITS) -> bytes:
    """`region` of a raw file's sensor, developed in full and upright, pixel for pixel as an sRGB JPEG; what of it lies
    outside is left out. Raises as `decode.open_sensor`."""
    pixels = open_sensor(source, limits)
    inside = region.clamp_to(pixels.shape[1], pixels.shape[0])
    return _view_of(np.ascontiguousarray(pixels[inside.y : inside.bottom, inside.x : inside.right]))


def _view_of(pixels: NDArray[np.uint8]) -> bytes:
    return encode.encode_jpeg(pixels, quality=VIEW_QUALITY, progressive=False)


# --- finals ---------------------------------------------------------------------------------------------


def _warnings(order: CutOrder) -> tuple[Told, ...]:
    size, crop = order.size, order.crop
    if size.full_frame:
        return ()
    width, height = size.out_width, size.out_height
    effective = min(size.ppi * crop.width / width, size.ppi * crop.height / height)
    warnings = []
    if crop.width < width or crop.height < height:
        warnings.append(
            told(
                Code.ENLARGED,
                enlarged_times=round(width / crop.width, 2),
                width_px=crop.width,
                height_px=crop.height,
                out_width_px=width,
                out_height_px=height,
                effective_ppi=round(effective),
                wanted_ppi=size.ppi,
            )
        )
    if size.min_ppi and effective < size.min_ppi:
        warnings.append(told(Code.UNDER_PPI, effective_ppi=round(effective), least_ppi=size.min_ppi, size=size.slug))
    return tuple(warnings)


def render(picture: Picture, order: CutOrder, finish: Finish | None = None) -> Pixels:
    """The final's pixels, in the size's profile and bits."""
    crop, size = order.crop, order.size
    width, height = order.out_size
    frame, part = picture.pixels, crop
    if order.tilt_deg:
        frame, part = resize.cut_turned(frame, crop, order.tilt_deg), Rect(0, 0, crop.width, crop.height)
    pixels = resize.resize_to(frame, width, height, part)
    percent = sharpen.amount_for(size.use, crop.width / width)
    if percent or (width, height) != (part.width, part.height):
        source = frame[part.y : part.bottom, part.x : part.right]
        pixels = sharpen.without_halos(sharpen.sharpen(pixels, percent), source)
    return _finished(pixels, picture.profile, order, finish)


def _finished(pixels: Pixels, profile: bytes, order: CutOrder, finish: Finish | None) -> Pixels:
    if order.monochrome:
        pixels = convert.to_monochrome(pixels, profile)
    pixels = convert.between_profiles(pixels, profile, order.target, order.size.bits)
    return finish(pixels, order) if finish else pixels


class _Original:
    """One decode that every final is cut from."""

    def __init__(self, stored: StoredPlanes | Stored) -> None:
        self.facts = stored.facts
        self._stored = stored

    @cached_property
    def _picture(self) -> Picture:
        """The whole of it as RGB."""
        stored = self._stored
        pixels = to_rgb(stored.planes) if isinstance(stored, StoredPlanes) else stored.pixels
        return Picture(turn_upright(pixels, self.facts.orientation), stored.profile, self.facts, stored.scale)

    def cut(self, order: CutOrder, finish: Finish | None) -> Pixels | Planes:
        """The final's pixels; its planes where nothing is left to be done but to encode them."""
        stored, crop = self._stored, order.crop
        if order.tilt_deg or isinstance(stored, Stored):
            return render(self._picture, order, finish)
        width, height = order.out_size
        percent = sharpen.amount_for(order.size.use, crop.width / width)
        if not percent and (width, height) == (crop.width, crop.height):  # pixel for pixel: RGB of that part alone
            view: Any = UprightView(stored.planes, self.facts.orientation)
            return render(Picture(view, stored.profile, self.facts), order, finish)
        planes = cut_planes(stored, crop, width, height, percent)
        if _ready(order, stored.profile, finish):
            return planes
        return _finished(to_rgb(planes), stored.profile, order, finish)


def _ready(order: CutOrder, profile: bytes, finish: Finish | None) -> bool:
    """Whether planes in `profile` with all their colour can be encoded as they are."""
    size = order.size
    drawn_on = finish is not None and bool(size.border or size.name_strip)
    plain = size.file_format == "JPEG" and not size.byte_cap and size.use not in _PROGRESSIVE
    whole = plain and encode.subsampling_for(size.use, *order.out_size) == "444"
    return whole and not drawn_on and not order.monochrome and convert.same_colours(profile, order.target)


def _encode(pixels: Pixels | Planes, order: CutOrder, reserve: int) -> encode.Encoded:
    size = order.size
    icc = order.target
    if isinstance(pixels, Planes):
        return encode.encoded(encode.encode_planes(pixels, quality=size.quality, ppi=size.ppi, icc=icc), size.quality)
    if size.file_format == "TIFF":
        data = encode.encode_tiff(pixels, ppi=size.ppi, icc=icc)
        if size.byte_cap and len(data) + reserve > size.byte_cap:
            raise DoesNotFit(Code.TIFF_OVER_CAP, size_bytes=len(data) + reserve, cap_bytes=size.byte_cap)
        return encode.encoded(data)
    height, width = pixels.shape[:2]
    options: dict[str, Any] = {
        "progressive": size.use in _PROGRESSIVE,
        "subsampling": encode.subsampling_for(size.use, width, height),
        "ppi": size.ppi,
        "icc": icc,
    }
    if not size.byte_cap:
        return encode.encoded(encode.encode_jpeg(pixels, quality=size.quality, **options), size.quality)
    start = min(encode.START_QUALITY, size.quality)
    try:
        return encode.encode_within(pixels, size.byte_cap - reserve, start, ceiling=size.quality, **options)
    except DoesNotFit as error:  # told of the whole file, as the cap is
        numbers = error.told.data.items()
        whole = {name: value + reserve for name, value in numbers if name in _OF_THE_FILE and isinstance(value, int)}
        raise DoesNotFit(Code(error.told.code), **{**error.told.data, **whole}) from error


_OF_THE_FILE = ("size_bytes", "cap_bytes", "tags_bytes")


def _rights_overhead(record: RightsRecord | None, order: CutOrder) -> int:
    """Bytes the rights metadata add to a file of this kind, measured on a tiny one, with room to spare."""
    if record is None or not order.size.byte_cap:
        return 0
    from galleries.imaging import rights

    tiny = encode.encode_jpeg(np.zeros((16, 16, 3), np.uint8), quality=50)
    return max(0, len(rights.write_rights(tiny, record)) - len(tiny)) + 64


def make_finals(
    source: bytes | Path,
    orders: Sequence[CutOrder],
    limits: Limits = DEFAULT_LIMITS,
    rights: RightsRecord | None = None,
    *,
    finish: Finish | None = None,
    reserve: int = 0,
) -> list[FinalFile]:
    """Every order cut from one full decode, in order, rights written last when a record is given.

    `reserve`: bytes that will still be added to each file, and must find room under its cap.

    A crop with fewer pixels than its size is enlarged and says so in `warnings`. Raises `BadCrop`,
    `DoesNotFit`, `BadRights`, and as `decode.open_picture`.
    """
    original = _Original(open_planes(source, limits))
    for order in orders:
        check_order(order, original.facts.width, original.facts.height)
    return [_final(original, order, rights, finish, reserve) for order in orders]


def _final(
    original: _Original, order: CutOrder, record: RightsRecord | None, finish: Finish | None, reserve: int
) -> FinalFile:
    pixels = original.cut(order, finish)
    done = _encode(pixels, order, _rights_overhead(record, order) + reserve)
    if record is not None:
        from galleries.imaging.rights import write_rights

        done = replace(encode.encoded(write_rights(done.data, record)), quality=done.quality, encodes=done.encodes)
    cap = order.size.byte_cap
    if cap and len(done.data) + reserve > cap:
        raise DoesNotFit(Code.OVER_WITH_RIGHTS, size_bytes=len(done.data) + reserve, cap_bytes=cap)
    width, height = order.out_size
    return FinalFile(done.data, width, height, done.sha256, done.quality, done.encodes, _warnings(order))
