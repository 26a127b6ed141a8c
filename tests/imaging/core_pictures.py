"""Small painted pictures and camera-like files for the tests of the imaging core."""

from __future__ import annotations

import io
import struct
from collections.abc import Callable
from typing import Any

import numpy as np
import pillow_heif
from PIL import Image

from galleries.imaging.output import encode


def painted(width: int = 160, height: int = 120) -> np.ndarray:
    """A smooth colour field with four different corners and an off-centre disc: no symmetry to hide behind."""
    y, x = np.mgrid[0:height, 0:width].astype(np.float64)
    u, v = x / (width - 1), y / (height - 1)
    rgb = np.stack([40 + 180 * u, 60 + 120 * v, 200 - 150 * u * v], axis=2)
    disc = np.hypot(x - width * 0.3, y - height * 0.35) < height * 0.15
    rgb[disc] = (225, 180, 160)
    return rgb.round().astype(np.uint8)


def saved(pixels: np.ndarray, file_format: str = "JPEG", mode: str | None = None, **options: Any) -> bytes:
    image = Image.fromarray(pixels)
    if mode:
        image = image.convert(mode)
    out = io.BytesIO()
    image.save(out, file_format, **options)
    return out.getvalue()


def heif(pixels: np.ndarray, **options: Any) -> bytes:
    out = io.BytesIO()
    pillow_heif.from_pillow(Image.fromarray(pixels)).save(out, quality=90, **options)
    return out.getvalue()


def exif(**tags: Any) -> Image.Exif:
    """orientation, camera, taken, subsec, number, interop, space."""
    block = Image.Exif()
    block[0x0112] = tags.get("orientation", 1)
    block[0x010F], block[0x0110] = "Nordlicht", tags.get("camera", "Nordlicht 24")
    detail = block.get_ifd(0x8769)
    detail[0x9003] = tags.get("taken", "2026:03:14 10:11:12")
    if "subsec" in tags:
        detail[0x9291] = tags["subsec"]
    if "number" in tags:
        detail[0x9211] = tags["number"]
    if "space" in tags:
        detail[0xA001] = tags["space"]
    if "interop" in tags:
        detail[0xA005] = {1: tags["interop"]}
    return block


def mpo(first: np.ndarray, second: np.ndarray) -> bytes:
    out = io.BytesIO()
    Image.fromarray(first).save(
        out, "MPO", save_all=True, append_images=[Image.fromarray(second)], quality=95, subsampling=0
    )
    return out.getvalue()


def files() -> dict[str, bytes]:
    """One sound small file of every kind the opener takes."""
    rng = np.random.default_rng(3)
    rgb = np.clip(painted() + rng.normal(0, 6, (120, 160, 1)), 0, 255).astype(np.uint8)
    grey = rgb[:, :, 1]
    alpha = np.dstack([rgb, np.full(rgb.shape[:2], 255, np.uint8)])
    return {
        "jpeg": saved(rgb, quality=92),
        "jpeg-progressive": saved(rgb, quality=92, progressive=True),
        "jpeg-grey": saved(grey),
        "jpeg-cmyk": saved(rgb, mode="CMYK"),
        "jpeg-mpo": mpo(rgb, rgb[::-1].copy()),
        "png": saved(rgb, "PNG"),
        "png-alpha": saved(alpha, "PNG"),
        "png-16-grey": saved(grey.astype(np.uint16) * 257, "PNG"),
        "tiff": saved(rgb, "TIFF"),
        "tiff-lzw": saved(rgb, "TIFF", compression="tiff_lzw"),
        "tiff-16": encode.encode_tiff(rgb.astype(np.uint16) * 257, ppi=300),
        "heif": heif(rgb),
    }


# --- two hundred broken files ---------------------------------------------------------------------------


def _png(width: int, height: int) -> bytes:
    """A PNG that claims any size and holds one row's worth of nothing: a bomb by its header."""
    import zlib

    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(bytes(3000))) + chunk(b"IEND", b"")
    )


def _jpeg_sized(data: bytes, width: int, height: int) -> bytes:
    at = next(data.index(m) for m in (b"\xff\xc0", b"\xff\xc2") if m in data)
    return data[: at + 5] + struct.pack(">HH", height, width) + data[at + 9 :]


def _tiff_tag(data: bytes, tag: int, value: int) -> bytes:
    """The little-endian TIFF with that tag's (first) value replaced."""
    order = "<" if data[:2] == b"II" else ">"
    (start,) = struct.unpack_from(order + "I", data, 4)
    (count,) = struct.unpack_from(order + "H", data, start)
    out = bytearray(data)
    for index in range(count):
        entry = start + 2 + 12 * index
        (name,) = struct.unpack_from(order + "H", data, entry)
        if name == tag:
            struct.pack_into(order + "HII", out, entry + 2, 4, 1, value)
    return bytes(out)


def _truncated(sound: dict[str, bytes]) -> list[tuple[str, bytes]]:
    shares = (0.02, 0.1, 0.25, 0.4, 0.55, 0.7, 0.8, 0.9, 0.97)
    return [
        (f"{name} cut at {share:.0%}", data[: max(4, int(len(data) * share))])
        for name, data in sound.items()
        if name != "jpeg-mpo"  # its second picture may go without harm to the first
        for share in shares
    ]


def _flipped(sound: dict[str, bytes]) -> list[tuple[str, bytes]]:
    """One bit in the checked parts of PNG, and whole tables of JPEG overwritten."""
    broken = []
    data = sound["png"]
    rng = np.random.default_rng(7)
    start = data.index(b"IDAT")
    for at in rng.integers(start + 4, len(data) - 16, 24):
        out = bytearray(data)
        out[at] ^= 1 << int(rng.integers(0, 8))
        broken.append((f"png with a bit flipped at {at}", bytes(out)))
    for name in ("jpeg", "jpeg-progressive", "jpeg-grey", "jpeg-cmyk"):
        for marker, what in ((b"\xff\xc4", "Huffman"), (b"\xff\xda", "scan")):
            out = bytearray(sound[name])
            at = out.index(marker) + 4
            out[at : at + 12] = b"\xee" * 12
            broken.append((f"{name} with its {what} table overwritten", bytes(out)))
    return broken


def _lying(sound: dict[str, bytes]) -> list[tuple[str, bytes]]:
    lies = []
    for name in ("jpeg", "jpeg-progressive", "jpeg-grey", "jpeg-cmyk"):
        for width, height in ((160, 4000), (4000, 120), (0, 120), (65500, 65500), (65535, 2000)):
            lies.append((f"{name} claiming {width} × {height}", _jpeg_sized(sound[name], width, height)))
    for name in ("tiff", "tiff-16"):
        for tag, value in ((256, 200_000), (257, 200_000), (256, 0), (257, 9_000), (273, 40_000_000)):
            lies.append((f"{name} with tag {tag} = {value}", _tiff_tag(sound[name], tag, value)))
    return lies


def _bombs() -> list[tuple[str, bytes]]:
    sides = ((30_000, 30_000), (100_000, 100), (2**31 - 1, 2**31 - 1), (20_000, 15_000), (1, 60_000), (4000, 4000))
    return [(f"png claiming {w} × {h}", _png(w, h)) for w, h in sides]


def _foreign(sound: dict[str, bytes]) -> list[tuple[str, bytes]]:
    rgb = painted()
    others = {
        "empty": b"", "text": b"Dear reader, this is no picture. " * 30, "zeros": bytes(5000),
        "zip": b"PK\x03\x04" + bytes(200), "pdf": b"%PDF-1.7\n" + bytes(200), "html": b"<html><img></html>",
        "svg": b"<svg xmlns='http://www.w3.org/2000/svg'/>", "elf": b"\x7fELF" + bytes(500),
        "gif": saved(rgb, "GIF"), "webp": saved(rgb, "WEBP"), "bmp": saved(rgb, "BMP"),
        "ppm": saved(rgb, "PPM"), "tga": saved(rgb, "TGA"), "ico": saved(rgb[:64, :64], "ICO"),
        "avif": b"\0\0\0\x20ftypavif" + bytes(200), "mp4": b"\0\0\0\x20ftypisom" + bytes(200),
        "jpeg magic only": b"\xff\xd8\xff", "jpeg magic and noise": b"\xff\xd8\xff\xe0" + bytes(range(256)) * 8,
        "png magic only": b"\x89PNG\r\n\x1a\n", "png magic and noise": b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 8,
        "tiff magic only": b"II*\0", "tiff magic and noise": b"II*\0" + bytes(range(256)) * 8,
        "tiff looping": b"II*\0\x08\0\0\0\x01\0" + b"\x69\x87\x04\0\x01\0\0\0\x08\0\0\0" + b"\x08\0\0\0",
        "heif magic only": b"\0\0\0\x18ftypheic",
        "heif magic and noise": b"\0\0\0\x18ftypheic" + bytes(range(256)) * 8,
        "jpeg inside text": b"hello" + sound["jpeg"],
        "jpeg without scan": sound["jpeg"][: sound["jpeg"].index(b"\xff\xda")],
        "jpeg header twice": sound["jpeg"][:20] + sound["jpeg"],
    }  # fmt: skip
    return list(others.items())


def _padded(sound: dict[str, bytes]) -> list[tuple[str, bytes]]:
    """The end overwritten with zeros, as an interrupted copy leaves it."""
    padded = []
    for name in ("jpeg", "jpeg-grey", "jpeg-cmyk", "png", "png-alpha", "tiff-lzw", "tiff-16"):
        data = sound[name]
        for share in (0.5, 0.6, 0.7, 0.8):
            at = int(len(data) * share)
            padded.append((f"{name} with a hole from {share:.0%}", data[:at] + bytes(len(data) - at)))
    return padded


def broken_files() -> list[tuple[str, bytes]]:
    """(what is wrong, bytes): at least 200 files no part of the portal may accept."""
    sound = files()
    makers: tuple[Callable[[dict[str, bytes]], list[tuple[str, bytes]]], ...] = (
        _truncated, _flipped, _lying, _foreign, _padded,
    )  # fmt: skip
    return [file for maker in makers for file in maker(sound)] + _bombs()
