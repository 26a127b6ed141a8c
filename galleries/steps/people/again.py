"""'Send me my link again': for everybody invited, to the address on record and nowhere else."""

from __future__ import annotations

from django.utils import timezone

from galleries.models import Invite, Sitting
from galleries.steps.people import caps, letters


def send_links_again(email: str) -> int:
    """List a letter with a fresh link for each invite under this address; returns how many.

    Representations find all their sittings behind one link, which `invite.mail_sign_in_link` sends. Where the invite
    has ended, the letter says so, and the photographer hears who asks. Whoever asked is told nothing of all this.
    """
    email = email.strip().lower()
    if not caps.is_searchable(email) or not caps.link_letter_allowed(email):
        return 0
    listed = 0
    people = Invite.objects.unrevoked().filter(email=email).exclude(sitting__stage=Sitting.Stage.ARCHIVED)
    for person in people.select_related("sitting", "passed_from"):
        if person.sitting.lacks_consent:
            continue
        if person.expires_at <= timezone.now():
            listed += _say_that_it_ended(person)
        elif person.holds() and not person.is_representation:
            listed += _list(person)
    return listed


def send_link_again(person: Invite) -> int:
    """As `send_links_again`, for one invite that a link of its own names: representations too, whose desk is not asked
    for here."""
    if person.sitting.stage == Sitting.Stage.ARCHIVED or person.sitting.lacks_consent or not person.holds():
        return 0
    return _list(person) if caps.link_letter_allowed(person.email) else 0


def _list(person: Invite) -> int:
    sent_before = person.letters.filter(kind="again").count()
    return len(letters.notify(person.sitting, "again", [person], about=f"invite-{person.pk}-{sent_before}"))


def _say_that_it_ended(person: Invite) -> int:
    """Once a day; the photographer gets the other letter, and opens the invite again or not."""
    about = f"invite-{person.pk}-{timezone.now().date().isoformat()}"
    letters.notify_photographer(person.sitting, "asked", about=about)
    return len(letters.notify(person.sitting, "ended", [person], about=about))
