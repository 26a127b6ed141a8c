"""What a file is for, in the order in which people look for it: one rule for the studio's sizes, for the page where a
delivery is fetched, and for the folders of its archive."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Generic, TypeVar

from galleries.models import DeliveredFile, Delivery, DeliverySize

Use = DeliverySize.Use
Thing = TypeVar("Thing")

# Casting first: it is what most files are fetched for, and most often (common practice, no source).
# The folders' names are English, as all papers in the archive are.
FOLDERS = {Use.CASTING: "casting", Use.PRINT: "print", Use.WEB: "web", Use.FULL: "full-frame"}


@dataclass(frozen=True)
class Group(Generic[Thing]):
    """What is there for one use, in the order it came in."""

    use: str
    items: list[Thing]

    @property
    def title(self) -> str:
        """In the reader's language: 'casting upload'."""
        return str(Use(self.use).label)

    @property
    def folder(self) -> str:
        return FOLDERS[Use(self.use)]


def by_use(things: Iterable[Thing], use_of: Callable[[Thing], str]) -> list[Group[Thing]]:
    """The things grouped by `use_of`, a value of `DeliverySize.Use` each; uses nothing is for are left out."""
    rows: dict[str, list[Thing]] = {}
    for thing in things:
        rows.setdefault(use_of(thing), []).append(thing)
    return [Group(use, rows[use]) for use in FOLDERS if use in rows]


def of_sizes(sizes: Iterable[DeliverySize]) -> list[Group[DeliverySize]]:
    return by_use(sizes, lambda size: size.use)


def of_files(delivery: Delivery, files: Iterable[DeliveredFile]) -> list[Group[DeliveredFile]]:
    """Files of one delivery, by the use their size had when the delivery was made."""
    return by_use(files, lambda file: _use(delivery, file))


def path_in_archive(delivery: Delivery, file: DeliveredFile) -> str:
    """'print/veld-ansa_linen_0412_print-8x10.jpg'"""
    return f"{FOLDERS[Use(_use(delivery, file))]}/{file.name}"


def _use(delivery: Delivery, file: DeliveredFile) -> str:
    return str(delivery.sizes[file.size_slug]["use"])
