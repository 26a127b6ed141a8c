"""Letters about accounts: listed by the verb, sent by the worker. They belong to no sitting and know no quiet hours."""

from __future__ import annotations

from django.conf import settings
from django.contrib.auth.models import User
from django.core.mail import EmailMultiAlternatives
from django.utils import translation

from galleries.models import AccountLetter, KnownDevice
from galleries.steps import jobs
from galleries.steps.people import browsers, devices
from galleries.steps.people.composing import compose, send_once
from galleries.steps.people.invite import sign_in_link

COLLEAGUE_MINUTES = 7 * 1440  # own choice: somebody invited on a Friday reads it on Monday


def list_letter(
    kind: AccountLetter.Kind, to: str, account: User | None = None, device: KnownDevice | None = None
) -> AccountLetter | None:
    """As part of a verb. None when there is no address."""
    if not to:
        return None
    language = translation.get_language() or ""
    letter = AccountLetter.objects.create(kind=kind, to=to, account=account, device=device, language=language)
    jobs.enqueue("account letter", letter.pk, None)
    return letter


def send(letter_id: int) -> None:
    """The worker's: once each. Again after a failure, never after it went."""
    letter = AccountLetter.objects.unsent().select_related("account", "device").filter(pk=letter_id).first()
    if letter is not None:
        if letter.kind == AccountLetter.Kind.NEW_DEVICE and letter.device is None:
            letter.delete()  # its owner said meanwhile that it was somebody else's, or it was forgotten
            return
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
    device = letter.device
    if letter.kind == AccountLetter.Kind.COLLEAGUE:
        link = sign_in_link(user=letter.account, minutes=COLLEAGUE_MINUTES, sent_to=letter.to)
        days = COLLEAGUE_MINUTES // 1440
        return compose(kind, letter.to, letter.language, link, account=letter.account, days=days)
    if device is None:
        return compose(kind, letter.to, letter.language, "", account=letter.account, at=letter.created_at)
    with translation.override(letter.language or settings.LANGUAGE_CODE):
        browser = browsers.words(device.browser, device.system)
    return compose(
        kind, letter.to, letter.language, devices.answer_link(device),
        account=letter.account, at=letter.created_at, device=device, browser=browser, days=devices.ANSWER.days,
    )  # fmt: skip
