"""How often somebody invited may cause a letter to another: per person, per sitting, per day. Numbers: own choice."""

from __future__ import annotations

import re
from datetime import timedelta

from django.utils import timezone
from django.utils.translation import gettext as _

from galleries.errors import BadInput, Refused
from galleries.models import Invite, Letter, SecondOpinion, SignInLink, Sitting, StrayRetouch, Version

DAY, HOUR = timedelta(days=1), timedelta(hours=1)
PASSED_ON_A_DAY, PASSED_ON_OPEN = 3, 8  # by one voice in a day; open ones of a sitting
USES_A_DAY, USES_OPEN = 5, 20  # asked by one person in a day; unanswered ones of a sitting
VERSIONS_A_DAY, STRAYS_OPEN = 200, 40  # files sent in by one retoucher; of a sitting, those that wait for a choice
OPINIONS_A_DAY, OPINIONS_OPEN = 5, 5  # second opinions asked for by one subject
SIGN_IN_LETTERS_AN_HOUR = 5  # to one address
SIGN_IN_LETTERS_IN_ALL = 60  # in an hour
LINK_LETTERS_AN_HOUR = 5  # to one address
ADDRESS_LENGTH = 254  # RFC 5321's longest

_ADDRESS = re.compile(r"[@:/\\<>]|www\.|[^\W\d_]{2}\.[^\W\d_]{2}", re.IGNORECASE)  # in one pass, however long


def passing_on(giver: Invite) -> None:
    """
    Raises:
        Refused: this voice has let in as many as a day allows, or the sitting has as many as it may have.
    """
    since = timezone.now() - DAY
    passed = Invite.objects.filter(sitting=giver.sitting).exclude(passed_from=None)
    if passed.filter(passed_from=giver.voice, created_at__gt=since).count() >= PASSED_ON_A_DAY:
        raise Refused(_("You have let in %d people today; ask the studio for more.") % PASSED_ON_A_DAY)
    if sum(one.holds() for one in passed) >= PASSED_ON_OPEN:
        raise Refused(_("%d people share shortlists of this sitting already; ask the studio.") % PASSED_ON_OPEN)


def plain_name(name: str) -> None:
    """A name that somebody invited gives for somebody else goes into a letter: it must not carry an address.

    Raises:
        BadInput: it looks like one.
    """
    if _ADDRESS.search(name):
        raise BadInput(_("Give the person's name only, without any address."))


def asking_uses(sitting: Sitting, asker: Invite | None) -> None:
    """
    Raises:
        Refused: this person has asked as often as a day allows, or the sitting waits for as many answers as it may.
    """
    asked = sitting.usage_requests.filter(asked_at__gt=timezone.now() - DAY, invite=asker)
    if asker is not None and asked.count() >= USES_A_DAY:
        raise Refused(_("You have asked for %d uses today; the studio answers those first.") % USES_A_DAY)
    if sitting.usage_requests.filter(state="asked").count() >= USES_OPEN:
        raise Refused(_("%d requests wait for an answer already; the studio answers those first.") % USES_OPEN)


def asking_opinions(subject: Invite) -> None:
    """
    Raises:
        Refused: this subject has asked as often as a day allows, or as many are open as may be.
    """
    asked = SecondOpinion.objects.filter(asked_by=subject)
    since = timezone.now() - DAY
    if asked.filter(created_at__gt=since).count() >= OPINIONS_A_DAY or asked.unended().count() >= OPINIONS_OPEN:
        raise Refused(_("You have asked %d people already: end one first, or ask again tomorrow.") % OPINIONS_OPEN)


def sending_versions(retoucher: Invite) -> None:
    """
    Raises:
        Refused: this person has sent as many files as a day allows, or as many wait for the studio's choice as may.
    """
    since = timezone.now() - DAY
    strays = StrayRetouch.objects.filter(sitting=retoucher.sitting, invite=retoucher)
    sent = Version.objects.filter(final__sitting=retoucher.sitting, invite=retoucher, added_at__gt=since).count()
    if sent + strays.filter(created_at__gt=since).count() >= VERSIONS_A_DAY:
        raise Refused(_("You have sent %d files today; speak with the studio.") % VERSIONS_A_DAY)
    if strays.count() >= STRAYS_OPEN:
        raise Refused(_("%d files wait for the studio to say where they belong; it does that first.") % STRAYS_OPEN)


def sign_in_letter_allowed(email: str) -> bool:
    """Whether one more sign-in letter may go to this address within the hour; nobody is told when it may not."""
    recent = SignInLink.objects.filter(created_at__gt=timezone.now() - HOUR)
    return recent.filter(sent_to=email).count() < SIGN_IN_LETTERS_AN_HOUR and recent.count() < SIGN_IN_LETTERS_IN_ALL


def link_letter_allowed(email: str) -> bool:
    """As `sign_in_letter_allowed`, for the letters that bring somebody invited their link again."""
    recent = Letter.objects.filter(to=email, kind__in=["again", "ended"], created_at__gt=timezone.now() - HOUR)
    return recent.count() < LINK_LETTERS_AN_HOUR


def is_searchable(email: str) -> bool:
    """Whether a database can be asked for this address at all: one may refuse a zero byte, or to look for more."""
    return 0 < len(email) <= ADDRESS_LENGTH and "\0" not in email
