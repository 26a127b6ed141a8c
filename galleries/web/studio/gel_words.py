"""What a gel does to the light, for the look's form: its shift in mired, the gel it fits, the lamp behind it.

The shift is what is stored; the name is the photographer's own word for it.
"""

from __future__ import annotations

import re
from typing import Any

from django.utils.translation import gettext as _

from galleries.sorting import gels

DAYLIGHT = 5500.0  # a flash head, common practice


def words_for(name: str, mired: str) -> dict[str, Any]:
    """{words, mired?}: `mired` is the published shift of a gel known by its name; {} when nothing is known."""
    gel = by_name(name)
    if mired.strip():
        try:
            shift = int(mired)
        except ValueError:
            return {"words": _("A shift is a whole number of mired, like +109 or -78.")}
        sentences = [_shift_words(shift)]
        if gel is not None and abs(gel.shift - shift) > 12:
            sentences.append(
                _("The published shift of %(gel)s is %(shift)+d; makers differ, so keep what yours says.")
                % {"gel": gel.title, "shift": gel.shift}
            )
        return {"words": " ".join(sentences)}
    return {"words": _shift_words(gel.shift), "mired": gel.shift} if gel is not None else {}


def _shift_words(shift: int) -> str:
    try:
        after = gels.with_gel(DAYLIGHT, shift)
    except ValueError:
        return _("No lamp is left behind a shift of %+d mired.") % shift
    near = gels.nearest(shift)
    values = {"shift": shift, "gel": near.title if near else "", "after": after}
    if near is None:
        return _("%(shift)+d mired: a flash of 5500 K becomes %(after)d K.") % values
    return _("%(shift)+d mired, as %(gel)s: a flash of 5500 K becomes %(after)d K.") % values


_FRACTIONS = {"full": "full", "half": "1/2", "quarter": "1/4", "eighth": "1/8", "½": "1/2", "¼": "1/4", "¾": "3/4"}


def by_name(name: str) -> gels.Gel | None:
    """The gel of the table that a person's words name: 'half CTO on the rim', 'CTB 1/4', '85B'."""
    text = name.lower()
    for word, fraction in _FRACTIONS.items():
        text = text.replace(word, f" {fraction} ")
    kind = re.search(r"\b(cto|ctb)\b", text)
    if kind is not None:
        strength = re.search(r"\b(1/8|1/4|1/2|3/4|full)", text)
        title = f"{kind.group(1).upper()} {strength.group(1) if strength else 'full'}"
        return next((gel for gel in gels.GELS if gel.title == title), None)
    number = re.search(r"\b(85[bc]?|80a)\b", text)
    return next((gel for gel in gels.GELS if number and gel.title.lower() == number.group(1)), None)
