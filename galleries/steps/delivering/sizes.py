"""Delivery sizes: loaded from data, copied, retired, and handed to the imaging package as specs."""

from __future__ import annotations

import json
from dataclasses import fields
from datetime import date
from pathlib import Path
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from galleries.access import Act, Visitor, require
from galleries.errors import BadInput
from galleries.imaging.errors import BadCrop
from galleries.imaging.framing.sizes import SizeSpec
from galleries.models import DeliverySize, JournalLine, Studio, Verb
from galleries.words.told import sentence

DATA = Path(__file__).resolve().parents[2] / "data" / "sizes.json"
# What the size itself is; the rest of a row says where it comes from and how it is offered.
OF_SPEC = (
    "slug", "title", "use", "width", "height", "ppi", "bleed", "border", "safe", "byte_cap", "file_format", "bits",
    "profile", "min_ppi", "name_strip", "quality", "source", "source_kind",
)  # fmt: skip
_RENAMED = {"mark": "source_kind"}
_KNOWN = {*OF_SPEC, "checked_on", "chosen_first"}


def load(path: Path = DATA) -> int:
    """Bring the sizes of a data file into the database; returns how many rows were made or renewed.

    A row whose own check is as late as the file's is left alone, so that what a photographer changed stays.
    Raises `BadInput` naming the entry; then nothing was changed.
    """
    try:
        entries = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise BadInput(_("The file of sizes %(path)s cannot be read: %(error)s.") % _at(path, error)) from error
    count = 0
    with transaction.atomic():
        for position, entry in enumerate(entries):
            values = _checked(entry, position, path)
            row = DeliverySize.objects.filter(slug=values["slug"]).first()
            if row is not None and row.checked_on >= values["checked_on"]:
                continue
            DeliverySize.objects.update_or_create(slug=values["slug"], defaults={**values, "position": position})
            count += 1
    return count


def with_names_of_today(values: dict[str, Any]) -> dict[str, Any]:
    """A size as an earlier release wrote it (data file, archive, delivery's order) under the names of this one."""
    return {_RENAMED.get(name, name): value for name, value in values.items()}


def _at(path: Path, error: Exception) -> dict[str, str]:
    return {"path": path.name, "error": str(error)}


def _checked(entry: dict[str, Any], position: int, path: Path) -> dict[str, Any]:
    entry = with_names_of_today(entry)
    where = {"path": path.name, "number": position + 1, "slug": entry.get("slug", "?")}
    unknown = sorted(set(entry) - _KNOWN)
    if unknown:
        raise BadInput(
            _("%(path)s, entry %(number)s (%(slug)s): unknown field %(field)s.") % {**where, "field": unknown[0]}
        )
    try:
        SizeSpec(**{name: entry[name] for name in OF_SPEC if name in entry})
        return {**entry, "checked_on": date.fromisoformat(entry["checked_on"])}
    except (BadCrop, TypeError, ValueError, KeyError) as error:
        why = sentence(error.told) if isinstance(error, BadCrop) else str(error)
        raise BadInput(_("%(path)s, entry %(number)s (%(slug)s): %(error)s") % {**where, "error": why}) from error


def spec(size: DeliverySize) -> SizeSpec:
    """The row as imaging wants it. Raises `BadInput` when the row contradicts itself."""
    return spec_from(numbers(size))


def numbers(size: DeliverySize) -> dict[str, Any]:
    """The row as plain JSON: what a delivery keeps, whatever becomes of the row."""
    return {**{name: getattr(size, name) for name in OF_SPEC}, "checked": size.checked_on.isoformat()}


def spec_from(values: dict[str, Any]) -> SizeSpec:
    """The inverse of `numbers`."""
    known = {field.name for field in fields(SizeSpec)}
    try:
        return SizeSpec(**{name: value for name, value in with_names_of_today(values).items() if name in known})
    except BadCrop as error:
        raise BadInput(error.told) from error


def _asked(by: Visitor) -> None:
    require(by, Act.RUN_STUDIO, Studio.current(), _("Delivery sizes are changed by whoever runs the studio."))


def _next_place() -> int:
    last = DeliverySize.objects.order_by("-position").first()
    return (last.position if last else 0) + 1


def keep_size(size: DeliverySize, by: Visitor) -> DeliverySize:
    """Keep a size as it stands in `size`; a new one is offered after all others. Deliveries made keep their numbers.

    Raises:
        Refused: sizes are not this person's to change.
        BadInput: it contradicts itself, or its short name is taken.
    """
    _asked(by)
    spec(size)
    new = size.pk is None
    if DeliverySize.objects.filter(slug=size.slug).exclude(pk=size.pk).exists():
        raise BadInput(_("There is a size called “%(slug)s” already; choose another short name.") % {"slug": size.slug})
    with transaction.atomic():
        if new:
            size.position = _next_place()
        size.save()
        JournalLine.write(None, by.who, Verb.SIZE_ADDED if new else Verb.SIZE_KEPT, size.title, slug=size.slug)
    return size


def copy_size(size: DeliverySize, by: Visitor, slug: str, title: str) -> DeliverySize:
    """A copy to be changed, offered after all others. Its source is the photographer's own word from now on."""
    _asked(by)
    values = {
        field.name: getattr(size, field.name) for field in DeliverySize._meta.concrete_fields if field.name != "id"
    }
    values |= {
        "slug": slug,
        "title": title,
        "source": f"{by.name}, after “{size.title}”"[:300],
        "source_kind": "studio",
        "checked_on": timezone.localdate(),
        "retired": False,
    }
    return keep_size(DeliverySize(**values), by)


def retire_size(size: DeliverySize, by: Visitor, retired: bool = True) -> None:
    """Offer a size no more (or again). What was delivered in it stays as it was."""
    _asked(by)
    with transaction.atomic():
        size.retired = retired
        size.save(update_fields=["retired"])
        JournalLine.write(None, by.who, Verb.SIZE_RETIRED if retired else Verb.SIZE_OFFERED, size.title, slug=size.slug)


def choose_usual(ids: list[int], by: Visitor) -> None:
    """The sizes that a new delivery begins with, of those offered.

    Raises:
        Refused: sizes are not this person's to change.
        BadInput: one of them is not offered.
    """
    _asked(by)
    offered_ids = set(DeliverySize.objects.offered().values_list("pk", flat=True))
    if not set(ids) <= offered_ids:
        raise BadInput(_("One of these sizes is not offered any more. Load the page again."))
    with transaction.atomic():
        DeliverySize.objects.filter(pk__in=offered_ids - set(ids)).update(chosen_first=False)
        DeliverySize.objects.filter(pk__in=ids).update(chosen_first=True)
        JournalLine.write(None, by.who, Verb.USUAL_SIZES_CHOSEN, Studio.current().name, sizes=len(set(ids)))


def offered() -> list[DeliverySize]:
    return list(DeliverySize.objects.offered())
