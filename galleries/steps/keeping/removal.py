"""What the clock removes: sittings whose day is over, never before a letter has told the photographer in time.

Each round may be done again, or be missed: a letter is listed once for a day, and what counts is when it went.
"""

from __future__ import annotations

import logging
from datetime import date, datetime

from django.db import transaction
from django.utils import timezone

from galleries.access import PROGRAM
from galleries.models import JournalLine, OwnCopy, Sitting, Verb
from galleries.steps.keeping import erase
from galleries.steps.people import letters, removal_letter

log = logging.getLogger(__name__)
# A copy of everything that its subject may still fetch, or that is being made for them: removing waits for it.
OPEN_COPIES = (OwnCopy.State.WAITING, OwnCopy.State.MADE, OwnCopy.State.READY)


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
        if day is None or removal_letter.today(sitting, now) < day - removal_letter.notice():
            continue
        if _tell(sitting, day):
            listed += 1
    return listed


def _tell(sitting: Sitting, day: date) -> bool:
    """List the letter about this day, once, with its line in the journal."""
    about, mine = removal_letter.about(day), sitting.letters.filter(kind=removal_letter.KIND)
    with transaction.atomic():
        mine.unsent().exclude(about=about).delete()  # the day was set anew
        if mine.filter(about=about).exists():
            return False
        if letters.notify_photographer(sitting, removal_letter.KIND, about=about) is None:
            log.warning("Sitting %s is not removed: its photographer has no address to be told at.", sitting.pk)
            return False
        JournalLine.write(sitting, PROGRAM.who, Verb.REMOVAL_ANNOUNCED, sitting.title, "", day.isoformat())
    return True


def remove_due(now: datetime) -> list[erase.Removed]:
    """Remove the sittings whose day is over and whose letter went long enough ago."""
    gone = []
    for sitting in Sitting.objects.exclude(keep_until=None):
        if not _may_go(sitting, now) or sitting.own_copies.filter(state__in=OPEN_COPIES).exists():
            continue
        if (done := erase.erase_by_the_clock(sitting)) is not None:
            gone.append(done)
    return gone


def _may_go(sitting: Sitting, now: datetime) -> bool:
    told = removal_letter.told_at(sitting)
    day = removal_letter.goes_on(sitting, told) if told is not None else None
    if told is None or day is None:
        return False
    return removal_letter.today(sitting, now) >= day and told + removal_letter.notice() <= now
