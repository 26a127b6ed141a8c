"""Letters about accounts: listed by the verb, sent by the worker. They belong to no sitting and know no quiet hours."""

from __future__ import annotations

from django.conf import settings
from django.contrib.auth.models import User
from django.core.mail import EmailMessage
from django.template.loader import render_to_string
from django.utils import timezone, translation

from galleries.models import AccountLetter, Studio
from galleries.steps import jobs


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
    if letter is None or not AccountLetter.objects.unsent().filter(pk=letter_id).update(sent_at=timezone.now()):
        return
    try:
        _message(letter, letter.to, {}).send()
    except Exception:
        AccountLetter.objects.filter(pk=letter_id).update(sent_at=None)
        raise


def _message(letter: AccountLetter, to: str, more: dict[str, object]) -> EmailMessage:
    """The letter of templates/galleries/letters/account_<kind>.txt; its first line is the subject."""
    studio = Studio.current()
    name = f"galleries/letters/account_{letter.kind.replace(' ', '_')}.txt"
    with translation.override(letter.language or settings.LANGUAGE_CODE):
        context = {"studio": studio, "account": letter.account, "at": letter.created_at, **more}
        subject, _line, body = render_to_string(name, context).strip().partition("\n")
    return EmailMessage(subject, body.strip() + "\n", settings.DEFAULT_FROM_EMAIL, [to], reply_to=[studio.email])
