"""EXIF blocks laid by hand after TIFF 6.0 and CIPA DC-008 (Exif 2.32) [std, from memory], sound and damaged."""

from __future__ import annotations

import struct
from datetime import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from galleries.imaging.opening.exif import ExifFacts, read_exif

BYTE, ASCII, SHORT, LONG, RATIONAL, UNDEFINED, SLONG = 1, 2, 3, 4, 5, 7, 9
MAKE, MODEL, ORIENTATION, DATETIME, EXIF, INTEROP = 0x010F, 0x0110, 0x0112, 0x0132, 0x8769, 0xA005
TAKEN, SUBSEC, SPACE, NUMBER, INDEX = 0x9003, 0x9291, 0xA001, 0x9211, 0x0001
ORDERS = ("<", ">")

Field = tuple[int, int, int | bytes]  # tag, type, value


def _entry(order: str, field: Field, spill_at: int) -> tuple[bytes, bytes]:
    """One entry of twelve bytes, and what does not fit into it."""
    tag, kind, value = field
    if isinstance(value, bytes):
        raw, count = value, len(value) // {BYTE: 1, ASCII: 1, UNDEFINED: 1, RATIONAL: 8}[kind]
    else:
        raw, count = struct.pack(order + {SHORT: "H", LONG: "I", SLONG: "i"}[kind], value), 1
    head = struct.pack(order + "HHI", tag, kind, count)
    return (head + raw.ljust(4, b"\0"), b"") if len(raw) <= 4 else (head + struct.pack(order + "I", spill_at), raw)


def directory(order: str, fields: list[Field], at: int) -> bytes:
    """A directory that stands at `at`, with its long values behind it."""
    spilled, entries = b"", b""
    after = at + 2 + 12 * len(fields) + 4
    for field in fields:
        entry, more = _entry(order, field, after + len(spilled))
        entries, spilled = entries + entry, spilled + more
    return struct.pack(order + "H", len(fields)) + entries + bytes(4) + spilled


def block(main: list[Field], detail: list[Field] = (), interop: list[Field] = (), order: str = "<") -> bytes:  # type: ignore[assignment]
    """The main directory at 8, the Exif directory at 400, the interoperability directory at 800."""
    main, detail = list(main), list(detail)
    if detail or interop:
        main.append((EXIF, LONG, 400))
    if interop:
        detail.append((INTEROP, LONG, 800))
    whole = (b"II*\0" if order == "<" else b"MM\0*") + struct.pack(order + "I", 8) + directory(order, main, 8)
    if detail:
        whole = whole.ljust(400, b"\0") + directory(order, detail, 400)
    return whole.ljust(800, b"\0") + directory(order, list(interop), 800) if interop else whole


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("lead", [b"", b"Exif\0\0"])
def test_every_fact_in_both_orders_with_and_without_its_lead(order: str, lead: bytes) -> None:
    data = lead + block(
        [(MAKE, ASCII, b"Nordlicht\0"), (MODEL, ASCII, b"N 24\0"), (ORIENTATION, SHORT, 6)],
        [
            (TAKEN, ASCII, b"2026:03:14 10:11:12\0"),
            (SUBSEC, ASCII, b"250\0"),
            (NUMBER, LONG, 70_000),
            (SPACE, SHORT, 1),
        ],
        order=order,
    )
    moment = datetime(2026, 3, 14, 10, 11, 12, 250_000)
    assert read_exif(data) == ExifFacts(6, moment, "Nordlicht N 24", 70_000, "sRGB")


@pytest.mark.parametrize("value", range(1, 9))
def test_the_eight_orientations(value: int) -> None:
    assert read_exif(block([(ORIENTATION, SHORT, value)])).orientation == value


@pytest.mark.parametrize("field", [(ORIENTATION, SHORT, 0), (ORIENTATION, SHORT, 9), (ORIENTATION, ASCII, b"6\0")])
def test_an_orientation_outside_the_standard_is_upright(field: Field) -> None:
    assert read_exif(block([field])).orientation == 1


@pytest.mark.parametrize(
    ("make", "model", "camera"),
    [
        (b"Nordlicht\0", b"NORDLICHT 24\0", "NORDLICHT 24"),
        (b"Nordlicht\0", b"N 24\0", "Nordlicht N 24"),
        (b"\0", b"N 24\0", "N 24"),
        (b"Nordlicht\0", b"\0", "Nordlicht"),
        (b"  Nordlicht  \0", b" N 24 \0", "Nordlicht N 24"),
        (b"Nord\0licht\0", b"24\0after", "Nord 24"),
        (b"Nordl\xefcht\0", b"24\0\0\0", "Nordl\ufffdcht 24"),
    ],
)
def test_the_camera_is_named_once(make: bytes, model: bytes, camera: str) -> None:
    assert read_exif(block([(MAKE, ASCII, make), (MODEL, ASCII, model)])).camera == camera


def moment_of(*detail: Field, main: list[Field] | None = None) -> datetime | None:
    return read_exif(block(main or [], list(detail))).captured_at


DAY = datetime(2026, 3, 14, 10, 11, 12)
TEXT = b"2026:03:14 10:11:12\0"


@pytest.mark.parametrize(
    ("digits", "microseconds"),
    [(b"5\0", 500_000), (b"05\0", 50_000), (b"123456\0", 123_456), (b"9999999999\0", 999_999), (b" 25 \0", 250_000),
     (b"\0", 0), (b"x\0", 0), (b"-5\0", 0), (b"1e3\0", 0), ("²\0".encode(), 0)],
)  # fmt: skip
def test_parts_of_a_second_are_a_decimal_fraction(digits: bytes, microseconds: int) -> None:
    """CIPA DC-008: SubSecTimeOriginal holds the digits behind the point."""
    assert moment_of((TAKEN, ASCII, TEXT), (SUBSEC, ASCII, digits)) == DAY.replace(microsecond=microseconds)


def test_the_time_of_the_last_change_is_not_the_time_of_the_picture() -> None:
    """Exif 2.32: DateTime is when the file was changed. An editor writes it; delivered as 'taken on' it was untrue."""
    main: list[Field] = [(DATETIME, ASCII, b"2020:01:01 00:00:00\0")]
    assert moment_of((TAKEN, ASCII, TEXT), main=main) == DAY
    assert moment_of((SPACE, SHORT, 1), main=main) is None
    assert read_exif(block([(ORIENTATION, SHORT, 1)])).captured_at is None


@pytest.mark.parametrize(
    "text",
    [b"    :  :     :  :  \0", b"0000:00:00 00:00:00\0", b"2026:13:14 10:11:12\0", b"2026-03-14\0", b"\0", b"now\0"],
)
def test_a_clock_that_was_never_set_tells_no_time(text: bytes) -> None:
    assert moment_of((TAKEN, ASCII, text)) is None


def test_what_follows_the_time_is_not_read() -> None:
    assert moment_of((TAKEN, ASCII, TEXT[:-1] + b"+02:00\0")) == DAY


@pytest.mark.parametrize(
    ("detail", "interop", "colour"),
    [
        ([(SPACE, SHORT, 1)], [], "sRGB"),
        ([(SPACE, SHORT, 2)], [], "Adobe RGB"),
        ([(SPACE, SHORT, 0xFFFF)], [], ""),
        ([(SPACE, SHORT, 0xFFFF)], [(INDEX, ASCII, b"R03\0")], "Adobe RGB"),
        ([(SPACE, SHORT, 1)], [(INDEX, ASCII, b"R98\0")], "sRGB"),
        ([], [(INDEX, ASCII, b"R98\0")], ""),
    ],
)
def test_colours_are_said_by_the_space_or_the_dcf_option_file(
    detail: list[Field], interop: list[Field], colour: str
) -> None:
    """DCF 2.0: interoperability index R03 with an uncalibrated ColorSpace means Adobe RGB [std, from memory]."""
    assert read_exif(block([], detail, interop)).colour == colour


def test_the_frame_number_of_the_exif_directory_comes_first() -> None:
    assert read_exif(block([(NUMBER, LONG, 3)], [(NUMBER, LONG, 4)])).frame_number == 4
    assert read_exif(block([(NUMBER, LONG, 3)], [(SPACE, SHORT, 1)])).frame_number == 3
    assert read_exif(block([], [(NUMBER, ASCII, b"99\0")])).frame_number is None
    assert read_exif(block([], [(NUMBER, SLONG, 99)])).frame_number is None


# Damaged blocks


SOUND = block([(ORIENTATION, SHORT, 6), (MODEL, ASCII, b"Camera\0")], [(TAKEN, ASCII, TEXT)])


def test_what_lies_past_the_end_is_absent_and_the_rest_is_read() -> None:
    cut = SOUND[: SOUND.index(b"Camera") + 3]
    assert read_exif(cut) == ExifFacts(6, None, "", None, "")
    assert read_exif(SOUND[:-1]).captured_at is None
    assert read_exif(SOUND).captured_at == DAY


@pytest.mark.parametrize("start", [0, 7, 5000, 2**32 - 1])
def test_a_directory_that_cannot_be_there_is_none(start: int) -> None:
    """A directory lies behind the header's eight bytes: one that points at the header is a loop or a lie."""
    assert read_exif(b"II*\0" + struct.pack("<I", start) + SOUND[8:]) == ExifFacts()


@pytest.mark.parametrize("data", [b"", b"II*\0", b"XX*\0" + SOUND[4:], b"Exif\0\0", b"Exif\0\0II*\0\x08\0\0"])
def test_no_exif_is_no_facts(data: bytes) -> None:
    assert read_exif(data) == ExifFacts()


def test_a_count_that_lies_reads_as_far_as_entries_go() -> None:
    lying = SOUND[:8] + struct.pack("<H", 60_000) + SOUND[10:]
    assert read_exif(lying).orientation == 6


def test_entries_without_size_or_of_great_size_are_left() -> None:
    model = SOUND.index(struct.pack("<HH", MODEL, ASCII))
    for kind, count in ((0, 1), (99, 1), (ASCII, 0), (ASCII, 4097), (ASCII, 2**31)):
        other = SOUND[: model + 2] + struct.pack("<HI", kind, count) + SOUND[model + 8 :]
        assert read_exif(other.ljust(9000, b"A")).camera == ""
    long = SOUND[: model + 2] + struct.pack("<HI", ASCII, 4096) + SOUND[model + 8 :]
    assert read_exif(long.ljust(9000, b"\0")).camera == "Camera"


@given(st.integers(0, len(SOUND)), st.binary(max_size=24))
def test_damage_anywhere_never_raises(at: int, noise: bytes) -> None:
    facts = read_exif(SOUND[:at] + noise + SOUND[at + len(noise) :])
    assert 1 <= facts.orientation <= 8
    read_exif(SOUND[:at] + noise)
