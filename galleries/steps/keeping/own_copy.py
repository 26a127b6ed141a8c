"""'Everything about me': asked for by the studio's press, made by a job, looked at, let go, and over after its days.

Regulation (EU) 2016/679, articles 15 (access) and 20 (portability); how far they reach here, local law decides.
"""

from __future__ import annotations

from datetime import timedelta

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from galleries import stages
from galleries.access import PROGRAM, Act, Visitor, require
from galleries.errors import BadInput, Conflict, DomainError, Refused
from galleries.models import Invite, Job, JournalLine, OwnCopy, Sitting, Verb
from galleries.steps import jobs
from galleries.steps.keeping import own_archive
from galleries.steps.people import letters
from galleries.words.told import stored

USUAL_DAYS, MOST_DAYS = 30, 365
LOOK_DAYS = 30  # as long the photographer may take to look; then its file goes
State = OwnCopy.State


def ask(
    sitting: Sitting, by: Visitor, person: Invite, *, with_originals: bool = False, days: int = USUAL_DAYS
) -> OwnCopy:
    """List the making of a copy for the subject's invite; `with_originals` takes the unstamped pictures in, too.

    Raises:
        Refused: not this person's to do.
        BadInput: the invite is not the subject's, holds no more, or the days are too many.
        Conflict: one is being made for them.
    """
    _photographer(sitting, by)
    if person.sitting_id != sitting.pk or not person.is_subject:
        raise BadInput(_("This copy is for the subject: choose the subject's invite."))
    if not person.holds():
        raise BadInput(_("This invite is revoked or expired; prolong it or invite anew."))
    if not 1 <= days <= MOST_DAYS:
        raise BadInput(_("A copy can be fetched for 1 to %d days.") % MOST_DAYS)
    with transaction.atomic():
        Sitting.objects.select_for_update(of=("self",)).get(pk=sitting.pk)  # two presses at once are one copy
        if sitting.own_copies.filter(state=State.WAITING).exists():
            raise Conflict(_("A copy is being made already."))
        copy = OwnCopy.objects.create(sitting=sitting, invite=person, with_originals=with_originals, days=days)
        JournalLine.write(sitting, by.who, Verb.OWN_COPY_ASKED_FOR, person.name, originals=with_originals)
        jobs.enqueue("own copy", copy.pk, sitting)
    return copy


def build(copy_id: int) -> None:
    """The job; done again it makes the copy as it is then.

    Raises:
        DomainError: it cannot be made; the copy says why.
    """
    copy = OwnCopy.objects.select_related("sitting__photographer", "invite").filter(pk=copy_id).first()
    if copy is None or copy.state not in {State.WAITING, State.FAILED}:
        return
    try:
        archive = own_archive.write(copy)
    except DomainError as error:
        _fail(copy, error.told.as_text(500))
        raise
    fields = {
        "archive_key": archive.packed.key, "archive_name": archive.name, "archive_sha256": archive.packed.sha256,
        "archive_bytes": archive.packed.bytes, "holds": archive.holds, "problem": "",
        "expires_at": timezone.now() + timedelta(days=LOOK_DAYS),
    }  # fmt: skip
    stages.move_own_copy(copy, State.MADE, PROGRAM, verb=Verb.OWN_COPY_MADE, fields=fields)


def given_up(job: Job) -> None:
    copy = OwnCopy.objects.select_related("sitting", "invite").filter(pk=job.thing).first()
    if copy is not None:
        _fail(copy, job.reason)


def _fail(copy: OwnCopy, problem: str) -> None:
    if copy.state == State.WAITING:
        stages.move_own_copy(copy, State.FAILED, PROGRAM, verb=Verb.OWN_COPY_FAILED, fields={"problem": problem})


def problem_of(copy: OwnCopy) -> str:
    return stored(copy.problem)


def let_go(copy: OwnCopy, by: Visitor) -> None:
    """The subject may fetch it from now on, for its days, and gets a letter.

    Raises:
        Refused: not this person's to do.
        Conflict: it does not wait for that.
    """
    _photographer(copy, by)
    if copy.state != State.MADE:
        raise Conflict(_("This copy does not wait to be let go."))
    if not copy.invite.holds():
        raise Conflict(_("This invite is revoked or expired; prolong it or invite anew."))
    now = timezone.now()
    with transaction.atomic():
        until = {"ready_at": now, "expires_at": now + timedelta(days=copy.days)}
        stages.move_own_copy(copy, State.READY, by, verb=Verb.OWN_COPY_LET_GO, fields=until)
        letters.notify(copy.sitting, "own", [copy.invite], about=f"copy-{copy.pk}")


def withdraw(copy: OwnCopy, by: Visitor) -> None:
    """Nobody can fetch it any more, and its file goes at once."""
    _photographer(copy, by)
    stages.move_own_copy(copy, State.WITHDRAWN, by, verb=Verb.OWN_COPY_WITHDRAWN, fields={"archive_key": ""})
    own_archive.remove_files(copy.sitting)


def check_fetch(copy: OwnCopy, by: Visitor) -> None:
    """
    Raises:
        Missing: as far as this person may know there is no such copy.
        Refused: it is theirs, but not ready, or its days are over.
    """
    require(by, Act.FETCH_OWN_COPY, copy, _("This copy is not yours to fetch, or not any more."))
    if by.user is not None and copy.archive_key:
        return
    if copy.state == State.READY and copy.expires_at is not None and copy.expires_at <= timezone.now():
        raise Refused(_("This copy could be fetched until %s. Ask the studio for a new one.") % _day(copy))
    if copy.state != State.READY:
        raise Refused(_("This copy cannot be fetched now. Ask the studio."))


def _day(copy: OwnCopy) -> str:
    return date_format(timezone.localtime(copy.expires_at), "DATE_FORMAT")


def fetched(copy: OwnCopy, by: Visitor, *, ranged: bool = False) -> None:
    """Note that its person fetches it, each time by a line in the journal; a piece of it (`ranged`) is not another."""
    require(by, Act.FETCH_OWN_COPY, copy)
    now = timezone.now()
    with transaction.atomic():
        first = OwnCopy.objects.filter(pk=copy.pk, first_fetched_at=None).update(first_fetched_at=now)
        OwnCopy.objects.filter(pk=copy.pk).update(last_fetched_at=now)
        if first or not ranged:
            JournalLine.write(copy.sitting, by.who, Verb.OWN_COPY_FETCHED, copy.archive_name)


def end_lapsed() -> int:
    """The clock's: copies whose days are over end, and their files go; how many ended."""
    lapsed = OwnCopy.objects.filter(state__in=[State.MADE, State.READY], expires_at__lte=timezone.now())
    ended = list(lapsed.select_related("sitting", "invite"))
    for copy in ended:
        stages.move_own_copy(copy, State.ENDED, PROGRAM, verb=Verb.OWN_COPY_ENDED, fields={"archive_key": ""})
    # What a process that was killed in between left behind goes in the next round.
    for sitting in Sitting.objects.filter(own_copies__isnull=False).distinct():
        own_archive.remove_files(sitting)
    return len(ended)


def _photographer(thing: Sitting | OwnCopy, by: Visitor) -> None:
    require(by, Act.RUN, thing, _("A copy for the subject is the photographer's to make and to let go."))
