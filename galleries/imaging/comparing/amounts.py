"""What of a face changed between a frame and its version, in amounts and places, and which of it is worth a caution.

A reading is a program's and can be wrong: it cautions, and never refuses.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from galleries.imaging.codes import Code
from galleries.told import Told, told

Place = tuple[float, float, float, float]

# Of each kind, the largest amount not worth a word: percent, for skin and irises CIEDE2000. Set on half of the
# portraits of ../shared, tried on the others (DEVELOPERS.md, 'True to life').
USUAL: dict[str, float] = {
    "eyes": 2.5, "mouth": 4.0, "nose": 4.0, "width": 2.5, "chin": 2.0, "texture": 50.0, "skin": 5.0, "irises": 7.0,
}  # fmt: skip
# Which kind an amount is judged by.
KIND: dict[str, str] = {
    "eyes": "eyes", "mouth": "mouth", "nose": "nose", "face": "width", "cheeks": "width", "jaw": "width",
    "chin": "chin", "forehead_texture": "texture", "right_cheek_texture": "texture", "left_cheek_texture": "texture",
    "chin_texture": "texture", "skin": "skin", "right_eye_iris": "irises", "left_eye_iris": "irises",
}  # fmt: skip


@dataclass(frozen=True)
class Changes:
    """Amounts by name (`KIND`): shape in percent, + = larger, wider or longer; texture in percent gone; colours in
    CIEDE2000, with `lightness` (L*) of the skin beside. `places`: rectangles by the same names, shares of the frame's
    width and height (x, y, width, height); `on_version`: the same places as shares of the version's. `unread`: kinds
    that could not be read.
    """

    amounts: dict[str, float] = field(default_factory=dict)
    places: dict[str, Place] = field(default_factory=dict)
    on_version: dict[str, Place] = field(default_factory=dict)
    unread: tuple[str, ...] = ()

    def beyond(self, most: Mapping[str, float] = USUAL) -> dict[str, float]:
        """The amounts over what their kind allows, those that are furthest over first."""
        over = {
            name: amount
            for name, amount in self.amounts.items()
            if name in KIND and abs(amount) > most.get(KIND[name], USUAL[KIND[name]])
        }
        return dict(
            sorted(over.items(), key=lambda item: -abs(item[1]) / most.get(KIND[item[0]], USUAL[KIND[item[0]]]))
        )

    def caution(self, most: Mapping[str, float] = USUAL) -> Told | None:
        """What goes beyond, in whole percent or CIEDE2000, the furthest first; None when all is as it was."""
        values: dict[str, Any] = {}
        for name, amount in self.beyond(most).items():
            kind = KIND[name]
            if kind == "texture":
                values.setdefault("texture_percent", round(amount))
            elif kind == "irises":
                values.setdefault("irises_delta_e", round(amount))
            elif kind == "skin":
                values.setdefault("skin_delta_e", round(amount))
                values.setdefault("skin_lightness", round(self.amounts.get("lightness", 0.0)))
            else:
                values[f"{name}_percent"] = round(amount)
        if "face_percent" in values:  # cheeks and jaw went with it
            for part in ("cheeks_percent", "jaw_percent"):
                if abs(values.get(part, 0)) <= abs(values["face_percent"]) + 1:
                    values.pop(part, None)
        return told(Code.SHAPE_CHANGED, **values) if values else None

    def marked(self, most: Mapping[str, float] = USUAL, *, on_version: bool = False) -> list[Place]:
        """Where the changes lie that `caution` tells, each place once: on the frame, or on the version."""
        places = self.on_version if on_version else self.places
        return list(dict.fromkeys(places[name] for name in self.beyond(most) if name in places))

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON; `from_dict` is its inverse."""
        there = {name: list(place) for name, place in self.on_version.items()}
        here = {name: list(place) for name, place in self.places.items()}
        return {"amounts": dict(self.amounts), "places": here, "on_version": there, "unread": list(self.unread)}

    @classmethod
    def from_dict(cls, values: Mapping[str, Any]) -> Changes:
        """The inverse of `as_dict`; what is not of its form is left out."""
        amounts = {str(k): float(v) for k, v in _mapping(values, "amounts") if isinstance(v, int | float)}
        unread = values.get("unread")
        return cls(
            amounts,
            _rectangles(values, "places"),
            _rectangles(values, "on_version"),
            tuple(map(str, unread)) if isinstance(unread, list) else (),
        )


def _rectangles(values: Mapping[str, Any], name: str) -> dict[str, Place]:
    return {
        str(k): (float(v[0]), float(v[1]), float(v[2]), float(v[3]))
        for k, v in _mapping(values, name)
        if isinstance(v, list) and len(v) == 4 and all(isinstance(one, int | float) for one in v)
    }


def _mapping(values: Mapping[str, Any], name: str) -> list[tuple[Any, Any]]:
    part = values.get(name)
    return list(part.items()) if isinstance(part, Mapping) else []
