"""Uses beyond the licence: asked for, then granted by an addendum or refused with a reason."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from galleries import stages
from galleries.access import Act, Visitor, require
from galleries.errors import BadInput, Conflict
from galleries.models import Invite, JournalLine, Licence, Sitting, UsageRequest, Verb
from galleries.papers import licence_fields
from galleries.papers.licence_fields import USES, Addendum
from galleries.steps.delivering import licences
from galleries.steps.people import caps, letters

State = UsageRequest.State


def ask(sitting: Sitting, by: Visitor, use: str, details: str = "") -> UsageRequest:
    """Ask for a use beyond the licence: one of the trade's (a key of `terms.USES`) or in own words.

    Raises:
        Refused: not this person's to ask.
        BadInput: no use named.
        Conflict: the licence allows it already, so there is nothing to ask for; or this person's same question is open.
    """
    require(
        by,
        Act.ASK_USE,
        sitting,
        _("Further uses can be asked for by the people of this sitting, once the list is closed."),
    )
    use = " ".join(use.split())[:200]
    if not use:
        raise BadInput(_("Say what the picture is to be used for."))
    _not_allowed_yet(sitting, use)
    with transaction.atomic():
        Sitting.objects.select_for_update(of=("self",)).get(pk=sitting.pk)  # two at once are counted one by one
        if is_open(sitting, by.invite, use):
            raise Conflict(_("You have asked for that already; the answer comes by letter."))
        caps.asking_uses(sitting, by.invite)
        request = UsageRequest.objects.create(
            sitting=sitting, invite=by.invite, who=by.name, use=use, details=details.strip()[:2000]
        )
        stages.touch(sitting)
        JournalLine.write(sitting, by.who, Verb.USE_ASKED_FOR, USES.get(use, use), request=request.pk)
        letters.notify_photographer(sitting, "usage", about=f"request-{sitting.usage_requests.count()}")
    return request


def is_open(sitting: Sitting, person: Invite | None, use: str) -> bool:
    """Has this person asked for that use, and waits for the answer?"""
    return sitting.usage_requests.filter(invite=person, use=use, state=State.ASKED).exists()


def _not_allowed_yet(sitting: Sitting, use: str) -> None:
    """Nobody waits for an answer that the licence has given already."""
    licence = licences.current(sitting)
    if licence is None:
        return
    allowed = licence_fields.granted(licences.terms_of(licence), use, timezone.localdate())
    if allowed is None:
        return
    if allowed.until is None:
        raise Conflict(_("The licence allows that already, so there is nothing to ask for."))
    day = date_format(allowed.until, "DATE_FORMAT")
    raise Conflict(_("The licence allows that already, until %s, so there is nothing to ask for.") % day)


def grant(
    request: UsageRequest,
    by: Visitor,
    uses: Sequence[str] = (),
    *,
    until: date | None = None,
    note: str = "",
    answer: str = "",
) -> Licence:
    """Answer with an addendum: a new wording of the licence that includes the use.

    `uses` are keys of `terms.USES`; empty means the one that was asked for.

    Raises:
        Refused: not this person's to do.
        BadInput: the use is none of the trade's list, its last day is past, or there is no licence to add to.
        Conflict: answered already.
    """
    _photographer(request, by)
    chosen = tuple(uses) or (request.use,)
    if until is not None and until < timezone.localdate():
        raise BadInput(_("That day is past: nobody could use the pictures under it. Choose one from today on."))
    base = licences.current(request.sitting)
    if base is None:
        raise BadInput(_("There is no licence yet that the use could be added to."))
    unknown = [use for use in chosen if use not in USES]
    if unknown:
        raise BadInput(_("“%s” is none of the licence's uses: choose one or more from the list.") % unknown[0])
    terms = licences.terms_of(base)
    added = Addendum(request.who, timezone.localdate(), chosen, " ".join(note.split()), until)
    with transaction.atomic():
        _answer(request, State.GRANTED, answer)
        addendum = licences.write(
            request.sitting,
            replace(terms, addenda=(*terms.addenda, added)),
            by,
            Verb.USE_GRANTED,
            addendum_to=base.addendum_to or base,
        )
        UsageRequest.objects.filter(pk=request.pk).update(addendum=addendum)
        _tell(request)
    request.refresh_from_db()
    return addendum


def refuse(request: UsageRequest, by: Visitor, answer: str) -> None:
    """Answer with a no, and why.

    Raises:
        Refused: not this person's to do.
        BadInput: no reason.
        Conflict: answered already.
    """
    _photographer(request, by)
    if not answer.strip():
        raise BadInput(_("Say why, or what would be possible instead."))
    with transaction.atomic():
        _answer(request, State.REFUSED, answer)
        stages.touch(request.sitting)
        JournalLine.write(request.sitting, by.who, Verb.USE_REFUSED, USES.get(request.use, request.use))
        _tell(request)
    request.refresh_from_db()


def _tell(request: UsageRequest) -> None:
    """The answer goes by letter to whoever asked."""
    if request.invite is not None:
        letters.notify(request.sitting, "usage", [request.invite], about=f"answer-{request.pk}")


def _photographer(request: UsageRequest, by: Visitor) -> None:
    require(by, Act.RUN, request.sitting, _("The photographer answers requests for use."))


def _answer(request: UsageRequest, state: str, answer: str) -> None:
    moved = UsageRequest.objects.filter(pk=request.pk, state=State.ASKED).update(
        state=state, answer=answer.strip()[:2000], answered_at=timezone.now()
    )
    if not moved:
        raise Conflict(_("This request is answered already."))
