"""The sessions of somebody of the studio: each is one browser that came in."""

from __future__ import annotations

from django.contrib.auth import SESSION_KEY
from django.contrib.auth.models import User
from django.contrib.sessions.models import Session
from django.utils import timezone


def end_others(account: User, here: str = "") -> int:
    """End every session of the account but the one with the key `here`; how many there were."""
    others = [
        one.session_key
        for one in Session.objects.filter(expire_date__gt=timezone.now()).exclude(session_key=here)
        if one.get_decoded().get(SESSION_KEY) == str(account.pk)
    ]
    return Session.objects.filter(session_key__in=others).delete()[0]
