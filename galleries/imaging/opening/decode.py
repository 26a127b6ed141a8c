"""The sanctioned opener: limits before decode, strict decoding, upright pixels, profile known.

Nothing is ever patched up: a truncated or damaged file raises `Unreadable` with a sentence, it never gives
a grey half. Orientation is applied; the first picture of a file with several is taken.
"""

from __future__ import annotations

import mmap
import os
from pathlib import Path

import cv2
import numpy as np

from galleries.imaging.arrays import Bytes, Pixels
from galleries.imaging.codes import Code
from galleries.imaging.colour import convert, profiles
from galleries.imaging.colour.planes import Planes
from galleries.imaging.containers import raw as raw_files
from galleries.imaging.errors import TooLarge, Unreadable, Unsupported, error_name
from galleries.imaging.framing.geometry import oriented_size
from galleries.imaging.opening import formats, raw
from galleries.imaging.opening.exif import read_exif
from galleries.imaging.opening.picture import (
    DEFAULT_LIMITS,
    FrameFacts,
    Limits,
    Picture,
    Shown,
    Stored,
    StoredPlanes,
)
from galleries.told import Value

_STRIP = 64  # rows


def load_bytes(source: bytes | Path, limits: Limits) -> Bytes:
    """The file's bytes. Those of a raw file are mapped, because of one that holds a large picture little else is looked
    at, and those of a JPEG, which are walked through once: copying 13 MB takes a twentieth of what reading them does.

    Raises `TooLarge` before reading, `Unreadable` when there is no such file.
    """
    if isinstance(source, bytes):
        size = len(source)
    else:
        try:
            size = source.stat().st_size
        except OSError as error:
            raise Unreadable(Code.FILE_UNREADABLE, name=source.name, error=error_name(error)) from error
    if size > limits.max_bytes:
        raise TooLarge(Code.TOO_MANY_BYTES, size_bytes=size, most_bytes=limits.max_bytes)
    try:
        return source if isinstance(source, bytes) else _mapped(source) if size else b""
    except OSError as error:
        raise Unreadable(Code.FILE_UNREADABLE, name=getattr(source, "name", ""), error=error_name(error)) from error


def _mapped(source: Path) -> Bytes:
    with source.open("rb") as file:
        if os.pread(file.fileno(), len(formats.JPEG_BEGINS), 0) == formats.JPEG_BEGINS:
            return mmap.mmap(file.fileno(), 0, flags=mmap.MAP_SHARED | mmap.MAP_POPULATE, prot=mmap.PROT_READ)
        mapped = mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)
    if raw_files.kind_of(mapped):
        return mapped
    mapped.close()
    return source.read_bytes()


def _check_size(header: formats.Header, limits: Limits) -> None:
    _check_sides(header, header.width, header.height, limits)
    if header.sensor is not None:  # it may be developed later
        _check_sides(header, header.sensor.width, header.sensor.height, limits)


def _check_sides(header: formats.Header, width: int, height: int, limits: Limits) -> None:
    this: dict[str, Value] = {"kind": header.format, "width_px": width, "height_px": height}
    if width < 1 or height < 1:
        raise Unreadable(Code.NO_SIZE, **this)
    if max(width, height) > limits.max_side:
        raise TooLarge(Code.SIDE_TOO_LONG, **this, most_px=limits.max_side)
    if width * height > limits.max_pixels:
        raise TooLarge(Code.TOO_MANY_PIXELS, **this, size_pixels=width * height, most_pixels=limits.max_pixels)


def _judge_profile(header: formats.Header, exif_colour: str) -> tuple[profiles.ProfileVerdict, bool]:
    """The verdict on the colours of the stored pixels, and whether they are assumed rather than said."""
    problem = header.icc_problem
    if header.icc:
        verdict = profiles.examine(header.icc, header.space)
        if verdict.icc:
            return verdict, False
        problem = verdict.problem
    if header.named_space and not problem:
        return profiles.ProfileVerdict(profiles.build(header.named_space), header.named_space), False
    if exif_colour == "Adobe RGB" and header.space == "RGB" and not problem:
        return profiles.ProfileVerdict(profiles.build("Adobe RGB"), "Adobe RGB, as EXIF says (R03)"), False
    name = "CMYK without profile" if header.space == "CMYK" else "sRGB"
    return profiles.ProfileVerdict(b"", name, problem), True


def _examine(data: Bytes, limits: Limits) -> tuple[formats.Header, profiles.ProfileVerdict, FrameFacts]:
    header = formats.read_header(data)
    _check_size(header, limits)
    exif = header.facts or read_exif(header.exif)
    verdict, assumed = _judge_profile(header, exif.colour)
    orientation = 1 if header.oriented else exif.orientation
    width, height = oriented_size(orientation, header.width, header.height)
    sensor = header.sensor
    sides = oriented_size(sensor.orientation, sensor.width, sensor.height) if sensor else (0, 0)
    facts = FrameFacts(
        header.format, width, height, orientation, header.bits, header.mode,
        verdict.name, assumed, verdict.problem, exif.captured_at, exif.camera, exif.frame_number,
        header.shown, *sides,
    )  # fmt: skip
    return header, verdict, facts


def probe(source: bytes | Path, limits: Limits = DEFAULT_LIMITS) -> FrameFacts:
    """Facts from the header alone; raises `Unsupported`, `Unreadable` or `TooLarge`."""
    return _examine(load_bytes(source, limits), limits)[2]


def _scale_for(header: formats.Header, at_least: int | None) -> float:
    """The smallest of 1, 1/2, 1/4, 1/8 whose long side still has `at_least` pixels; JPEG only. Of a raw
    file's sensor half the size will do for whatever is looked at, if that is as large as an embedded picture is.

    A picture decoded at half its size aliases: of a wave finer than the proof can show (1.5 to 2.5 times its limit)
    up to 0.34 comes back coarser, where a full decode leaves 0.014. Tried: 5/8 0.062, 3/4 0.033, 7/8 0.013, but the
    decoder has fast code for halves only: 55 to 120 ms more for 24 megapixels, a full decode 30 to 80 ms and four times
    the pixels to walk through after it, of a proof that takes 190 ms in all. Portraits hold next to nothing so fine.
    """
    if at_least is None:
        return 1.0
    longest = max(header.width, header.height)
    if header.shown == Shown.SENSOR:
        return 0.5 if longest >= 2 * min(at_least, raw.LEAST_EMBEDDED) else 1.0
    if header.format != "JPEG" and header.shown != Shown.EMBEDDED:
        return 1.0
    return next((s for s in (0.125, 0.25, 0.5) if longest * s >= at_least), 1.0)


def open_stored(source: bytes | Path, limits: Limits = DEFAULT_LIMITS, *, at_least: int | None = None) -> Stored:
    """As `open_picture`, but not yet turned upright: for callers that shrink first and turn afterwards."""
    data = load_bytes(source, limits)
    header, verdict, facts = _examine(data, limits)
    scale = _scale_for(header, at_least)
    return Stored(formats.read_pixels(data, header, verdict, scale), _profile_of(header, verdict), facts, scale)


def open_planes(
    source: bytes | Path, limits: Limits = DEFAULT_LIMITS, *, at_least: int | None = None
) -> StoredPlanes | Stored:
    """As `open_stored`, but a JPEG that keeps light and colour apart in the planes that it has."""
    data = load_bytes(source, limits)
    header, verdict, facts = _examine(data, limits)
    scale = _scale_for(header, at_least)
    picture, profile = formats.read_planes(data, header, verdict, scale), _profile_of(header, verdict)
    if isinstance(picture, Planes):
        return StoredPlanes(picture, profile, facts, scale)
    return Stored(picture, profile, facts, scale)


def _profile_of(header: formats.Header, verdict: profiles.ProfileVerdict) -> bytes:
    return verdict.icc if header.space == "RGB" and verdict.icc else convert.srgb_profile()


def turn_upright(pixels: Pixels, orientation: int) -> Pixels:
    """Pixels (h, w, 3), or a plane (h, w), as displayed under an EXIF orientation; the same array for 1."""
    flip = {2: 1, 3: -1, 4: 0, 6: 1, 7: -1, 8: 0}.get(orientation)
    if orientation in (5, 6, 7, 8):
        pixels = _transposed(pixels)
        return pixels if flip is None else cv2.flip(pixels, flip, dst=pixels)
    return pixels if flip is None else cv2.flip(pixels, flip)


def _transposed(pixels: Pixels) -> Pixels:
    """Rows as columns: of 8 bits in strips and four bytes a pixel, which takes half the time."""
    if pixels.dtype != np.uint8 or pixels.ndim != 3 or pixels.shape[2] != 3:
        return cv2.transpose(pixels)
    height, width = pixels.shape[:2]
    out = np.empty((width, height, 3), np.uint8)
    for row in range(0, height, _STRIP):
        by_four = cv2.cvtColor(pixels[row : row + _STRIP], cv2.COLOR_RGB2RGBA)
        out[:, row : row + _STRIP] = cv2.cvtColor(cv2.transpose(by_four), cv2.COLOR_RGBA2RGB)
    return out


def view_upright(pixels: Pixels, orientation: int) -> Pixels:
    """As `turn_upright`, as a view of the same memory: free to make, slower to walk through."""
    if orientation in (5, 6, 7, 8):
        pixels = pixels.swapaxes(0, 1)
    across, down = orientation in (2, 3, 6, 7), orientation in (3, 4, 7, 8)
    return pixels[:: -1 if down else 1, :: -1 if across else 1]


def open_picture(source: bytes | Path, limits: Limits = DEFAULT_LIMITS, *, at_least: int | None = None) -> Picture:
    """Decode, strictly and upright. `at_least`: the long side wanted; a JPEG may then come at 1/2, 1/4, 1/8.

    Raises `Unsupported`, `Unreadable` or `TooLarge`.
    """
    stored = open_stored(source, limits, at_least=at_least)
    pixels = turn_upright(stored.pixels, stored.facts.orientation)
    return Picture(pixels, stored.profile, stored.facts, stored.scale)


def open_sensor(source: bytes | Path, limits: Limits = DEFAULT_LIMITS) -> Pixels:
    """The sensor's picture of a raw file in full, upright, sRGB (h, w, 3) of 8 bits, whatever people else see of it.

    Raises `Unsupported` (also where the file is no raw file), `Unreadable` or `TooLarge`.
    """
    data = load_bytes(source, limits)
    header = _examine(data, limits)[0]
    if header.sensor is None:
        raise Unsupported(Code.RAW_FRAME)
    return view_upright(raw.develop(data, header.format, half=False), header.sensor.orientation)


def verify(source: bytes | Path, limits: Limits = DEFAULT_LIMITS) -> FrameFacts:
    """Read all of the picture's data once and return the facts; raises as `open_picture`."""
    data = load_bytes(source, limits)
    header, verdict, facts = _examine(data, limits)
    formats.check_pixels(data, header, verdict, _scale_for(header, at_least=1))
    return facts
