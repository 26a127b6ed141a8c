"""Letters sent: each once, in the person's language, links made at the moment of sending, quiet hours kept."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.mail import EmailMessage
from django.template.loader import render_to_string
from django.utils import timezone, translation

from galleries.access import Visitor, finals_shown_to, frames_shown_to
from galleries.models import Final, Invite, Letter, Mark, Sitting, Studio
from galleries.steps import jobs
from galleries.steps.people import invite as invites
from galleries.steps.people.letters import notify

AT_ONCE = frozenset({"invitation", "desk"})  # somebody asked for it this minute
SIDES = frozenset({Invite.Role.SUBJECT, Invite.Role.REPRESENTATION})
REMIND_DAYS = (3, 1)


def send(letter_id: int) -> None:
    """The job. A letter due in quiet hours is left for `send_due`; one that was sent is left alone."""
    letter = Letter.objects.select_related("sitting__photographer", "invite__passed_from").filter(pk=letter_id).first()
    if letter is None or letter.sent_at is not None:
        return
    if letter.invite is not None and not letter.invite.holds():
        return
    if letter.kind not in AT_ONCE and is_quiet(letter.sitting, timezone.now()):
        return
    # Marked first: a worker killed between the two loses one letter; the other way round somebody gets it twice.
    if not Letter.objects.filter(pk=letter.pk, sent_at=None).update(sent_at=timezone.now()):
        return
    try:
        _message(letter).send()
    except Exception:
        Letter.objects.filter(pk=letter.pk).update(sent_at=None)
        raise


def _message(letter: Letter) -> EmailMessage:
    person, sitting, studio = letter.invite, letter.sitting, Studio.current()
    language = (person.language if person else "") or settings.LANGUAGE_CODE
    page = "people" if letter.kind == "passed" else ""
    link = invites.new_link(person) if person else f"{settings.BASE_URL}/studio/{sitting.slug}/{page}"
    with translation.override(language):
        text = render_to_string(
            f"galleries/letters/{letter.kind}.txt",
            {
                "sitting": sitting,
                "person": person,
                "studio": studio,
                "link": link,
                "about": letter.about,
                **_of_finals(sitting, person),
            },
        ).strip()
    subject, _, body = text.partition("\n")
    return EmailMessage(
        subject.strip(), body.strip() + "\n", settings.DEFAULT_FROM_EMAIL, [letter.to], reply_to=[studio.email]
    )


def _of_finals(sitting: Sitting, person: Invite | None) -> dict[str, list[str]]:
    """Labels of the finals this person may know of: those that wait for a word, and those not delivered yet."""
    finals = finals_shown_to(Visitor(invite=person), sitting) if person else sitting.finals.all()
    finals = finals.listed().select_related("frame")
    return {
        "shown": [one.frame.label for one in finals.filter(state=Final.State.SHOWN)],
        "still_open": [one.frame.label for one in finals.undelivered()],
        "chosen": [one.frame.label for one in finals],
        "not_chosen": _not_chosen(sitting, person),
    }


def _not_chosen(sitting: Sitting, person: Invite | None) -> list[str]:
    """Labels of the picks of either side that are on no list, for those whose picks they are and the photographer."""
    if person is not None and person.role not in SIDES:
        return []
    shown = frames_shown_to(Visitor(invite=person), sitting) if person else sitting.frames.all()
    on_list = sitting.finals.listed().values("frame")
    picked = Mark.objects.of_sides().filter(kind=Mark.Kind.PICK, frame__in=shown).exclude(frame__in=on_list)
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
    listed = sum(_remind(sitting, today) for sitting in Sitting.objects.filter(stage__in=["proofing", "agreeing"]))
    for letter in Letter.objects.filter(sent_at=None).select_related("sitting", "invite__passed_from"):
        wanted = letter.invite is None or letter.invite.holds()
        if wanted and not is_quiet(letter.sitting, timezone.now()):
            jobs.enqueue("letter", letter.pk, letter.sitting, again=True)
    return listed


def _remind(sitting: Sitting, today: date | None) -> int:
    """Remind whoever has not said that they are through, once per step before the deadline."""
    if sitting.deadline is None:
        return 0
    here = today or timezone.now().astimezone(ZoneInfo(sitting.time_zone)).date()
    step = next((days for days in sorted(REMIND_DAYS) if here >= sitting.deadline - timedelta(days=days)), None)
    if step is None or here > sitting.deadline:
        return 0
    people = sitting.invites.filter(
        role__in=[Invite.Role.SUBJECT, Invite.Role.REPRESENTATION], passed_from=None, picks_done_at=None
    )
    return len(notify(sitting, "reminder", people, about=f"{sitting.deadline.isoformat()}-{step}"))
