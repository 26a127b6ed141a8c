"""The sessions of somebody of the studio: each is one browser that came in. They see them, and end them.

The row is the right to be signed in: `galleries.web.listed` asks for it at every request, so that one that was ended is
over at once. It is found by the hash of the session's key, which stands nowhere else than in that browser and in the
framework's own table.
"""

from __future__ import annotations

from datetime import timedelta

from django.conf import settings
from django.contrib.auth import SESSION_KEY
from django.contrib.auth.models import User
from django.contrib.sessions.models import Session
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from galleries.access import Act, Visitor, require
from galleries.errors import Missing
from galleries.models import JournalLine, StudioSession, Verb
from galleries.models.compiled import CompiledRows
from galleries.steps.people import browsers
from galleries.steps.people.invite import hash_of
from galleries.steps.people.sign_ins import shortened

SEEN_EVERY = timedelta(minutes=5)


def begin(
    account: User,
    key: str,
    *,
    address: str,
    agent: str,
    way: StudioSession.Way = StudioSession.Way.UNKNOWN,
    second: StudioSession.Second = StudioSession.Second.NONE,
) -> None:
    """The session with this key is the account's. A second call for the same key changes nothing."""
    browser = browsers.read(agent)
    StudioSession.objects.get_or_create(
        key_hash=hash_of(key),
        defaults={
            "account": account, "way": way, "second": second, "network": shortened(address),
            "browser": browser.family, "system": browser.system,
        },
    )  # fmt: skip


_ask_standing = CompiledRows(
    lambda key_hash, account: StudioSession.objects.filter(key_hash=key_hash, account=account).order_by("pk")[:1],
    by_keys=True,
)


def stands(account: User, key: str) -> bool:
    """Is this session the account's, and was it not ended? That it was seen is noted once in five minutes."""
    row = _ask_standing.first(hash_of(key), account.pk)
    if row is None:
        return False
    now = timezone.now()
    if row.seen_at < now - SEEN_EVERY:
        StudioSession.objects.filter(pk=row.pk).update(seen_at=now)
    return True


def moved(key: str, to: str) -> None:
    """The session got another key, as it does when rights change; '' when it is over, in that browser's own doing."""
    row = StudioSession.objects.filter(key_hash=hash_of(key))
    if not to or StudioSession.objects.filter(key_hash=hash_of(to)).exists():
        row.delete()
    else:
        row.update(key_hash=hash_of(to))


def of_account(account: User) -> list[StudioSession]:
    """The one seen last first."""
    return list(StudioSession.objects.filter(account=account).order_by("-seen_at", "-pk"))


def is_here(session: StudioSession, key: str) -> bool:
    return session.key_hash == hash_of(key)


def end(account: User, by: Visitor, session_id: int) -> None:
    """End one session of one's own, from its next request on.

    Raises:
        Missing: the account has no such session (any more).
    """
    require(by, Act.KEEP_ACCOUNT, account)
    with transaction.atomic():
        row = StudioSession.objects.select_for_update().filter(pk=session_id, account=account).first()
        if row is None:
            raise Missing(_("That session is over already."))
        row.delete()
        JournalLine.write(
            None, by.who, Verb.SESSION_ENDED, account.get_username(), account=account.pk, network=row.network
        )


def end_all_others(account: User, by: Visitor, here: str) -> int:
    """End all sessions of one's own but the one with the key `here`; how many there were."""
    require(by, Act.KEEP_ACCOUNT, account)
    with transaction.atomic():
        ended = end_others(account, here)
        JournalLine.write(None, by.who, Verb.SESSIONS_ENDED, account.get_username(), account=account.pk, ended=ended)
    return ended


def end_others(account: User, here: str = "") -> int:
    """Part of a verb: end every session of the account but the one with the key `here`; how many there were.

    Those of an earlier release, which have no row yet, are sought in the framework's table.
    """
    rows = StudioSession.objects.filter(account=account).exclude(key_hash=hash_of(here))
    listed = set(rows.values_list("key_hash", flat=True))
    others = [
        one.session_key
        for one in Session.objects.filter(expire_date__gt=timezone.now()).exclude(session_key=here)
        if one.get_decoded().get(SESSION_KEY) == str(account.pk)
    ]
    Session.objects.filter(session_key__in=others).delete()
    rows.delete()
    return len(listed | {hash_of(key) for key in others})


def forget() -> None:
    """The clock's: sessions left alone for longer than any may be, whose browsers never came back to hear of it."""
    longest = timedelta(hours=settings.STUDIO_IDLE_HOURS) + 2 * SEEN_EVERY
    StudioSession.objects.filter(seen_at__lt=timezone.now() - longest).delete()
