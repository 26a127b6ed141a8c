"""Too few pixels for a size: said wherever a file is decided, before anybody has it printed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from galleries.imaging.codes import Code
from galleries.imaging.framing import crops
from galleries.imaging.framing.geometry import Rect, fit_largest
from galleries.models import DeliverySize, Final
from galleries.steps.delivering import cut, sizes
from galleries.told import Told


@dataclass(frozen=True)
class Shortage:
    """One size that a picture is too small for, and by how much (`crop.few_ppi` or `crop.to_enlarge`)."""

    size: DeliverySize
    told: Told


def of_picture(width: int, height: int, wanted: Iterable[DeliverySize]) -> list[Shortage]:
    """What a picture of width × height pixels is too small for at best: by the largest crop of each size's shape."""
    shortages = []
    for size in wanted:
        ratio = cut.ratio_of(size)
        if ratio is not None:
            shortages += _shortage(size, fit_largest(ratio, (width, height)))
    return shortages


def of_finals(finals: Iterable[Final], wanted: Sequence[DeliverySize]) -> dict[Final, list[Shortage]]:
    """What each final is too small for, by the crops it would be cut to now; finals that lack nothing are left out."""
    shortages = {}
    for final in finals:
        short = [one for crop in cut.shown(final, wanted) for one in _shortage(crop.size, cut.rect_of(crop))]
        if short:
            shortages[final] = short
    return shortages


def _shortage(size: DeliverySize, rect: Rect) -> list[Shortage]:
    """A print with its least resolution is let pass though it is enlarged a little; a picture for screens never is."""
    told = crops.too_few_pixels(rect, sizes.spec(size))
    grave = [one for one in told if one.code == (Code.FEW_PPI if size.min_ppi else Code.TO_ENLARGE)]
    return [Shortage(size, one) for one in grave]
