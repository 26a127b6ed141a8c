"""What has to be done every quarter of an hour, whoever is at the desk. One part that breaks does not stop the rest."""

from __future__ import annotations

import logging
from collections.abc import Callable
from datetime import timedelta

from django.contrib.sessions.backends.db import SessionStore
from django.utils import timezone

from galleries import storage
from galleries.models import SignInLink
from galleries.steps import arrivals
from galleries.steps.ingesting import incoming, proof
from galleries.steps.keeping import erase, own_copy, removal
from galleries.steps.people import account_letters, devices, posting, sessions, wishes

log = logging.getLogger(__name__)


def run() -> None:
    """Reminders and held-back letters; left-overs of broken uploads and writes; erasures that were interrupted; copies
    and sittings whose day is over."""
    parts: list[Callable[[], object]] = [
        posting.send_due,
        incoming.sweep,
        arrivals.sweep,
        sweep_stores,
        erase.finish_erasures,
    ]
    parts += [wishes.forget, account_letters.send_due]
    parts += [own_copy.end_lapsed, removal.by_the_clock, sweep_sessions, stamps_of_today]
    for part in parts:
        try:
            part()
        except Exception:
            log.exception("The upkeep's part %s broke; the next round tries again.", part.__name__)


def sweep_sessions() -> None:
    """Sessions that ran out, and the sign-in links with them: who came in when is not kept for ever."""
    SessionStore.clear_expired()
    sessions.forget()
    devices.forget()
    SignInLink.objects.filter(expires_at__lt=timezone.now() - timedelta(days=1)).delete()


def stamps_of_today() -> None:
    """Proofs by an earlier recipe, or under a name that the studio had, are listed to be made anew: each once."""
    proof.restamp_all(again=False)


def sweep_stores() -> None:
    """Remove the beginnings of files whose writer was killed."""
    for store in (storage.private(), storage.proofs()):
        if isinstance(store, storage.FolderStore):
            store.sweep_parts()
