"""Log lines without secrets."""

from __future__ import annotations

import logging
import re

# The token of an invite or sign-in link in an address: '/i/…' and '/in/…' at its start.
TOKEN = re.compile(r"(/in?/)[A-Za-z0-9_-]{8,}")


class WithoutTokens(logging.Filter):
    """Django writes the whole address of every refused or broken request; a link in it may open again one day."""

    def filter(self, record: logging.LogRecord) -> bool:
        record.msg, record.args = TOKEN.sub(r"\1-", record.getMessage()), ()
        return True
