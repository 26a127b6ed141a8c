"""Log lines without secrets and without people: what went wrong and where, never with whom."""

from __future__ import annotations

import logging
import re
from typing import Any

# The token of an invite or sign-in link in an address: '/i/…' and '/in/…' at its start.
TOKEN = re.compile(r"(/in?/)[A-Za-z0-9_-]{8,}")
# A sitting's short name in an address: most are made of the subject's name.
SITTING = re.compile(r"(/s/|/studio/(?!(?:own|sizes|sittings)/))[^/\s]+(?=/|$)")
# Begun at a word's beginning only, without a way back: read from each letter on, an address of 8 kB took half a second.
ADDRESS = re.compile(r"(?<![^\s<>\"'“”(){}\[\],;:=])[^\s<>\"'“”(){}\[\],;:=@]++@[^\s<>\"'“”(){}\[\],;:=]+")
LONGEST = 2_000  # signs of one line; what is longer was made to be long
# What errors quote: names, file names, words somebody typed; and a row's values, as PostgreSQL tells them.
QUOTED = re.compile(r"""(?<!\w)'[^'\n]*'|"[^"\n]*"|“[^”\n]*”|(?<==)\([^)\n]*\)""")
KEY = re.compile(r"sittings/[0-9a-f]{32}/[\w./-]*")  # in a store; made of numbers and digests
CODE = re.compile(r'  File "|    ')  # of a traceback: where in the code, and how it reads


def without_secrets(text: str) -> str:
    """Addresses of links, sittings and people taken out."""
    return ADDRESS.sub("…@…", SITTING.sub(r"\1-", TOKEN.sub(r"\1-", _cut(text))))


def without_words(trace: str) -> str:
    """A traceback with its places in the code; of what its errors say, nothing they quote but keys of the stores."""
    lines = (line if CODE.match(line) else QUOTED.sub(_unquoted, line) for line in _cut(trace).splitlines())
    return without_secrets("\n".join(lines))


def _cut(text: str) -> str:
    return "\n".join(line if len(line) <= LONGEST else f"{line[:LONGEST]}…" for line in text.split("\n"))


def _unquoted(quotation: re.Match[str]) -> str:
    key = KEY.search(quotation[0])
    return f"“…{key[0] if key else ''}”"


class WithoutTokens(logging.Filter):
    """Django writes the whole address of every refused or broken request; a link in it may open again one day."""

    def filter(self, record: logging.LogRecord) -> bool:
        line = record.getMessage()
        record.msg, record.args = without_words(line) if "Traceback (" in line else without_secrets(line), ()
        return True


class Line(logging.Formatter):
    """One line, and the traceback where there is one."""

    def formatException(self, ei: Any) -> str:
        return without_words(super().formatException(ei))
