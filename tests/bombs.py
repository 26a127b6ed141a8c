"""Files that are small to send and dear to open, made here, and what one costs in a contained child."""

from __future__ import annotations

import io
import json
import os
import struct
import threading
import time
import zipfile
import zlib
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import NamedTuple

from PIL import Image

from galleries import plain_json
from galleries.errors import DomainError
from galleries.imaging import errors
from galleries.imaging.contained import children, door, plain
from galleries.imaging.drawing.stamp import StampText
from galleries.imaging.face.faces import Face
from galleries.imaging.framing.cut_order import CutOrder
from galleries.imaging.framing.geometry import Rect
from galleries.imaging.framing.sizes import SizeSpec
from galleries.imaging.opening.decode import DEFAULT_LIMITS
from tests.imaging.core_pictures import painted, saved
from tests.imaging.negatives import Negative, dng, scene

TEXT = StampText(studio="Northlight Rooms", label="0412")
FACE = Face(
    box=(1500.0, 900.0, 800.0, 1000.0), right_eye=(1700.0, 1250.0), left_eye=(2100.0, 1250.0), right_openness=0.3,
    left_openness=0.3, iris_radius_right=20.0, iris_radius_left=20.0, roll_deg=0.0, crown_y=700.0,
    crown_uncertainty=30.0, crown_measured=False, chin=(1900.0, 1900.0), forehead=(1900.0, 950.0),
    mouth=(1900.0, 1650.0), yaw_hint=0.0, score=0.9,
)  # fmt: skip


@dataclass(frozen=True)
class Cost:
    """What came of it, seconds of wall clock and of both processes' CPU, and the most memory that the child, and this
    process beside what was sent, held beyond their idle sizes (bytes)."""

    outcome: str
    seconds: float
    peak: int
    cpu: float = 0.0
    parent: int = 0


def measured(ask: Callable[[], object]) -> Cost:
    """Run one question in a child of its own that is warm already."""
    door.close()
    door.make_proof(saved(painted(64, 64)), TEXT)
    (child,) = children.pool.idle
    assert child.process is not None
    theirs, cost = _Watched(child.process.pid), measured_here(ask)
    theirs.end()
    door.close()
    return replace(cost, peak=theirs.peak, cpu=cost.cpu + theirs.cpu)


def measured_here(ask: Callable[[], object]) -> Cost:
    """What stands in no child: `Cost.parent` alone."""
    ours, started = _Watched(os.getpid()), time.monotonic()
    try:
        ask()
        outcome = "opened"
    except (errors.ImagingError, DomainError, ValueError) as error:
        outcome = f"{type(error).__name__}: {error}"
    seconds = time.monotonic() - started
    ours.end()
    return Cost(outcome, seconds, 0, ours.cpu, ours.peak)


class _Watched:
    """A process looked at every tenth of a second, so that there is a figure for one that was ended, too: `peak`, bytes
    beyond what it held at first, and `cpu`, seconds."""

    def __init__(self, pid: int) -> None:
        self.pid, self.peak, self.cpu = pid, 0, 0.0
        Path(f"/proc/{pid}/clear_refs").write_text("5")  # the peak is counted anew (proc(5))
        self.held, self.spent = _kb(pid, "VmRSS"), _cpu(pid)
        self.over = threading.Event()
        self.thread = threading.Thread(target=self._watch, daemon=True)
        self.thread.start()

    def _watch(self) -> None:
        while not self.over.wait(0.1):
            self._look()

    def _look(self) -> None:
        with suppress(OSError, IndexError):
            most, spent = _kb(self.pid, "VmHWM"), _cpu(self.pid)
            self.peak = max(self.peak, 1024 * (most - self.held))
            self.cpu = max(self.cpu, spent - self.spent)

    def end(self) -> None:
        self.over.set()
        self.thread.join()
        self._look()


def _cpu(pid: int) -> float:
    """Seconds of the processor, of user and kernel together (proc(5), stat 14 and 15)."""
    parts = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(parts[11]) + int(parts[12])) / os.sysconf("SC_CLK_TCK")


def _kb(pid: int, name: str) -> int:
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return next((int(line.split()[1]) for line in lines if line.startswith(f"{name}:")), 0)


# --- frames of every depth ------------------------------------------------------------------------------


def png(width: int, height: int, *, bits: int = 8, kind: int = 2, interlaced: bool = False) -> bytes:
    """A PNG of zeros, row after row, without ever holding its pixels (W3C PNG; kind 0 grey, 2 RGB, 6 RGBA)."""
    samples = {0: 1, 2: 3, 4: 2, 6: 4}[kind]
    row = bytes(1 + width * samples * bits // 8)
    rows = _adam7(width, height, samples * bits // 8) if interlaced else (row for _ in range(height))
    packer, data = zlib.compressobj(6), b""
    for line in rows:
        data += packer.compress(line)
    data += packer.flush()
    head = struct.pack(">IIBBBBB", width, height, bits, kind, 0, 0, int(interlaced))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", data) + chunk(b"IEND", b"")


def _adam7(width: int, height: int, pixel: int) -> list[bytes]:
    rows = []
    for x, y, dx, dy in (
        (0, 0, 8, 8),
        (4, 0, 8, 8),
        (0, 4, 4, 8),
        (2, 0, 4, 4),
        (0, 2, 2, 4),
        (1, 0, 2, 2),
        (0, 1, 1, 2),
    ):
        across, down = -(-(width - x) // dx), -(-(height - y) // dy)
        rows += [bytes(1 + across * pixel)] * max(0, down)
    return rows


def chunk(name: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


def tiff(
    width: int, height: int, *, bits: int = 8, samples: int = 3, photometric: int = 2, turned: int = 1, rows: int = 50
) -> bytes:
    """An uncompressed TIFF in strips of `rows` rows (TIFF 6.0)."""
    row = width * samples * bits // 8
    pixels = bytes(row * height)
    strips = [min(rows, height - top) * row for top in range(0, height, rows)]
    extra = samples - {0: 1, 1: 1, 2: 3, 5: 4}[photometric]
    tags = [
        (256, 4, [width]), (257, 4, [height]), (258, 3, [bits] * samples), (259, 3, [1]), (262, 3, [photometric]),
        (273, 4, [0] * len(strips)), (274, 3, [turned]), (277, 3, [samples]), (278, 4, [rows]), (279, 4, strips),
    ]  # fmt: skip
    if extra:
        tags.append((338, 3, [2] * extra))
    return ifd(tags, pixels)


def ifd(tags: list[tuple[int, int, list[int]]], pixels: bytes, following: int = 0) -> bytes:
    at = 8 + 2 + 12 * len(tags) + 4
    table, body = b"", b""
    sizes = [(2 if kind == 3 else 4) * len(values) for _, kind, values in tags]
    start = at + sum(size for size in sizes if size > 4)
    lengths = next((values for tag, _, values in tags if tag == 279), [])
    for tag, kind, values in sorted(tags):
        if tag == 273:
            values = [start + sum(lengths[:index]) for index in range(len(values))]
        raw = struct.pack(f"<{len(values)}{'H' if kind == 3 else 'I'}", *values)
        if len(raw) > 4:
            table += struct.pack("<HHII", tag, kind, len(values), at + len(body))
            body += raw
        else:
            table += struct.pack("<HHI", tag, kind, len(values)) + raw.ljust(4, b"\0")
    return b"II*\0" + struct.pack("<IH", 8, len(tags)) + table + struct.pack("<I", following) + body + pixels


def jpeg(width: int, height: int, mode: str = "RGB", *, progressive: bool = False) -> bytes:
    out = io.BytesIO()
    Image.new(mode, (width, height)).save(out, "JPEG", quality=60, subsampling=0, progressive=progressive)
    return out.getvalue()


def frames(width: int, height: int) -> dict[str, Callable[[], bytes]]:
    """The same frame in every depth that is read, made when asked for: the larger ones have 200 MB."""
    return {
        "JPEG": lambda: jpeg(width, height),
        "JPEG, progressive": lambda: jpeg(width, height, progressive=True),
        "JPEG, CMYK": lambda: jpeg(width, height, "CMYK"),
        "JPEG, CMYK, progressive": lambda: jpeg(width, height, "CMYK", progressive=True),
        "JPEG, grey": lambda: jpeg(width, height, "L"),
        "PNG, 8 bit": lambda: png(width, height),
        "PNG, 16 bit": lambda: png(width, height, bits=16),
        "PNG, 16 bit, interlaced": lambda: png(width, height, bits=16, interlaced=True),
        "PNG, 16 bit, alpha": lambda: png(width, height, bits=16, kind=6),
        "PNG, 16 bit, alpha, interlaced": lambda: png(width, height, bits=16, kind=6, interlaced=True),
        "PNG, 16 bit, grey": lambda: png(width, height, bits=16, kind=0),
        "TIFF, 16 bit": lambda: tiff(width, height, bits=16),
        "TIFF, 16 bit, turned": lambda: tiff(width, height, bits=16, turned=6),
        "TIFF, 16 bit, alpha": lambda: tiff(width, height, bits=16, samples=4),
        "TIFF, 16 bit, CMYK": lambda: tiff(width, height, bits=16, samples=4, photometric=5),
        "TIFF, 16 bit, CMYK, alpha": lambda: tiff(width, height, bits=16, samples=5, photometric=5),
        "TIFF, 16 bit, grey": lambda: tiff(width, height, bits=16, samples=1, photometric=1),
    }


# --- bombs ----------------------------------------------------------------------------------------------


@cache
def many_scans(scans: int = 3000) -> bytes:
    """A progressive JPEG whose last scan is said again and again (each asks for a walk over the whole picture)."""
    data = jpeg(4000, 3000, progressive=True)
    last = data.rfind(b"\xff\xda")
    return data[:-2] + data[last:-2] * scans + b"\xff\xd9"


def deep_tiff(directories: int = 60_000) -> bytes:
    """A TIFF whose directories follow one another without end, the last pointing at the first."""
    one = 2 + 12 + 4
    out = b"II*\0" + struct.pack("<I", 8)
    for index in range(directories):
        following = 8 + one * (index + 1) if index + 1 < directories else 8
        out += struct.pack("<HHHII", 1, 256, 4, 1, 100) + struct.pack("<I", following)
    return out


def nested_tiff(depth: int = 20_000) -> bytes:
    """Sub-directories in sub-directories (tag 330), each in the one before."""
    out = b"II*\0" + struct.pack("<I", 8)
    for index in range(depth):
        out += struct.pack("<HHHII", 1, 330, 4, 1, 8 + 18 * (index + 1)) + bytes(4)
    return out + struct.pack("<HHHII", 1, 256, 4, 1, 100) + bytes(4)


def with_xmp(packet: bytes) -> bytes:
    """A sound little PNG that carries an XMP packet of any size (iTXt, W3C PNG; key of ISO 16684-1)."""
    data = saved(painted(160, 120), "PNG")
    text = b"XML:com.adobe.xmp\0\0\0\0\0" + packet
    return data[:33] + chunk(b"iTXt", text) + data[33:]


def xmp_properties(count: int = 80_000) -> bytes:
    items = "".join(f"<dc:a{n}>x</dc:a{n}>" for n in range(count))
    return with_xmp(_xmp(items).encode())


def xmp_deep(depth: int = 100_000) -> bytes:
    return with_xmp(_xmp("<dc:a><rdf:Description>" * depth).encode())


def xmp_entities(levels: int = 12) -> bytes:
    """Entities that multiply tenfold a level."""
    lines = ['<!ENTITY e0 "aaaaaaaaaa">']
    lines += [f'<!ENTITY e{n} "{f"&e{n - 1};" * 10}">' for n in range(1, levels)]
    head = "<!DOCTYPE x [" + "".join(lines) + "]>"
    return with_xmp((head + _xmp(f"<dc:title>&e{levels - 1};</dc:title>")).encode())


def _xmp(inside: str) -> str:
    return (
        '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
        '<rdf:Description xmlns:dc="http://purl.org/dc/elements/1.1/">'
        + inside
        + "</rdf:Description></rdf:RDF></x:xmpmeta>"
    )


def icc_inflated(size: int = 1_000_000_000) -> bytes:
    """A profile of a gigabyte, deflated to one megabyte."""
    data = saved(painted(160, 120), "PNG")
    packer = zlib.compressobj(9)
    body = b"".join(packer.compress(bytes(1 << 20)) for _ in range(size >> 20)) + packer.flush()
    return data[:33] + chunk(b"iCCP", b"a\0\0" + body) + data[33:]


def text_inflated(size: int = 1_000_000_000) -> bytes:
    """A compressed text of a gigabyte beside the picture."""
    data = saved(painted(160, 120), "PNG")
    packer = zlib.compressobj(9)
    body = b"".join(packer.compress(b"a" * (1 << 20)) for _ in range(size >> 20)) + packer.flush()
    return data[:33] + chunk(b"zTXt", b"a\0\0" + body) + data[33:]


def icc_tables(count: int = 200) -> bytes:
    """A profile of ICC.1 with a table said to have 255 steps a side and 15 outputs, under many names."""
    table = b"mft2\0\0\0\0" + bytes([3, 15, 255, 0]) + bytes(36) + struct.pack(">HH", 4096, 4096) + bytes(20_000)
    head = struct.pack(">I4sI4s4s4s", 0, b"lcms", 0x04000000, b"mntr", b"RGB ", b"Lab ").ljust(36, b"\0") + b"acsp"
    start = 132 + 12 * count
    tags = b"".join(struct.pack(">4sII", b"A2B0" if n == 0 else b"t%03d" % n, start, len(table)) for n in range(count))
    return head.ljust(128, b"\0") + struct.pack(">I", count) + tags + table


def heif_grid(rows: int = 256, columns: int = 256, side: int = 65_535) -> bytes:
    """A HEIF whose picture is a grid of one item, said 65,536 times, of 65,535 pixels a side (ISO/IEC 23008-12)."""

    def box(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I4s", 8 + len(body), name) + body

    def full(name: bytes, body: bytes, version: int = 0, flags: int = 0) -> bytes:
        return box(name, struct.pack(">I", version << 24 | flags) + body)

    grid = bytes([0, 1, rows - 1, columns - 1]) + struct.pack(">II", side, side)
    refs = struct.pack(">HH", 1, min(65_535, rows * columns)) + struct.pack(">H", 2) * min(65_535, rows * columns)
    items = full(b"infe", struct.pack(">HH4s", 1, 0, b"grid") + b"\0", 2)
    items += full(b"infe", struct.pack(">HH4s", 2, 0, b"hvc1") + b"\0", 2)
    ispe = full(b"ispe", struct.pack(">II", side, side))
    props = box(
        b"iprp",
        box(b"ipco", ispe)
        + full(b"ipma", struct.pack(">I", 2) + struct.pack(">HBB", 1, 1, 1) + struct.pack(">HBB", 2, 1, 1)),
    )
    inner = full(b"hdlr", bytes(4) + b"pict" + bytes(13)) + full(b"pitm", struct.pack(">H", 1))
    inner += full(b"iinf", struct.pack(">H", 2) + items) + full(b"iref", box(b"dimg", refs)) + props
    where = struct.pack(">BBH", 0x44, 0, 2)
    for number, size in ((1, len(grid)), (2, 100)):
        where += struct.pack(">HHHHII", number, 1, 0, 1, 0, size)
    inner += full(b"iloc", where, 1) + box(b"idat", grid + bytes(100))
    return box(b"ftyp", b"heic" + bytes(4) + b"mif1heic") + full(b"meta", inner)


def exif_loop() -> bytes:
    """A JPEG whose EXIF directory points at itself."""
    body = b"Exif\0\0II*\0" + struct.pack("<IH", 8, 1) + struct.pack("<HHII", 0x8769, 4, 1, 8) + struct.pack("<I", 8)
    data = saved(painted(160, 120))
    return data[:2] + b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body + data[2:]


HERE = ("archive", "JSON")  # read by the process that asks, not in a child


class Bomb(NamedTuple):
    """`door`: what is asked; `make` gives the bytes that are sent, and `ask` asks about them."""

    door: str
    what: str
    make: Callable[[], bytes]
    ask: Callable[[bytes], object]
    large: bool = False  # too much for every landing

    @property
    def name(self) -> str:
        return f"{self.door}: {self.what}"

    def cost(self) -> Cost:
        data = self.make()
        return (measured_here if self.door in HERE else measured)(lambda: self.ask(data))


def bombs() -> list[Bomb]:
    return [*_at_the_proof(), *_at_rights_and_profiles(), *_at_other_doors(), *_in_this_process()]


def _proof(data: bytes) -> object:
    return door.make_proof(data, TEXT)


def _at_the_proof() -> list[Bomb]:
    return [
        Bomb(
            "proof", "PNG of 14,800 × 14,800, 16 bit, alpha", lambda: png(14_800, 14_800, bits=16, kind=6), _proof, True
        ),
        Bomb("proof", "PNG of 30,000 × 7,300, 8 bit", lambda: png(30_000, 7_300), _proof, True),
        Bomb("proof", "PNG that claims 2 thousand million a side", lambda: png_claiming(2_000_000_000), _proof),
        Bomb("proof", "JPEG, progressive, 3,000 scans", many_scans, _proof),
        Bomb("proof", "TIFF with 60,000 directories in a ring", deep_tiff, _proof),
        Bomb("proof", "TIFF with 20,000 nested directories", nested_tiff, _proof),
        Bomb("proof", "XMP of 80,000 properties", xmp_properties, _proof),
        Bomb("proof", "ICC profile of 1 GB, deflated", icc_inflated, _proof),
        Bomb("proof", "text of 1 GB, deflated", text_inflated, _proof),
        Bomb("proof", "HEIF grid of 65,536 tiles", heif_grid, _proof),
        Bomb("proof", "EXIF directory that points at itself", exif_loop, _proof),
    ]


def with_manifest(jumbf: bytes) -> bytes:
    """A PNG of one pixel with this as its content credentials (C2PA 2.4, embedding into PNG: the chunk caBX)."""
    head = struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0)
    data = chunk(b"IHDR", head) + chunk(b"caBX", jumbf) + chunk(b"IDAT", zlib.compress(b"\0\0")) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + data


def _described(kind: bytes, label: bytes) -> bytes:
    """A description box of JUMBF (ISO/IEC 19566-5)."""
    body = kind + bytes.fromhex("00110010800000aa00389b71") + b"\x03" + label + b"\0"
    return struct.pack(">I4s", 8 + len(body), b"jumd") + body


def jumbf_deep(depth: int = 100_000) -> bytes:
    """Boxes within boxes."""
    described = _described(b"c2pa", b"c2pa")
    each = 8 + len(described)
    return with_manifest(
        b"".join(struct.pack(">I4s", each * left, b"jumb") + described for left in range(depth, 0, -1))
    )


def jumbf_wide(count: int = 200_000) -> bytes:
    """Boxes beside boxes."""
    one = _described(b"cbor", b"c2pa.actions.v2")
    boxes = (struct.pack(">I4s", 8 + len(one), b"jumb") + one) * count
    inside = _described(b"c2pa", b"c2pa") + boxes
    return with_manifest(struct.pack(">I4s", 8 + len(inside), b"jumb") + inside)


def jumbf_claiming() -> bytes:
    """A box that claims two thousand million bytes."""
    return with_manifest(struct.pack(">I4s", 2_000_000_000, b"jumb") + _described(b"c2pa", b"c2pa"))


def _at_rights_and_profiles() -> list[Bomb]:
    def paper(icc: bytes) -> object:
        return door.paper_view(saved(painted(160, 120)), icc)

    return [
        Bomb("rights", "XMP of 80,000 properties", xmp_properties, door.read_rights),
        Bomb("rights", "XMP nested 100,000 deep", xmp_deep, door.read_rights),
        Bomb("rights", "XMP of multiplying entities", xmp_entities, door.read_rights),
        Bomb("rights", "ICC profile of 1 GB, deflated", icc_inflated, door.read_rights, True),
        Bomb("rights", "text of 1 GB, deflated", text_inflated, door.read_rights, True),
        Bomb("rights", "EXIF directory that points at itself", exif_loop, door.read_rights),
        Bomb("credentials", "100,000 boxes within boxes", jumbf_deep, door.read_credentials),
        Bomb("credentials", "200,000 boxes beside boxes", jumbf_wide, door.read_credentials),
        Bomb("credentials", "a box of 2 GB, claimed", jumbf_claiming, door.read_credentials),
        Bomb("lab's profile", "ICC tables of 255 steps", icc_tables, door.check_profile),
        Bomb("lab's paper", "ICC tables of 255 steps", icc_tables, paper),
    ]


def _at_other_doors() -> list[Bomb]:
    """The picture doors beside the proof: each with a small file of much work, and with one of many pixels."""
    orders = [CutOrder(SizeSpec("whole", "Whole", "full", 0, 0, quality=90), Rect(0, 0, 4000, 3000))]
    small = replace(DEFAULT_LIMITS, max_bytes=30_000_000, max_pixels=60_000_000)  # of steps/planning/sitting_plan

    def reference(data: bytes) -> object:
        door.verify(data, small)
        return door.make_view(data, 1600, small)

    def version(data: bytes) -> object:
        door.verify(data)
        with suppress(errors.ImagingError):
            door.changes(data, data, FACE)
        return door.open_small(data)

    def logo(data: bytes) -> object:
        return door.make_logo(
            data, replace(DEFAULT_LIMITS, max_bytes=2_000_000, max_pixels=20_000_000)
        )  # as bring_logo

    def trace(data: bytes) -> object:
        door.read_frame(data)
        return door.tracer_find(data, _tracer_pair(), b"key", [1, 2])

    def developed(data: bytes) -> object:
        return door.cut_sensor(data, Rect(0, 0, 1400, 900))

    asked: dict[str, Callable[[bytes], object]] = {
        "reference": reference,
        "version": version,
        "trace": trace,
        "cut": lambda data: door.make_finals(data, orders),
        "cut, seen small": lambda data: door.cut_small(data, orders, 800),
        "eyes and faces": door.read_frame,
        "slate": lambda data: door.look_for_slate(data, 1600),
    }
    scans = [Bomb(name, "JPEG, progressive, 3,000 scans", many_scans, ask) for name, ask in asked.items()]
    pixels = [
        Bomb(name, "PNG of 30,000 × 7,300, 8 bit", lambda: png(30_000, 7_300), asked[name], True) for name in asked
    ]
    sensor = [
        Bomb("eyes from the sensor", "DNG of 12 million pixels and no data", lambda: negative(4000, 3000), developed),
        Bomb("eyes from the sensor", "DNG of 200 million", lambda: negative(20_000, 10_000), developed, True),
    ]
    return [*scans, *pixels, *sensor, Bomb("logo", "PNG of 30,000 × 7,300, 8 bit", lambda: png(30_000, 7_300), logo)]


def negative(width: int, height: int) -> bytes:
    """A raw file whose sensor claims to have this many pixels."""
    return dng(Negative(scene(), claims=(width, height)))


def _tracer_pair() -> bytes:
    return door.tracer_prepare(saved(painted(1200, 900)), b"key")


def _in_this_process() -> list[Bomb]:
    """What no child stands before: descriptions of archives, and JSON from the browser."""

    def head(data: bytes) -> object:
        from galleries.steps.keeping import archive_file, archive_shape

        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            description = archive_file.read_head(archive)
            archive_shape.check(description, {model.__name__: model for model, _path in archive_file.TABLES})
            return archive_shape.entries(archive, description)

    return [
        Bomb("archive", "description nested 100,000 deep", lambda: described([deep_json()]), head),
        Bomb(
            "archive",
            "description of 1 GB of spaces, deflated",
            lambda: described([b" " * (1 << 20)] * 1000),
            head,
            True,
        ),
        Bomb("archive", "description of 60 million empty lists, deflated", many_lists, head, True),
        Bomb("archive", "description of 9 million empty lists, deflated", lambda: many_lists(18), head, True),
        Bomb("archive", "description of 99 MB of text with one wide letter", wide_text, head, True),
        Bomb("archive", "20,000 entries that nothing names", many_entries, head),
        Bomb("JSON", "nested 100,000 deep", deep_json, plain_json.loads),
        Bomb("JSON", "800,000 empty lists", lambda: b"[" + b"[]," * 800_000 + b"[]]", plain_json.loads),
        Bomb("JSON", "a number of 2 million digits", lambda: b"9" * 2_000_000, plain_json.loads),
    ]


def described(pieces: list[bytes], more: int = 0) -> bytes:
    """An archive whose description is these pieces, one after the other, with `more` empty files beside it."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        with archive.open("sitting.json", "w", force_zip64=True) as target:
            for piece in pieces:
                target.write(piece)
        for number in range(more):
            archive.writestr(f"private/{number}", b"")
    return out.getvalue()


def many_lists(half_millions: int = 120) -> bytes:
    head = b'{"format":"sitting-archive","format_version":1,"rows":['
    return described([head, *[b"[]," * 500_000] * half_millions, b"[]]}"])


def wide_text() -> bytes:
    piece = b"a" * 1_000_000
    head = b'{"format":"sitting-archive","format_version":1,"rows":"'
    return described([head, *[piece] * 99, "😀".encode(), b'"}'])


def many_entries() -> bytes:
    return described([b'{"format":"sitting-archive","format_version":1,"rows":{},"files":[]}'], 20_000)


def png_claiming(side: int) -> bytes:
    head = struct.pack(">IIBBBBB", side, side, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(bytes(100))) + chunk(b"IEND", b"")


def deep_json(depth: int = 100_000) -> bytes:
    return b'{"a":' * depth


__all__ = ["DEFAULT_LIMITS", "Cost", "bombs", "frames", "json", "measured", "plain"]
