"""Letters sent: each once, in the person's language, links made at the moment of sending, quiet hours kept."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.mail import EmailMultiAlternatives
from django.utils import timezone, translation

from galleries.access import AGREED, Visitor, finals_shown_to, frames_shown_to
from galleries.models import Final, Invite, Letter, Mark, Sitting, Statement, Studio
from galleries.models.sittings import PICKING
from galleries.steps import jobs
from galleries.steps.people import asked, deadlines, delivery_letter, overtaken, plan_changes, removal_letter
from galleries.steps.people import invite as invites
from galleries.steps.people.composing import compose, send_once
from galleries.steps.people.letters import notify
from galleries.words import statements

AT_ONCE = frozenset({"invitation", "again", "ended"})  # somebody asked for it this minute
PAGES = {
    "passed": "people",
    "asked": "people",
    "objected": "lists",
    "retouched": "finals",
    "returned": "finals",
    "through": "lists",
    "usage": "usage",
    removal_letter.KIND: "settings",
}  # where a letter to the photographer leads
REMIND_DAYS = (3, 1)
LINK = "[link]"  # stands in the text that is kept, where the letter had somebody's link


def send(letter_id: int) -> None:
    """The job. A letter due in quiet hours is left for `send_due`; one that was sent is left alone; one that says what
    is not so any more never goes and is unlisted, so that what comes later is told by a letter of its own."""
    letter = Letter.objects.select_related("sitting__photographer", "invite__passed_from").filter(pk=letter_id).first()
    if letter is None or letter.sent_at is not None:
        return
    if letter.invite is not None and not letter.invite.holds() and letter.kind != "ended":
        return
    if letter.kind not in AT_ONCE and is_quiet(letter.sitting, timezone.now()):
        return
    if letter.kind == plan_changes.KIND and not plan_changes.is_settled(letter.sitting):
        return  # one letter for an afternoon's changes: `send_due` comes back to it
    if overtaken.is_overtaken(letter):
        Letter.objects.unsent().filter(pk=letter.pk).exclude(kind=removal_letter.KIND).delete()
        return
    send_once(letter, lambda: _to_go(letter), rather_twice=letter.kind == removal_letter.KIND)


def _to_go(letter: Letter) -> EmailMultiAlternatives:
    """The letter as it goes, its text kept without the link."""
    person = letter.invite
    link = invites.new_link(person) if person is not None and person.holds() else ""
    mail = message(letter, link)
    text = written(mail)
    Letter.objects.filter(pk=letter.pk).update(text=text.replace(link, LINK) if link else text, way=settings.MAIL)
    return mail


def written(mail: EmailMultiAlternatives) -> str:
    """A letter as one text; its first line is the subject."""
    return f"{mail.subject}\n\n{mail.body}"


def message(letter: Letter, link: str) -> EmailMultiAlternatives:
    """The letter, not sent. `link` is that of whom it invites; a letter to the photographer leads to a page instead."""
    person, sitting = letter.invite, letter.sitting
    if person is None:
        link = f"{settings.BASE_URL}/studio/{sitting.slug}/{PAGES.get(letter.kind, '')}"
    elif not person.holds():
        link = settings.BASE_URL
    with timezone.override(ZoneInfo(sitting.time_zone)):  # hours read as the clock where the sitting was
        composed = compose(
            letter.kind,
            letter.to,
            person.language if person else "",
            link,
            sitting=sitting,
            person=person,
            picking=sitting.is_picking,
            whose=_whose(letter),
            goes_on=removal_letter.goes_on(sitting, timezone.now()),
            round=overtaken.round_of(letter),
            owed=_owed(letter),
            **_of_finals(sitting, person),
            **_of_retouches(person),
            **delivery_letter.facts(letter),
            can_be_fetched=delivery_letter.can_be_fetched(sitting),
            to_retouch=asked.to_retouch(person) if person is not None else [],
            changes=plan_changes.of_letter(letter) if letter.kind == plan_changes.KIND else [],
        )
    _add_days(composed, letter)
    return composed


def _add_days(composed: EmailMultiAlternatives, letter: Letter) -> None:
    """The day that the letter names as a calendar file."""
    person, sitting = letter.invite, letter.sitting
    with translation.override(person.language if person else settings.LANGUAGE_CODE):
        days = deadlines.for_letter(letter.kind, person, sitting)
        if days:
            composed.attach("deadline.ics", deadlines.as_file(days, sitting.title), "text/calendar")


def _owed(letter: Letter) -> str:
    """What is owed for extra finals, in a letter to whoever is asked to pay it; '' in every other."""
    statement = Statement.objects.latest_of(letter.sitting_id)
    if statement is None or letter.invite is None or letter.invite.role != statement.payer or not statement.is_open:
        return ""
    return statements.owed(statement.sheet, letter.invite.language or settings.LANGUAGE_CODE)


def _whose(letter: Letter) -> Invite | None:
    """The invite that a letter to the photographer is about."""
    kind, _dash, rest = letter.about.partition("-")
    if letter.invite is not None or kind != "invite":
        return None
    number = rest.partition("-")[0]
    return letter.sitting.invites.select_related("passed_from").filter(pk=int(number)).first()


def _of_retouches(person: Invite | None) -> dict[str, object]:
    """Labels of the finals whose retouch waits for this person's word, and by when they should say it."""
    if person is None or not person.is_side:
        return {"shown": [], "answer_by": None}
    versions = asked.unanswered(person)
    return {
        "shown": [one.final.frame.label for one in versions],
        "answer_by": asked.answer_by(versions, person.sitting),
    }


def _of_finals(sitting: Sitting, person: Invite | None) -> dict[str, list[str]]:
    """Labels of the finals this person may know of: all, those not delivered yet, and what was picked in vain."""
    finals = finals_shown_to(Visitor(invite=person), sitting) if person else sitting.finals.all()
    finals = finals.listed().select_related("frame")
    return {
        "still_open": [one.frame.label for one in finals.undelivered()],
        "chosen": [one.frame.label for one in finals],
        "not_chosen": _not_chosen(sitting, person),
    }


def _not_chosen(sitting: Sitting, person: Invite | None) -> list[str]:
    """Labels of the picks of either side that are on no list, for those whose picks they are and the photographer."""
    if person is not None and not person.is_side:
        return []
    shown = frames_shown_to(Visitor(invite=person), sitting) if person else sitting.frames.all()
    picked = Mark.objects.in_vain(sitting.finals.listed()).filter(frame__in=shown)
    return list(dict.fromkeys(mark.frame.label for mark in picked.select_related("frame").order_by("frame__number")))


def is_quiet(sitting: Sitting, at: datetime) -> bool:
    """Is it outside the studio's letter hours, by the sitting's own clock?"""
    studio = Studio.current()
    hour, start, stop = at.astimezone(ZoneInfo(sitting.time_zone)).hour, studio.letters_from, studio.letters_until
    if start < stop:
        return not start <= hour < stop
    return stop <= hour < start  # hours over midnight; the same hour twice: never quiet


def send_due(today: date | None = None) -> int:
    """Scheduled: list reminders that are due, and ring again for letters held back by quiet hours."""
    listed = sum(_remind(sitting, today) for sitting in Sitting.objects.filter(stage__in=PICKING))
    waiting = Final.objects.listed().filter(state=Final.State.SHOWN).values("sitting")
    for sitting in Sitting.objects.filter(pk__in=waiting, stage__in=AGREED):
        listed += _remind_of_retouches(sitting, today)
    for sitting in Sitting.objects.filter(stage__in=AGREED).exclude(retouch_by=None):
        listed += _remind_retouchers(sitting, today)
    for letter in Letter.objects.unsent().select_related("sitting", "invite__passed_from"):
        wanted = letter.invite is None or letter.kind == "ended" or letter.invite.holds()
        if wanted and not is_quiet(letter.sitting, timezone.now()):
            jobs.enqueue("letter", letter.pk, letter.sitting, again=True)
    return listed


def _step(sitting: Sitting, wanted: date, today: date | None) -> int | None:
    """How many days before that day the reminder is that is due now, by the sitting's clock; None: none is."""
    here = today or timezone.now().astimezone(ZoneInfo(sitting.time_zone)).date()
    if here > wanted:
        return None
    return next((days for days in sorted(REMIND_DAYS) if here >= wanted - timedelta(days=days)), None)


def _remind(sitting: Sitting, today: date | None) -> int:
    """Remind whoever has not said that they are through, once per step before the deadline."""
    step = _step(sitting, sitting.deadline, today) if sitting.deadline else None
    if sitting.deadline is None or step is None:
        return 0
    return len(
        notify(sitting, "reminder", sitting.invites.still_marking(), about=f"{sitting.deadline.isoformat()}-{step}")
    )


def _remind_of_retouches(sitting: Sitting, today: date | None) -> int:
    """Remind whoever has retouches to answer, once per step before the day the first of them is wanted by."""
    listed = 0
    for person in asked.approvers(sitting):
        wanted = asked.answer_by(asked.unanswered(person), sitting) if person.passed_from_id is None else None
        step = _step(sitting, wanted, today) if wanted else None
        if wanted is not None and step is not None:
            listed += len(notify(sitting, "answer", [person], about=f"{wanted.isoformat()}-{step}"))
    return listed


def _remind_retouchers(sitting: Sitting, today: date | None) -> int:
    """Remind retouchers of what has not come in, once per step before the day on which it is wanted."""
    step = _step(sitting, sitting.retouch_by, today) if sitting.retouch_by else None
    if sitting.retouch_by is None or step is None:
        return 0
    late = [one for one in sitting.invites.retouchers() if asked.to_retouch(one)]
    return len(notify(sitting, "work_due", late, about=f"{sitting.retouch_by.isoformat()}-{step}"))
