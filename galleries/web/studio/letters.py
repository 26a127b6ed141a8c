"""Every letter of a sitting: to whom, when, what became of it and why, what it says, and once more."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from galleries.access import Visitor
from galleries.errors import Missing
from galleries.models import Job, Letter, Sitting, Studio
from galleries.steps.people import mail, outbox, overtaken, posting
from galleries.web.doors import studio_page
from galleries.web.studio import letter_words
from galleries.words.told import stored

A_PAGE = 40


@dataclass(frozen=True)
class Row:
    letter: Letter
    what: str
    name: str
    role: str
    state: str  # a word
    why: str  # a sentence, or ''
    next_try: datetime | None
    has_link: bool  # does it carry the link of somebody who is let in?
    is_sendable: bool


@studio_page()
@require_safe
def letters_page(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    letters = sitting.letters.select_related("invite__passed_from").order_by("-pk")
    page = Paginator(letters, A_PAGE).get_page(request.GET.get("page"))
    rows = _rows(sitting, list(page.object_list))
    context = {"sitting": sitting, "page": "studio-letters", "rows": rows, "pages": page}
    return render(request, "galleries/studio/letters.html", context)


@studio_page()
@require_safe
def letter_page(request: HttpRequest, visitor: Visitor, sitting: Sitting, letter_id: int) -> HttpResponseBase:
    letter = _letter(sitting, letter_id)
    return _page(request, sitting, letter, outbox.text_of(letter))


@studio_page()
@require_POST
def letter_link(request: HttpRequest, visitor: Visitor, sitting: Sitting, letter_id: int) -> HttpResponseBase:
    """The letter with a fresh link, on this page only: it is kept as a hash and cannot be shown again."""
    letter = _letter(sitting, letter_id)
    return _page(request, sitting, letter, *outbox.text_with_link(letter, visitor))


@studio_page()
@require_POST
def letter_again(request: HttpRequest, visitor: Visitor, sitting: Sitting, letter_id: int) -> HttpResponseBase:
    letter = outbox.send_again(_letter(sitting, letter_id), visitor)
    messages.success(request, letter_words.going(letter.invite.name if letter.invite else letter.to))
    return redirect("studio-letters", slug=sitting.slug)


def _letter(sitting: Sitting, letter_id: int) -> Letter:
    letter = sitting.letters.select_related("sitting__photographer", "invite__passed_from").filter(pk=letter_id).first()
    if letter is None:
        raise Missing(_("There is no such letter in this sitting."))
    return letter


def _page(request: HttpRequest, sitting: Sitting, letter: Letter, text: str, link: str = "") -> HttpResponseBase:
    subject, _line, body = text.partition("\n")
    context = {
        "sitting": sitting,
        "page": "studio-letters",
        "row": _rows(sitting, [letter])[0],
        "subject": subject.strip(),
        "body": body.strip().replace(posting.LINK, str(letter_words.NO_LINK)),
        "is_kept": bool(letter.sent_at and letter.text),
        "link": link,
    }
    return render(request, "galleries/studio/letter.html", context)


def _rows(sitting: Sitting, letters: list[Letter]) -> list[Row]:
    listed = sitting.jobs.filter(kind="letter", thing__in=[letter.pk for letter in letters])
    work = {job.thing: job for job in listed}
    quiet = _hours() if posting.is_quiet(sitting, timezone.now()) else ""
    return [_row(letter, work.get(letter.pk), quiet) for letter in letters]


def _hours() -> str:
    hours, sentence = Studio.current(), _("Letters go out from %(start)d to %(stop)d o'clock only.")
    return sentence % {"start": hours.letters_from, "stop": hours.letters_until}


def _row(letter: Letter, job: Job | None, quiet: str) -> Row:
    person, wanted = letter.invite, outbox.still_wanted(letter)
    state, why, next_try = _state(letter, job, quiet, wanted)
    stuck = job is not None and (job.state == Job.State.FAILED or job.not_before is not None)
    return Row(
        letter,
        letter_words.kind(letter.kind),
        person.name if person else "",
        str(person.get_role_display()) if person else _("the photographer"),
        state,
        why,
        next_try,
        wanted and person is not None and letter.kind != "ended",
        wanted and (stuck or letter.sent_at is not None),
    )


def _state(letter: Letter, job: Job | None, quiet: str, wanted: bool) -> tuple[str, str, datetime | None]:
    """(word, why, when it is tried next); `quiet`: what is said of letter hours, '' within them."""
    if letter.sent_at is not None:
        return *_sent(letter), None
    if not wanted:
        return _("not sent"), _("The invite is revoked or expired."), None
    if overtaken.is_overtaken(letter):
        return _("not sent"), _("What it says is not so any more, so it stays here."), None
    if job is not None and job.state == Job.State.FAILED:
        return _("failed"), job.why, None
    if job is not None and job.not_before is not None and job.state == Job.State.WAITING:
        return _("waiting"), stored(job.reason), job.not_before
    if quiet and letter.kind not in posting.AT_ONCE:
        return _("waiting"), quiet, None
    return _("waiting"), _("The program sends it in a moment."), None


def _sent(letter: Letter) -> tuple[str, str]:
    """Letters of before `way` was kept are told of by how mail is set up now."""
    if letter.way == mail.SERVER or (not letter.way and mail.goes_out()):
        return _("sent"), ""
    return _("not mailed"), letter_words.where_it_lies(letter.way)
