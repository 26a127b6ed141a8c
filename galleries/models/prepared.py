"""Statements that PostgreSQL plans once in a connection, not each time they are asked (its manual, PREPARE): of a
question by keys, whose answer is a row or two, planning takes five to ten times what answering does.

For those alone: a plan that serves all values is not the best one where a few values have most of the rows. It holds
as long as its connection, and PostgreSQL itself plans anew when a table of it changes. Only where a column of the
answer changes its type, as a later release's migration may while this one still answers, it refuses: then the question
is asked without a plan, and the connection is let go at the end of the request.
"""

from __future__ import annotations

from typing import Any

from django.db import connection as current
from django.db.backends.postgresql.base import ServerBindingCursor
from psycopg.errors import FeatureNotSupported
from psycopg.pq import TransactionStatus


class _Cursor(ServerBindingCursor):  # which the framework's types do not know to be psycopg's
    """Prepares what it executes. Other cursors of the connection prepare, and count, nothing: their texts hold values,
    thousands of them in some."""

    def execute(self, query: Any, params: Any = None, **_more: Any) -> Any:
        raw: Any = self.connection  # type: ignore[attr-defined]
        raw.prepare_threshold = 0
        try:
            return super().execute(query, params, prepare=True)  # type: ignore[misc]
        except FeatureNotSupported:
            current.close_at = 0  # of the framework: let go at the end of the request
            if raw.info.transaction_status != TransactionStatus.IDLE:
                raise  # the transaction is lost; the next request has a new connection
            return super().execute(query, params, prepare=False)  # type: ignore[misc]
        finally:
            raw.prepare_threshold = None


def cursor(connection: Any) -> Any:
    """As `connection.cursor()`, on a connection to PostgreSQL that is open."""
    raw = connection.connection
    usual, raw.cursor_factory = raw.cursor_factory, _Cursor
    try:
        return connection.cursor()
    finally:
        raw.cursor_factory = usual
