"""What the clock removes: sittings whose day is over, never before a letter has told the photographer in time.

Each round may be done again, or be missed: a letter is listed once for a day, and what counts is when it went.
"""

from __future__ import annotations

import logging
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from galleries.access import PROGRAM
from galleries.models import JournalLine, Letter, OwnCopy, Sitting, Verb
from galleries.steps.keeping import erase
from galleries.steps.people import letters

log = logging.getLogger(__name__)
KIND = "removal"
# A copy of everything that its subject may still fetch, or that is being made for them: removing waits for it.
OPEN_COPIES = (OwnCopy.State.WAITING, OwnCopy.State.MADE, OwnCopy.State.READY)


def notice() -> timedelta:
    return timedelta(days=settings.REMOVAL_NOTICE_DAYS)


def by_the_clock() -> None:
    """Tell of what goes soon; remove what was told of in time."""
    now = timezone.now()
    give_notice(now)
    remove_due(now)


def give_notice(now: datetime) -> int:
    """List a letter to the photographer for each sitting whose day is near or over, once per day set; how many."""
    listed = 0
    for sitting in Sitting.objects.exclude(keep_until=None).select_related("photographer"):
        day = sitting.keep_until
        if day is None or _today(sitting, now) < day - notice():
            continue
        with transaction.atomic():
            sitting.letters.filter(kind=KIND).unsent().exclude(about=about(day)).delete()  # the day was set anew
            if sitting.letters.filter(kind=KIND, about=about(day)).exists():
                continue
            if letters.notify_photographer(sitting, KIND, about=about(day)) is None:
                log.warning("Sitting %s is not removed: its photographer has no address to be told at.", sitting.pk)
                continue
            JournalLine.write(sitting, PROGRAM.who, Verb.REMOVAL_ANNOUNCED, sitting.title, "", day.isoformat())
        listed += 1
    return listed


def about(day: date) -> str:
    return f"until-{day.isoformat()}"


def is_current(letter: Letter) -> bool:
    """Is the day that a letter not sent yet tells of still the sitting's?"""
    day = letter.sitting.keep_until
    return day is not None and letter.about == about(day)


def goes_on(sitting: Sitting, told_at: datetime) -> date | None:
    """The first day on which the sitting may be removed, when the letter went at that time; None: kept without end."""
    if sitting.keep_until is None:
        return None
    return max(sitting.keep_until + timedelta(days=1), _today(sitting, told_at + notice()))


def told_at(sitting: Sitting) -> datetime | None:
    """When the letter about the day that is set now went; None: not yet."""
    if sitting.keep_until is None:
        return None
    letter = Letter.objects.sent().filter(sitting=sitting, kind=KIND, about=about(sitting.keep_until)).first()
    return letter.sent_at if letter is not None else None


def remove_due(now: datetime) -> list[erase.Erasure]:
    """Remove the sittings whose day is over and whose letter went long enough ago."""
    gone = []
    for sitting in Sitting.objects.exclude(keep_until=None):
        told = told_at(sitting)
        day = goes_on(sitting, told) if told is not None else None
        if told is None or day is None or _today(sitting, now) < day or told + notice() > now:
            continue
        if sitting.own_copies.filter(state__in=OPEN_COPIES).exists():
            continue
        if (done := erase.erase_by_the_clock(sitting)) is not None:
            gone.append(done)
    return gone


def _today(sitting: Sitting, now: datetime) -> date:
    return now.astimezone(ZoneInfo(sitting.time_zone)).date()
