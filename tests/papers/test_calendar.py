"""Calendar files by the letter of RFC 5545 (3.1 lines, 3.3.11 text, 3.6.1 events, 3.6.6 alarms), read by hand."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime

import pytest

from galleries.papers.calendar import Day, written

NOW = datetime(2026, 11, 26, 9, 5, 7, tzinfo=UTC)
LONG = "Jules Marrowby, new headshots; für Rollen von Ärztin bis Zollbeamter \\ alles, was wir besprochen haben"
DAY = Day("picks-1@studio.example", date(2026, 12, 31), LONG, "One\ntwo", "https://studio.example/s/x/sheet")


def lines(data: bytes) -> list[str]:
    """The content lines, unfolded: a line break and a space are no text (3.1)."""
    return data.decode().replace("\r\n ", "").removesuffix("\r\n").split("\r\n")


def test_lines_end_and_fold_as_the_standard_says() -> None:
    data = written([DAY], LONG, NOW)
    assert data.endswith(b"\r\n")
    assert b"\n" not in data.replace(b"\r\n", b"")
    assert max(len(line) for line in data.split(b"\r\n")) <= 75
    data.decode()  # no letter is cut in two


def test_an_event_is_a_whole_day_that_keeps_nobody_busy() -> None:
    told = lines(written([DAY], "x", NOW))
    assert told[0] == "BEGIN:VCALENDAR"
    assert told[-1] == "END:VCALENDAR"
    for line in (
        "VERSION:2.0", "METHOD:PUBLISH", "BEGIN:VEVENT", "UID:picks-1@studio.example", "DTSTAMP:20261126T090507Z",
        "DTSTART;VALUE=DATE:20261231", "DTEND;VALUE=DATE:20270101", "TRANSP:TRANSPARENT", "DESCRIPTION:One\\ntwo",
    ):  # fmt: skip
        assert line in told, line
    assert any(re.fullmatch(r"URL(;VALUE=URI)?:https://studio\.example/s/x/sheet", line) for line in told)


def test_text_is_escaped() -> None:
    escaped = LONG.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,")
    assert f"SUMMARY:{escaped}" in lines(written([DAY], "x", NOW))


def test_one_who_writes_lines_into_a_title_adds_no_property() -> None:
    told = lines(
        written([Day("u", date(2026, 1, 1), "A\r\nATTACH:file:///etc/passwd", "", "https://x.example")], "x", NOW)
    )
    assert not [line for line in told if line.startswith("ATTACH")]


@pytest.mark.parametrize("alarm", ["", "Tomorrow"])
def test_an_alarm_rings_on_the_morning_before(alarm: str) -> None:
    told = lines(written([DAY], "x", NOW, alarm))
    assert ("TRIGGER:-PT15H" in told) is bool(alarm)
    assert told.count("BEGIN:VALARM") == told.count("ACTION:DISPLAY") == bool(alarm)


def test_each_day_is_an_event() -> None:
    assert lines(written([DAY, DAY], "x", NOW)).count("BEGIN:VEVENT") == 2
