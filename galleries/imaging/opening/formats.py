"""One reader per format: a header without pixels, and the stored pixels, strictly.

Content decides the format, never the name. Pixels come as stored (not yet turned upright), 3 bands RGB. A raw file
is the camera's own picture inside it, read as the JPEG it is, or the sensor's (`raw`).
"""

from __future__ import annotations

import re
import struct
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
import pillow_heif
import simplejpeg
from numpy.typing import NDArray

from galleries.imaging.arrays import Bytes, Pixels
from galleries.imaging.codes import Code
from galleries.imaging.colour import convert, profiles
from galleries.imaging.colour.planes import Planes
from galleries.imaging.containers import jpeg, tiff, vips
from galleries.imaging.containers import raw as raw_files
from galleries.imaging.containers.jpeg import JpegParts
from galleries.imaging.errors import ImagingError, TooLarge, Unreadable, Unsupported
from galleries.imaging.opening import jpeg_planes, png_colours, raw
from galleries.imaging.opening.exif import ExifFacts, read_exif, read_exif_apart
from galleries.imaging.opening.picture import RAW_KINDS, Shown
from galleries.told import Told, told

_T = TypeVar("_T")
JPEG_BEGINS = b"\xff\xd8\xff"
_HEIF_BRANDS = frozenset({b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"})
_EXTRANEOUS = re.compile(r"(\d+) extraneous bytes before marker 0xd9")
_MOST_PADDING = 4096
SURROUND = 119  # sRGB code value of CIE L* 50: the mid grey that transparent parts are laid on
_HEIF_ERRORS = (
    ValueError, OSError, RuntimeError, EOFError, SyntaxError, LookupError, TypeError, AttributeError, struct.error
)  # fmt: skip
_SRGB_LIKE_CURVES = (1, 2, 6, 13)


@dataclass(frozen=True)
class Header:
    """What is known before decoding; width and height as stored. `space`: RGB, GRAY or CMYK."""

    format: str
    width: int
    height: int
    bits: int
    space: str
    alpha: bool = False
    exif: bytes = b""
    icc: bytes = b""
    icc_problem: Told | None = None
    oriented: bool = False  # the decoder turns the picture itself, the EXIF tag is to be ignored
    named_space: str = ""  # colours said without a profile
    jpeg: JpegParts | None = None
    facts: ExifFacts | None = None  # facts that do not stand in `exif`
    shown: Shown = Shown.FILE
    embedded: bytes = b""  # the JPEG that is shown instead of the file
    sensor: raw.Sensor | None = None

    @property
    def mode(self) -> str:
        return self.space + ("A" if self.alpha else "")


def sniff(data: Bytes) -> str:
    """ "JPEG", "TIFF", "PNG", "HEIF" or a kind of raw, from the content; raises `Unsupported`."""
    if kind := raw_files.kind_of(data):
        return kind
    if data[: len(JPEG_BEGINS)] == JPEG_BEGINS:
        return "JPEG"
    if data[:8] == b"\x89PNG\r\n\x1a\n":
        return "PNG"
    if data[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        return "TIFF"
    if data[4:8] == b"ftyp" and data[8:12] in _HEIF_BRANDS:
        return "HEIF"
    if not data:
        raise Unsupported(Code.EMPTY)
    raise Unsupported(Code.NO_PICTURE)


# --- JPEG -----------------------------------------------------------------------------------------------


def _jpeg_header(data: Bytes) -> Header:
    parts = jpeg.read_parts(data)
    space = {1: "GRAY", 3: "RGB", 4: "CMYK"}[parts.components]
    return Header(
        "JPEG", parts.width, parts.height, 8, space,
        exif=parts.exif, icc=parts.icc, icc_problem=parts.icc_problem, jpeg=parts,
    )  # fmt: skip


def _pixels_of(data: Bytes, header: Header, scale: float) -> NDArray[np.uint8]:
    height, width = (-int(-side * scale // 1) for side in (header.height, header.width))
    pixels: NDArray[np.uint8] = simplejpeg.decode_jpeg(
        data, header.space, False, False, min_height=height, min_width=width
    )
    return pixels


def _light_of(data: Bytes, header: Header, scale: float) -> NDArray[np.uint8]:
    """Of a JPEG that keeps light and colour apart, light alone: colour's data are read and judged all the same."""
    apart = header.space == "RGB" and simplejpeg.decode_jpeg_header(data)[2] == "YCbCr"
    return _pixels_of(data, replace(header, space="GRAY") if apart else header, scale)


def _planes_of(data: Bytes, header: Header, scale: float) -> Planes | NDArray[np.uint8]:
    if header.jpeg is None or header.space != "RGB" or not jpeg_planes.has_planes(data, header.jpeg):
        return _pixels_of(data, header, scale)
    return jpeg_planes.decode(data, header.jpeg, scale)


def _refusal(kind: str, error: Exception, what: Code = Code.DATA_DAMAGED) -> ImagingError:
    """The refusal for a decoder's complaint, whose own words stay with the error's cause."""
    message = str(error).lower()
    if "out of memory" in message or "insufficient memory" in message:
        return TooLarge(Code.NEEDS_MEMORY, kind=kind)
    if "premature end of jpeg" in message:
        return Unreadable(Code.JPEG_CUT_OFF)
    return Unreadable(what, kind=kind)


def _decode_jpeg(data: Bytes, header: Header, scale: float, strictly: Callable[[Bytes, Header, float], _T]) -> _T:
    """What `strictly` makes of the file, which raises ValueError in libjpeg's words for all that is not quite right."""
    parts = header.jpeg
    if parts is None:
        raise Unreadable(Code.JPEG_NO_FRAME)
    if parts.progressive and jpeg.scans_and_end(data, parts.scan_at)[0] > jpeg.MOST_SCANS:
        raise Unreadable(Code.JPEG_SCANS, most=jpeg.MOST_SCANS)
    try:
        return strictly(data, header, scale)
    except ValueError as error:
        if "ICC marker" in str(error) or "JFIF revision" in str(error):  # the picture itself may be sound
            return _decode_jpeg(jpeg.bare(data), _jpeg_header(jpeg.bare(data)), scale, strictly)
        excess = _EXTRANEOUS.search(str(error))
        if not excess or not 0 < int(excess[1]) <= _MOST_PADDING:
            raise _refusal("JPEG", error) from error
    # Some cameras pad the end. Cut the padding out and judge what is left just as strictly.
    end = jpeg.scans_and_end(data, parts.scan_at)[1]
    padding = data[end - int(excess[1]) : end]
    if end < 0 or (padding.strip(b"\0") and padding.strip(b"\xff")):
        raise Unreadable(Code.JPEG_LEFT_OVER)
    try:
        return strictly(data[: end - int(excess[1])] + b"\xff\xd9", header, scale)
    except ValueError as error:
        raise _refusal("JPEG", error) from error


def _in_rgb(pixels: NDArray[np.uint8], header: Header, icc: bytes) -> Pixels:
    if header.space == "RGB":
        return pixels
    if header.space == "GRAY":
        return convert.grey_to_srgb(pixels, icc)
    return convert.cmyk_to_srgb(pixels, icc, inverted=bool(header.jpeg and header.jpeg.adobe))


# --- TIFF and PNG ---------------------------------------------------------------------------------------


def _vips_open(data: bytes, kind: str) -> vips.Image:
    load = vips.Image.tiffload_source if kind == "TIFF" else vips.Image.pngload_source
    if kind == "TIFF":
        tiff.check(data)
    try:
        return load(vips.Source.new_from_memory(data), access="sequential", fail_on="error")
    except vips.Error as error:
        raise _refusal(kind, error, Code.HEADER_DAMAGED) from error


def _field(image: vips.Image, name: str) -> bytes:
    return bytes(image.get(name)) if image.get_typeof(name) else b""


def _vips_header(data: bytes, kind: str) -> Header:
    image = _vips_open(data, kind)
    if image.format not in ("uchar", "ushort"):
        raise Unsupported(Code.SAMPLES, kind=kind, samples=str(image.format))
    bands = image.bands
    spaces = {"b-w": "GRAY", "grey16": "GRAY", "srgb": "RGB", "rgb16": "RGB", "rgb": "RGB", "cmyk": "CMYK"}
    space = spaces.get(image.interpretation)
    colours = {"GRAY": 1, "RGB": 3, "CMYK": 4}.get(space or "", 0)
    if space is None or bands < colours:
        raise Unsupported(Code.CHANNELS, kind=kind, channels=int(bands), space=str(image.interpretation))
    exif = data if kind == "TIFF" else _field(image, "exif-data")
    icc = _field(image, "icc-profile-data")
    stated = png_colours.read_colours(data, grey=space == "GRAY") if kind == "PNG" else png_colours.Colours()
    if icc and not stated.over_profile:
        stated = png_colours.Colours(icc=icc)
    return Header(
        kind, image.width, image.height, 16 if image.format == "ushort" else 8, space, alpha=bands > colours,
        exif=exif, icc=stated.icc, icc_problem=stated.problem, named_space=stated.named,
    )  # fmt: skip


def _vips_pixels(data: bytes, header: Header, icc: bytes) -> Pixels:
    image = _vips_open(data, header.format)
    colours = {"GRAY": 1, "RGB": 3, "CMYK": 4}[header.space]
    try:
        if header.alpha:
            if image.bands > colours + 1:
                image = image.extract_band(0, n=colours + 1)
            image = image.flatten(background=_surround(header, icc))
        if header.space == "CMYK" and header.bits == 16:
            image = (image >> 8).cast("uchar")  # on the way, row by row: the deep ink is never held whole
        pixels = vips.to_array(image)
    except vips.Error as error:
        raise _refusal(header.format, error) from error
    if header.space == "RGB":
        return pixels
    if header.space == "GRAY":
        return convert.grey_to_srgb(pixels, icc)
    return convert.cmyk_to_srgb(pixels, icc)


def _surround(header: Header, icc: bytes) -> list[float]:
    """The mid grey in the picture's own values."""
    if header.space == "CMYK":
        return [0, 0, 0, 136 * (257 if header.bits == 16 else 1)]
    grey = np.full((1, 1, 3), SURROUND, np.uint8)
    if header.space == "RGB" and icc:
        grey = convert.between_profiles(grey, convert.srgb_profile(), icc, 8)
    bands = 1 if header.space == "GRAY" else 3
    return [float(value) * (257 if header.bits == 16 else 1) for value in grey[0, 0, :bands]]


# --- HEIF -----------------------------------------------------------------------------------------------


@contextmanager
def _heif_errors(what: Code = Code.DATA_DAMAGED) -> Iterator[None]:
    try:
        yield
    except _HEIF_ERRORS as error:
        raise _refusal("HEIF", error, what) from error


def _heif_open(data: bytes) -> pillow_heif.HeifFile:
    return pillow_heif.open_heif(data, convert_hdr_to_8bit=False, bgr_mode=False)


def _heif_header(data: bytes) -> Header:
    with _heif_errors(Code.HEADER_DAMAGED):
        file = _heif_open(data)
        mode, info, (width, height) = str(file.mode), file.info, file.size
    space, alpha = ("GRAY" if mode.startswith("L") else "RGB"), "A" in mode.split(";")[0]
    named, problem = "", None
    nclx = info.get("nclx_profile")
    if nclx and not info.get("icc_profile"):
        named = profiles.BY_PRIMARIES.get(int(nclx.get("color_primaries", 1)), "")
        if not named or int(nclx.get("transfer_characteristics", 13)) not in _SRGB_LIKE_CURVES:
            problem = told(Code.HEIF_COLOURS)
    return Header(
        "HEIF", width, height, 16 if "16" in mode else 8, space, alpha=alpha, exif=info.get("exif") or b"",
        icc=info.get("icc_profile") or b"", icc_problem=problem, oriented=True, named_space=named,
    )  # fmt: skip


def _heif_pixels(data: bytes, header: Header, icc: bytes) -> Pixels:
    with _heif_errors():
        pixels = np.asarray(_heif_open(data))
    if pixels.ndim == 2:
        pixels = pixels[:, :, None]
    bands = (1 if header.space == "GRAY" else 3) + header.alpha
    if pixels.shape != (header.height, header.width, bands):
        raise Unreadable(Code.HEIF_SIZE)
    if header.alpha:
        image = vips.from_array(pixels).copy(interpretation="srgb" if header.bits == 8 else "rgb16")
        pixels = vips.to_array(image.flatten(background=_surround(header, icc)))
    if header.space == "GRAY":
        return convert.grey_to_srgb(pixels, icc)
    return np.ascontiguousarray(pixels)


# --- raw ------------------------------------------------------------------------------------------------


def _raw_header(data: Bytes, kind: str) -> Header:
    sensor = raw.look(data, kind)
    blocks = raw_files.exif_blocks(data, kind)
    facts = read_exif_apart(*blocks) if len(blocks) == 2 else read_exif(*blocks or (b"",))
    if not sensor.embedded:
        facts = replace(facts, orientation=sensor.orientation)
        return Header(
            kind, sensor.width, sensor.height, 8, "RGB",
            named_space="sRGB", facts=facts, shown=Shown.SENSOR, sensor=sensor,
        )  # fmt: skip
    inside = _jpeg_header(sensor.embedded)
    colour = read_exif(inside.exif).colour or facts.colour
    facts = replace(facts, orientation=sensor.embedded_orientation, colour=colour)
    return replace(
        inside, format=kind, exif=b"", named_space=sensor.embedded_space,
        facts=facts, shown=Shown.EMBEDDED, embedded=sensor.embedded, sensor=sensor,
    )  # fmt: skip


# --- all ------------------------------------------------------------------------------------------------


def read_header(data: Bytes) -> Header:
    """Facts of the first picture in the file; raises `Unsupported` or `Unreadable`."""
    kind = sniff(data)
    if kind in RAW_KINDS:
        return _raw_header(data, kind)
    if kind == "JPEG":
        return _jpeg_header(data)
    data = data[:]  # itself; of a mapped file, its bytes
    return _heif_header(data) if kind == "HEIF" else _vips_header(data, kind)


def read_pixels(data: Bytes, header: Header, verdict: profiles.ProfileVerdict, scale: float = 1.0) -> Pixels:
    """Stored pixels as RGB (h, w, 3); grey and CMYK come out in sRGB. `scale` under 1 is for JPEG, and 0.5 for the
    sensor's picture."""
    icc = verdict.icc
    if header.shown == Shown.SENSOR:
        return raw.develop(data, header.format, half=scale < 1)
    if header.jpeg is not None:
        return _in_rgb(_decode_jpeg(header.embedded or data, header, scale, _pixels_of), header, icc)
    data = data[:]
    return _heif_pixels(data, header, icc) if header.format == "HEIF" else _vips_pixels(data, header, icc)


def check_pixels(data: Bytes, header: Header, verdict: profiles.ProfileVerdict, scale: float = 1.0) -> None:
    """Raises as `read_pixels` does, and makes no more of the picture than it takes to know.

    All of a JPEG's damage shows where its entropy-coded data are read, of every component whatever is made of them
    (jdhuff.c and jdphuff.c of libjpeg-turbo); transform and colours refuse nothing.
    """
    if header.jpeg is None or header.space != "RGB":
        read_pixels(data, header, verdict, scale)
    else:
        _decode_jpeg(header.embedded or data, header, scale, _light_of)


def read_planes(data: Bytes, header: Header, verdict: profiles.ProfileVerdict, scale: float = 1.0) -> Planes | Pixels:
    """As `read_pixels`; of a JPEG that keeps light and colour apart, its planes."""
    if header.jpeg is None or header.space != "RGB":
        return read_pixels(data, header, verdict, scale)
    return _decode_jpeg(header.embedded or data, header, scale, _planes_of)
