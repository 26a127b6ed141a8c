"""Days as a calendar file (RFC 5545), one whole-day event each, or a moment; no calendar takes them for busy time."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta


@dataclass(frozen=True)
class Day:
    """`uid` stays the same when the day moves, so that a calendar moves its event; `url` leads to the work. `at`: the
    moment, with its zone, of what ends at one."""

    uid: str
    on: date
    title: str
    text: str
    url: str
    at: datetime | None = None


def written(days: Iterable[Day], name: str, now: datetime, alarm: str = "") -> bytes:
    """The file, in UTF-8 with the standard's line ends. `alarm`: words shown before; none without.

    `now` (with its zone) is when the events were stated: a calendar keeps the later of two statements.
    """
    import icalendar  # takes half a second, for a file that few ask for

    calendar = icalendar.Calendar()
    calendar.add("prodid", "-//headshot-portal//deadlines//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", name)
    for day in days:
        event = icalendar.Event()
        event.add("uid", day.uid)
        event.add("dtstamp", now)
        if day.at is None:
            event.add("dtstart", day.on)
            event.add("dtend", day.on + timedelta(days=1))
        else:  # without an end it takes no time (3.6.1); in UTC no zone has to be described
            event.add("dtstart", day.at.astimezone(UTC))
        event.add("summary", day.title)
        event.add("description", day.text)
        event.add("url", day.url)
        event.add("transp", "TRANSPARENT")
        if alarm:
            reminder = icalendar.Alarm()
            reminder.add("action", "DISPLAY")
            reminder.add("description", alarm)
            # Nine in the morning of the day before, or three hours before the moment.
            reminder.add("trigger", timedelta(hours=-15 if day.at is None else -3))
            event.add_component(reminder)
        calendar.add_component(event)
    return bytes(calendar.to_ical())
