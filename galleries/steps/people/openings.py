"""A letter's link opened: once in each browser, which is known from then on.

A browser that is known comes in by any link of its invite for as long as the invite holds. A link that was opened takes
in other browsers for an hour more, since a mail program opens it in a browser of its own first and people then go on in
the one they know; after that it is shut to all others, so that a letter found or handed on later opens nothing. Whoever
needs it elsewhere has a fresh link sent, which goes to the address on record.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from enum import StrEnum

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from galleries.access import Act, Visitor, require
from galleries.errors import Conflict, Missing, Refused
from galleries.models import Invite, InviteLink, JournalLine, Opening, Verb
from galleries.steps.people import again
from galleries.steps.people.invite import hash_of, new_link

ALSO_WITHIN = timedelta(hours=1)  # both numbers: own choice
BROWSERS = 3


class State(StrEnum):
    KNOWN = "known"  # this browser came in by a link of this invite before
    OPEN = "open"
    TAKEN = "taken"  # opened elsewhere, too long ago or too often


@dataclass(frozen=True)
class Look:
    """What a link is to one browser."""

    invite: Invite
    state: State
    earlier: bool  # are there other links, or browsers that came in, which could be ended?


def look(token: str, device: str) -> Look:
    """What opening this link with the token of this browser ('': it has none) would do. It changes nothing.

    Raises:
        Missing: no such link, or it was ended, or its invite is revoked or expired (which of these is not told).
    """
    link = _link(token, device)
    if _known(link.invite, device):
        return Look(link.invite, State.KNOWN, True)
    earlier = Opening.objects.filter(link__invite=link.invite).exists()
    return Look(link.invite, State.OPEN if _takes(link) else State.TAKEN, earlier)


@transaction.atomic
def open_link(token: str, device: str, *, end_earlier: bool = False) -> Invite:
    """Let the browser with this token in; it is known from then on. Asked to, end all links of the invite that there
    are, this one too for any other browser, and every session that began by them.

    Raises:
        Missing: as `look`.
        Refused: it was opened in another browser before.
    """
    # One after the other, so that two browsers at the same moment are counted.
    Invite.objects.select_for_update().get(pk=_link(token, device).invite_id)
    link = _link(token, device)
    if not _known(link.invite, device) and not _takes(link):
        raise Refused(_("This link was already opened on another device."))
    if end_earlier:
        _end_all(link.invite)
    now = timezone.now()
    Opening.objects.update_or_create(link=link, device_hash=hash_of(device), defaults={"at": now})
    InviteLink.objects.filter(pk=link.pk).update(last_used_at=now)
    Invite.objects.filter(pk=link.invite_id, first_opened_at=None).update(first_opened_at=now)
    return link.invite


def come_again(token: str, device: str) -> Invite:
    """As `open_link`, for a browser that is known: the link is not used up by it.

    Raises:
        Missing: as `look`, or the browser is not known.
    """
    link = _link(token, device)
    if not _known(link.invite, device):
        raise Missing(_gone())
    InviteLink.objects.filter(pk=link.pk).update(last_used_at=timezone.now())
    return link.invite


def send_again(token: str) -> None:
    """'Send me my link again', said where a link was opened elsewhere: to the address on record, as often as `caps`
    allow; whoever asked is told nothing of it.

    Raises:
        Missing: as `look`.
    """
    again.send_link_again(_link(token, "").invite)


@transaction.atomic
def replace(invite: Invite, by: Visitor) -> str:
    """A fresh link; all earlier ones, the browsers known by them and the sessions that began by them are over.

    Raises:
        Refused: not this person's to do.
        Conflict: the invite is revoked or expired.
    """
    require(by, Act.RUN, invite, _("Inviting people is the photographer's to do."))
    if not invite.holds():
        raise Conflict(_("This invite is revoked or expired; prolong it or invite anew."))
    _end_all(invite)
    JournalLine.write(invite.sitting, by.who, Verb.LINKS_ENDED, str(invite))
    return new_link(invite)


def _end_all(invite: Invite) -> None:
    now = timezone.now()
    InviteLink.objects.filter(invite=invite, ended_at=None).update(ended_at=now)
    Invite.objects.filter(pk=invite.pk).update(shut_before=now)
    invite.shut_before = now


def _gone() -> str:
    return _("This link does not work any more. Ask the studio for a new one.")


def _link(token: str, device: str) -> InviteLink:
    """A link that was ended still leads a browser that is known."""
    links = InviteLink.objects.select_related("invite__sitting", "invite__passed_from")
    link = links.filter(token_hash=hash_of(token)).first()
    if link is None or not link.invite.holds():
        raise Missing(_gone())
    if link.ended_at is not None and not _known(link.invite, device):
        raise Missing(_gone())
    return link


def _known(invite: Invite, device: str) -> bool:
    """Did this browser come in by a link of this invite, since links were last ended?"""
    if not device:
        return False
    opened = Opening.objects.filter(link__invite=invite, device_hash=hash_of(device))
    return (opened.filter(at__gte=invite.shut_before) if invite.shut_before else opened).exists()


def _takes(link: InviteLink) -> bool:
    """Does the link take in one more browser?"""
    opened = sorted(link.openings.values_list("at", flat=True))
    return not opened or (len(opened) < BROWSERS and timezone.now() < opened[0] + ALSO_WITHIN)
