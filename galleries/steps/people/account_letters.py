"""Letters about accounts: listed by the verb, sent by the worker. They belong to no sitting and know no quiet hours."""

from __future__ import annotations

from django.contrib.auth.models import User
from django.core.mail import EmailMultiAlternatives
from django.utils import translation

from galleries.models import AccountLetter
from galleries.steps import jobs
from galleries.steps.people.composing import compose, send_once


def list_letter(kind: AccountLetter.Kind, to: str, account: User | None = None) -> AccountLetter | None:
    """As part of a verb. None when there is no address."""
    if not to:
        return None
    letter = AccountLetter.objects.create(kind=kind, to=to, account=account, language=translation.get_language() or "")
    jobs.enqueue("account letter", letter.pk, None)
    return letter


def send(letter_id: int) -> None:
    """The worker's: once each. Again after a failure, never after it went."""
    letter = AccountLetter.objects.unsent().select_related("account").filter(pk=letter_id).first()
    if letter is not None:
        send_once(letter, lambda: _message(letter))


def send_due() -> int:
    """Scheduled, as for other letters: list again what could not be sent when it was given up; how many."""
    unsent = list(AccountLetter.objects.unsent())
    for letter in unsent:
        kind = "wish" if letter.kind == AccountLetter.Kind.WISH else "account letter"
        jobs.enqueue(kind, letter.pk, None, again=True)
    return len(unsent)


def _message(letter: AccountLetter) -> EmailMultiAlternatives:
    kind = f"account_{letter.kind.replace(' ', '_')}"
    return compose(kind, letter.to, letter.language, "", account=letter.account, at=letter.created_at)
