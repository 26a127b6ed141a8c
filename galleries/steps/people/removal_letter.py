"""The letter that a sitting is removed soon: about which day, when it went, and when the sitting may go then."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.conf import settings

from galleries.models import Letter, Sitting

KIND = "removal"


def notice() -> timedelta:
    return timedelta(days=settings.REMOVAL_NOTICE_DAYS)


def about(day: date) -> str:
    return f"until-{day.isoformat()}"


def is_current(letter: Letter) -> bool:
    """Is the day that a letter not sent yet tells of still the sitting's?"""
    day = letter.sitting.keep_until
    return day is not None and letter.occasion == about(day)


def goes_on(sitting: Sitting, told_at: datetime) -> date | None:
    """The first day on which the sitting may be removed, when the letter went at that time; None: kept without end."""
    if sitting.keep_until is None:
        return None
    return max(sitting.keep_until + timedelta(days=1), today(sitting, told_at + notice()))


def told_at(sitting: Sitting) -> datetime | None:
    """When the letter about the day that is set now went; None: not yet."""
    if sitting.keep_until is None:
        return None
    letter = Letter.objects.sent().filter(sitting=sitting, kind=KIND, about=about(sitting.keep_until)).first()
    return letter.sent_at if letter is not None else None


def today(sitting: Sitting, now: datetime) -> date:
    return now.astimezone(ZoneInfo(sitting.time_zone)).date()
