"""Which final is this retouched file? By the camera's file name, checked against the picture; by the picture
where the name does not say; asked where neither is sure. Never guessed."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from galleries import storage
from galleries.imaging.comparing import match
from galleries.imaging.contained import door
from galleries.models import Final, Frame, Sitting
from galleries.models.sittings import stem_of
from galleries.steps.limits import limits
from galleries.told import Told, told
from galleries.words.steps import Code

NEIGHBOURS = 3  # frames before and after a final that a picture is compared with too


@dataclass(frozen=True)
class Matching:
    """The final and how it was found, or the candidates and why a person must choose."""

    final: Final | None
    told: Told
    candidates: tuple[Final, ...] = ()


def finals_of(sitting: Sitting) -> list[Final]:
    return list(sitting.finals.listed().select_related("frame", "sitting"))


def _plain(stem: str) -> str:
    return re.sub(r"[\s_\-.]+", "_", stem.strip().lower())


def by_name(finals: Iterable[Final], name: str) -> list[Final]:
    """The finals whose camera file name stands in this file name, whatever an editor put round it.

    A name that is the camera's own counts before one that only holds it, and a longer one before a shorter.
    """
    given = _plain(stem_of(name))
    fits: list[tuple[int, Final]] = []
    for final in finals:
        stem = _plain(final.frame.stem)
        if given == stem:
            fits.append((10_000, final))
            continue
        after = r"(?![0-9])" if stem[-1:].isdigit() else r"(?![a-z0-9])"
        if stem and re.search(rf"(?<![a-z0-9]){re.escape(stem)}{after}", given):
            fits.append((len(stem), final))
    best = max((weight for weight, _final in fits), default=0)
    return [final for weight, final in fits if weight == best]


def find(sitting: Sitting, path: Path, name: str, among: Sequence[Final] | None = None) -> Matching:
    """The final that a retouched file belongs to: one `among` these, else of all on the list.

    Raises:
        ImagingError: the file cannot be decoded.
    """
    finals = finals_of(sitting) if among is None else list(among)
    if not finals:
        return Matching(None, told(Code.LIST_OPEN))
    picture = door.open_small(path, limits())
    named = by_name(finals, name)
    if len(named) == 1:
        return _as_named(named[0], finals, picture)
    matching = _by_picture(named or finals, picture)
    if matching.final is not None or not named:
        return matching
    return Matching(None, told(Code.NAME_FITS_SEVERAL), tuple(named))


def _as_named(named: Final, finals: Sequence[Final], picture: match.Small) -> Matching:
    """The one that the name says, unless the picture says no, or is another's: files are saved under wrong names."""
    likeness = _likeness(named.frame, picture)
    if likeness is not None and likeness >= match.SAME:
        return Matching(named, told(Code.BY_NAME))
    label = named.frame.label
    pictured = _by_picture(finals, picture)
    if pictured.final is not None and pictured.final.pk != named.pk:
        another = told(Code.NAMED_BUT_ANOTHER, frame=label, other=pictured.final.frame.label)
        return Matching(None, another, _first(named, (pictured.final,)))
    if likeness is None or likeness < match.OTHER:
        unlike = told(Code.NAMED_BUT_UNLIKE, frame=label)
        return Matching(None, unlike, _first(named, pictured.candidates))
    return Matching(named, told(Code.BY_NAME))


def _first(final: Final, others: Sequence[Final]) -> tuple[Final, ...]:
    return (final, *(other for other in others if other.pk != final.pk))


def _likeness(frame: Frame, picture: match.Small) -> float | None:
    original = door.open_small(storage.get(storage.private(), frame.key), limits())
    laid = match.overlay(original, picture)
    return laid.likeness if laid is not None and laid.area >= match.LEAST_AREA else None


def _by_picture(finals: Sequence[Final], picture: match.Small) -> Matching:
    values = [_likeness(final.frame, picture) for final in finals]
    ranked = sorted(
        ((value, final) for value, final in zip(values, finals, strict=True) if value is not None),
        key=lambda pair: -pair[0],
    )
    chosen = match.choose(values)
    alike = tuple(final for value, final in ranked if value >= match.OTHER)[:4]
    if chosen is None:
        if alike:
            return Matching(None, told(Code.PICTURE_FITS_SEVERAL), alike)
        return Matching(None, told(Code.FITS_NONE))
    final, best = finals[chosen], values[chosen] or 0.0
    for frame in _beside(final):
        other = _likeness(frame, picture)
        if other is not None and 1 - best > match.CLEARLY * (1 - other):
            return Matching(None, told(Code.LIKE_ANOTHER, frame=frame.label), alike)
    return Matching(final, told(Code.BY_PICTURE, likeness=round(100 * best)))


def _beside(final: Final) -> list[Frame]:
    """Frames shot just before and after a final that are no finals themselves: the ones it may be mistaken for."""
    frames = list(final.sitting.frames.exclude(finals__on_list=True))
    if final.frame.captured_at is None:
        return []
    at = final.frame.captured_at
    dated = sorted(
        (frame for frame in frames if frame.captured_at is not None),
        key=lambda frame: abs((frame.captured_at - at).total_seconds()) if frame.captured_at else 0.0,
    )
    return dated[: 2 * NEIGHBOURS]
