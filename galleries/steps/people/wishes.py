"""'Send me a way in': the wish is noted, and all that follows is the worker's, so that it takes the asker as long, and
writes as much, whether anybody has the address or not."""

from __future__ import annotations

from datetime import timedelta

from django.conf import settings
from django.utils import timezone, translation

from galleries.models import AccountLetter
from galleries.steps import jobs
from galleries.steps.people import again, caps
from galleries.steps.people import invite as invites
from galleries.steps.people.composing import once

KEPT = timedelta(days=1)


def wish(email: str) -> None:
    email = email.strip().lower()
    if not caps.is_searchable(email):
        return
    language = translation.get_language() or ""
    noted = AccountLetter.objects.create(kind=AccountLetter.Kind.WISH, to=email, language=language)
    jobs.enqueue("wish", noted.pk, None)


def answer(noted_id: int) -> None:
    """The job: the letters that are due to this address, if any, in the language in which it was asked."""
    noted = AccountLetter.objects.filter(pk=noted_id, kind=AccountLetter.Kind.WISH).first()
    if noted is not None:
        once(noted, lambda: _send(noted.to, noted.language))


def _send(email: str, language: str) -> None:
    with translation.override(language or settings.LANGUAGE_CODE):
        invites.mail_sign_in_link(email)
        again.send_links_again(email)


def forget() -> None:
    """Scheduled: who asked is not kept, whether they were answered or not."""
    AccountLetter.objects.filter(kind=AccountLetter.Kind.WISH, created_at__lt=timezone.now() - KEPT).delete()
