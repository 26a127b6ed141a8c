"""What a sentence says, without its words: a code, named values with their units, and what it is about.

The pure packages tell this way and know no language; `galleries.words` makes the sentence for its reader. A value's
unit is the end of its name: `_px`, `_bytes`, `_share` (0 to 1), `_deg`, `_times`, `_s`, `_ppi`, `_percent`, `_delta_e`
(CIEDE2000), `_lightness` (CIE L*).
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

Value = str | int | float | bool | None
_PLAIN = (str, int, float, bool, type(None))


@dataclass(frozen=True)
class Told:
    """`code` is a member of its room's enumeration; without one, `data["text"]` is a sentence kept from before codes.

    `about` names the file or frame that it is about, where the code alone does not say so; `more` are sentences that
    follow.
    """

    code: str
    data: dict[str, Value] = field(default_factory=dict)
    about: str = ""
    more: tuple[Told, ...] = ()

    def __hash__(self) -> int:
        return hash((self.code, tuple(sorted(self.data)), self.about))

    def __str__(self) -> str:
        """For logs and developers; people read `words.sentence`."""
        values = ", ".join(f"{name}={value!r}" for name, value in self.data.items())
        return " ".join([f"{self.about and self.about + ': '}{self.code} ({values})", *map(str, self.more)])

    def named(self, about: str) -> Told:
        return Told(self.code, self.data, about, self.more)

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON; `from_stored` is its inverse."""
        plain: dict[str, Any] = {"code": str(self.code)}
        if self.data:
            plain["data"] = dict(self.data)
        if self.about:
            plain["about"] = self.about
        if self.more:
            plain["more"] = [one.as_dict() for one in self.more]
        return plain

    def as_text(self, most: int) -> str:
        """For a column of text of `most` signs: what follows goes first, then long names are cut, never the form."""
        if not self.code:
            return str(self.data.get("text", ""))[:most]
        for shorter in (self, *(self._cut(longest) for longest in (200, 80, 30, 10))):
            text = json.dumps(shorter.as_dict(), ensure_ascii=False)
            if len(text) <= most:
                return text
        return json.dumps({"code": str(self.code)})

    def _cut(self, longest: int) -> Told:
        data = {name: value[:longest] if isinstance(value, str) else value for name, value in self.data.items()}
        return Told(self.code, data, self.about[:longest])

    @classmethod
    def from_stored(cls, stored: object) -> Told:
        """From `as_dict` or `as_text`; a plain sentence, as older rows hold it, stays one."""
        body = stored
        if isinstance(stored, str) and stored.startswith('{"code": '):
            try:
                body = json.loads(stored)
            except ValueError:
                body = stored
        if isinstance(body, Mapping) and isinstance(body.get("code"), str):
            data = body.get("data")
            plain = {str(k): v for k, v in data.items() if isinstance(v, _PLAIN)} if isinstance(data, Mapping) else {}
            more = body.get("more")
            following = tuple(map(cls.from_stored, more)) if isinstance(more, list) else ()
            return cls(body["code"], plain, str(body.get("about", "")), following)
        return cls("", {"text": str(stored)})


def told(code: str, **data: Value) -> Told:
    return Told(code, data)


def following(several: Sequence[Told]) -> Told:
    """Several as one: the first, followed by the others. There is at least one."""
    first, *others = several
    return Told(first.code, first.data, first.about, (*first.more, *others))
