"""The sentence of what was told by code and values, in the reader's language."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from datetime import date

from django.utils.formats import date_format, number_format
from django.utils.translation import gettext, gettext_noop

from galleries.told import Told, Value
from galleries.words import imaging, papers, sorting, steps

Maker = Callable[[Mapping[str, Value]], str]
SENTENCES: dict[str, str] = {**imaging.SENTENCES, **papers.SENTENCES, **sorting.SENTENCES, **steps.SENTENCES}
# What no single text can say: a sentence made of parts.
MAKERS: dict[str, Maker] = {**imaging.MAKERS}
# What the system says of a file, by its name for it; other names stand as they are.
SYSTEM: dict[str, str] = {
    "ENOENT": gettext_noop("there is no such file"),
    "EACCES": gettext_noop("it may not be read"),
    "EISDIR": gettext_noop("it is a folder"),
}
NOTHING, UNKNOWN = gettext_noop("nothing"), gettext_noop("unknown")


class _Shown(dict[str, str]):
    """Values as people read them. An answer of another release or process may lack one: then a dash stands there."""

    def __init__(self, data: Mapping[str, Value]) -> None:
        super().__init__({name: _shown(name, value) for name, value in data.items()})

    def __missing__(self, _name: str) -> str:
        return "–"


def _shown(name: str, value: Value) -> str:
    """A value with the decimals and signs of its unit (the end of its name) and of the reader's language."""
    if value is None:
        return gettext(NOTHING)
    unit = name.rpartition("_")[2]
    if isinstance(value, str):
        return _text(unit, value)
    if unit == "share":
        return f"{round(100 * value)} %"
    if unit == "minutes":
        return _duration(round(value))
    if unit in ("bytes", "pixels", "in"):
        return number_format(round(value), use_l10n=True, force_grouping=True)
    decimals = {"deg": 1, "times": 2, "stops": 1}.get(unit)
    if isinstance(value, float) and decimals is None:
        decimals = len(f"{value:.2f}".rstrip("0").partition(".")[2])
    return number_format(value, decimals, use_l10n=True)


def _text(unit: str, value: str) -> str:
    if unit == "colour":
        return gettext(sorting.COLOURS.get(value, value))
    if unit == "error" and value in SYSTEM:
        return gettext(SYSTEM[value])
    if unit == "camera" and not value:
        return gettext(UNKNOWN)
    return _day(value) if unit == "day" else value


def _duration(minutes: int) -> str:
    if minutes < 100:
        return gettext("%d min") % minutes
    if minutes < 48 * 60:
        return gettext("%(hours)d h %(minutes)d min") % {"hours": minutes // 60, "minutes": minutes % 60}
    return gettext("%d days") % round(minutes / 1440)


def _day(text: str) -> str:
    try:
        return date_format(date.fromisoformat(text), "DATE_FORMAT", use_l10n=True)
    except ValueError:
        return text


def sentence(message: Told) -> str:
    """The sentence, with what it is about before it and what follows behind it."""
    about = f"{message.about}: " if message.about else ""
    return about + " ".join([_one(message), *map(sentence, message.more)])


def _one(message: Told) -> str:
    code = str(message.code)
    if not code:
        return str(message.data.get("text", ""))
    maker = MAKERS.get(code)
    try:
        if maker is not None:
            return maker(message.data)
        if code in SENTENCES:
            return gettext(SENTENCES[code]) % _Shown(message.data)
    except (KeyError, TypeError, ValueError, OverflowError):
        pass  # values that this code does not have: another release wrote them
    return str(Told(code, message.data))


def title(parts: Iterable[Told]) -> str:
    """Several half sentences in one line, the first letter large."""
    line = ", ".join(map(sentence, parts))
    return line[:1].upper() + line[1:]


def sentences(several: Iterable[Told]) -> list[str]:
    return [sentence(one) for one in several]


def stored(text: object) -> str:
    """The sentence of what a row holds: code and values, or, in older rows, the sentence itself."""
    return sentence(Told.from_stored(text)) if text else ""
