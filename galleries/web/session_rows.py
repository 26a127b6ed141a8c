"""Sessions as Django keeps them, read by a statement that is written once: each request of a page begins with it."""

from __future__ import annotations

from django.contrib.sessions.backends import db
from django.contrib.sessions.models import Session
from django.utils import timezone

from galleries.models.compiled import CompiledRows

_ask = CompiledRows(lambda key: Session.objects.filter(session_key=key).order_by(), by_keys=True)


class SessionStore(db.SessionStore):
    """Its row is looked for as ever, and one that has run out is none."""

    def _get_session_from_db(self) -> Session | None:
        row = _ask.first(self.session_key) if self.session_key is not None else None
        if row is not None and row.expire_date > timezone.now():
            return row
        self._session_key = None
        return None
