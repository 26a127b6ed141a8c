"""Names of delivered files: surname-given_look_frame_size.jpg, in plain ASCII, each once.

Letters with marks lose the marks (Zoë, Ångström: zoe, angstrom); a few letters of their own are spelled out
(ß: ss, ø: o, æ: ae). What has no Latin letters at all cannot be spelled without guessing its sound, so a person
becomes 'subject' and a look 'look-3' (its place in the sitting); the true names stand in the metadata.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

from galleries.models import Final, Sitting

_SPELLED = str.maketrans(
    {"ß": "ss", "ẞ": "SS", "æ": "ae", "Æ": "AE", "œ": "oe", "Œ": "OE", "ø": "o", "Ø": "O", "ł": "l", "Ł": "L",
     "đ": "d", "Đ": "D", "ð": "d", "Ð": "D", "þ": "th", "Þ": "Th", "ı": "i", "ħ": "h", "ŋ": "ng"}
)  # fmt: skip
ENDINGS = {"JPEG": "jpg", "TIFF": "tif"}


def plain(text: str, most: int = 40) -> str:
    """Lower-case ASCII letters, digits and single hyphens; '' where nothing of that is left."""
    letters = unicodedata.normalize("NFKD", text.translate(_SPELLED))
    ascii_ = "".join(c for c in letters if c.isascii() and not unicodedata.combining(c))
    return re.sub(r"[^a-z0-9]+", "-", ascii_.lower()).strip("-")[:most].strip("-")


def person(sitting: Sitting) -> str:
    return plain(f"{sitting.subject_surname} {sitting.subject_given}") or "subject"


def stem(final: Final) -> str:
    """surname-given_look_frame, without the size."""
    look = final.frame.look
    title = "no-look" if look is None else plain(look.title, 30) or f"look-{look.position + 1}"
    return f"{person(final.sitting)}_{title}_{plain(final.frame.label) or final.frame.pk}"


def stems(finals: Iterable[Final]) -> dict[int, str]:
    """One stem per final, by its id; where two would be the same the later one gets -2, -3, …"""
    taken: set[str] = set()
    by_final: dict[int, str] = {}
    for final in finals:
        wanted = name = stem(final)
        count = 1
        while name in taken:
            count += 1
            name = f"{wanted}-{count}"
        taken.add(name)
        by_final[final.pk] = name
    return by_final
