"""Arrows in a page that reads from right to left: each is mirrored once."""

from __future__ import annotations

import re
import unicodedata
from pathlib import Path

import pytest

STYLES = sorted((Path(__file__).parents[2] / "galleries/static/galleries/css").glob("*.css"))


@pytest.mark.parametrize("style", STYLES, ids=lambda path: path.stem)
def test_what_the_text_mirrors_by_itself_is_not_mirrored_again(style: Path) -> None:
    """Bidi_Mirrored of the Unicode Character Database (UAX #9, L4), as Python has it: a browser shows ‹ as › there, so
    a style that turns it, or writes the other one, turns it back."""
    assert unicodedata.mirrored("‹")
    assert unicodedata.mirrored("›")
    assert not unicodedata.mirrored("◂")
    for selector, body in re.findall(r"([^{}]*\[dir=\"rtl\"\][^{}]*)\{([^{}]*)\}", style.read_text("utf-8")):
        assert not re.search(r"scale|rotate|scaleX|matrix", body), selector
        written = re.findall(r'content:\s*"([^"]*)"', body)
        assert not [sign for text in written for sign in text if unicodedata.mirrored(sign)], selector
