"""Which family of browser, and on what, somebody comes with: read from what it says of itself (RFC 9110, 10.1.5).

It may say anything; it is shown so that people know their own devices again, and nothing opens or stays shut by it.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from django.utils.translation import gettext as _

LONGEST = 500  # characters that are looked at


class Browser(NamedTuple):
    """Names as their makers write them; '' where it cannot be told."""

    family: str
    system: str


# What each calls itself by, in this order: most also name those before whose pages they want. From memory.
_FAMILIES = (
    ("Edge", r"\bEdg(?:e|A|iOS)?/"),
    ("Opera", r"\bOPR/|\bOpera\b"),
    ("Samsung Internet", r"\bSamsungBrowser/"),
    ("Firefox", r"\b(?:Firefox|FxiOS)/"),
    ("Chrome", r"\b(?:Chrome|CriOS|Chromium|HeadlessChrome)/"),
    ("Safari", r"\bVersion/\S+ .*\bSafari/"),
)
_SYSTEMS = (
    ("iPhone", r"\biPhone\b"),
    ("iPad", r"\biPad\b"),
    ("Android", r"\bAndroid\b"),
    ("Windows", r"\bWindows\b"),
    ("ChromeOS", r"\bCrOS\b"),
    ("macOS", r"\bMac OS X\b|\bMacintosh\b"),
    ("Linux", r"\bLinux\b|\bX11\b"),
)


def read(agent: str) -> Browser:
    """What the `User-Agent` of a request says."""
    agent = agent[:LONGEST]
    return Browser(_first(_FAMILIES, agent), _first(_SYSTEMS, agent))


def _first(kinds: tuple[tuple[str, str], ...], agent: str) -> str:
    return next((name for name, sign in kinds if re.search(sign, agent)), "")


def words(family: str, system: str) -> str:
    """'Firefox on Windows', or what of it is known."""
    if family and system:
        return _("%(browser)s on %(system)s") % {"browser": family, "system": system}
    if system:
        return _("Unknown browser on %s") % system
    return family or _("Unknown browser")
