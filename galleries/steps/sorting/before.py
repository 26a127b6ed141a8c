"""What an act on looks and frames found before it: typed, of a named version, kept as JSON so that it can be undone."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

from galleries.models import Frame, Look, Sitting, Undoable, Verb

VERSION = 1
WITH_SUGGESTIONS = 2  # what kept suggestions: a program that knows none would take nothing back and say that it had


@dataclass(frozen=True)
class Place:
    """Where a frame lay, by numbers of rows. `by_hand`: a person had put it there."""

    frame: int
    look: int | None
    by_hand: bool


@dataclass(frozen=True)
class GoneLook:
    """A look that the act removed: its columns by name, and the numbers of what had been said of it."""

    columns: Mapping[str, Any]
    references: tuple[int, ...] = ()
    comments: tuple[int, ...] = ()

    @classmethod
    def of(cls, look: Look) -> GoneLook:
        columns = {column.attname: getattr(look, column.attname) for column in Look._meta.concrete_fields}
        del columns["sitting_id"]
        ids = (tuple(rows.values_list("pk", flat=True)) for rows in (look.references, look.plan_comments))
        return cls(columns, *ids)


@dataclass(frozen=True)
class Before:
    """`into`: the look that the frames were put in, `into_title` as it was called then. `begun`: the look that began
    by the act. `hidden` and `suggested`: frame → whether it was that."""

    places: tuple[Place, ...] = ()
    hidden: Mapping[int, bool] = field(default_factory=dict)
    gone: GoneLook | None = None
    begun: int | None = None
    into: int | None = None
    into_title: str = ""
    suggested: Mapping[int, bool] = field(default_factory=dict)

    @property
    def version(self) -> int:
        return WITH_SUGGESTIONS if self.suggested else VERSION

    @property
    def frames(self) -> int:
        """How many frames the act named."""
        return len(self.places) + len(self.hidden) + len(self.suggested)

    def to_json(self) -> dict[str, Any]:
        """Plain values, as `of` reads them."""
        return asdict(self)


def places_of(frames: Iterable[int]) -> tuple[Place, ...]:
    rows = Frame.objects.filter(pk__in=list(frames)).order_by("pk")
    return tuple(Place(*row) for row in rows.values_list("pk", "look_id", "placed_by_hand"))


def keep(sitting: Sitting, who: str, verb: Verb, before: Before) -> Undoable:
    """Call it inside the act's own transaction."""
    return Undoable.objects.create(
        sitting=sitting, verb=Verb(verb), version=before.version, before=before.to_json(), who=who[:140]
    )


def of(kept: Undoable) -> Before:
    """
    Raises:
        ValueError: it is of another version; see `is_known`.
    """
    if not is_known(kept):
        raise ValueError(f"act {kept.pk} is of version {kept.version}")
    plain = kept.before
    gone = plain["gone"]
    return Before(
        places=tuple(Place(**place) for place in plain["places"]),
        hidden={int(frame): hidden for frame, hidden in plain["hidden"].items()},
        gone=gone and GoneLook(_columns(gone["columns"]), tuple(gone["references"]), tuple(gone["comments"])),
        begun=plain["begun"],
        into=plain["into"],
        into_title=plain["into_title"],
        suggested={int(frame): suggested for frame, suggested in plain.get("suggested", {}).items()},
    )


def is_known(kept: Undoable) -> bool:
    return kept.version in {VERSION, WITH_SUGGESTIONS}


def _columns(plain: Mapping[str, Any]) -> dict[str, Any]:
    """A look of an earlier release may have had columns that are no more."""
    known = {column.attname for column in Look._meta.concrete_fields}
    return {name: value for name, value in plain.items() if name in known}
