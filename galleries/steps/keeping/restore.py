"""Bring an archived sitting back, byte for byte. Everything is checked before anything is written."""

from __future__ import annotations

import json
import secrets
import shutil
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, cast
from uuid import UUID

from django.conf import settings
from django.contrib.auth.models import User
from django.core import serializers
from django.core.exceptions import ValidationError
from django.core.management.color import no_style
from django.db import DatabaseError, connection, models, transaction
from django.utils.translation import gettext as _

from galleries import models as m
from galleries import storage
from galleries.errors import BadInput, Conflict
from galleries.models import Verb
from galleries.papers import statement
from galleries.steps.agreeing import extras
from galleries.steps.delivering import file_order, sizes
from galleries.steps.keeping import archive_file, archive_shape, erase, inventory
from galleries.steps.keeping.archive_file import TABLES, Seen

Stage = m.Sitting.Stage
# What putting a made-up row back may end in.
_NOT_OURS = (
    *(KeyError, TypeError, ValueError, AttributeError, OverflowError),
    *(serializers.base.DeserializationError, ValidationError, DatabaseError),
)


@dataclass
class Restored:
    """What came back. `renumbered`: tables whose rows could not keep their numbers, because others have them."""

    sitting: m.Sitting
    files: int
    rows: int
    renumbered: list[str] = field(default_factory=list)


@dataclass
class _Numbers:
    """Old numbers to new ones, by table."""

    new: dict[type[models.Model], dict[int, int]]
    later: list[tuple[type[models.Model], int, str, int]] = field(default_factory=list)
    renumbered: set[str] = field(default_factory=set)


def restore(path: Path, photographer: str = "", seen: Seen | None = None) -> Restored:
    """Restore a file made by `archive_file.write`. `photographer`: the user name that is to own it (default: the
    one it had; made anew, without a password, where there is none).

    Raises:
        BadInput: no archive of ours, or a damaged one.
        Conflict: the sitting, or another of its short name, is here already.
    """
    try:
        with archive_file.opened(path) as archive:
            head = archive_file.read_head(archive)
            archive_shape.check(head, {model.__name__: model for model, _path in TABLES})
            archive_shape.entries(archive, head)
            _check_free(head)
            files = list(archive_file.checked_files(archive, head, seen))
            _check_room(archive, files)
            _put_rows(head, photographer, only_tried=True)
            with _or_nothing(UUID(hex=head["uid"])):
                _put_files(archive, files)
                sitting, numbers = _put_rows(head, photographer)
    except (zipfile.BadZipFile, OSError) as error:
        raise BadInput(
            _("%(path)s cannot be read as an archive: %(error)s.") % {"path": path, "error": error}
        ) from error
    rows = sum(len(rows) for rows in head["rows"].values())
    return Restored(sitting, len(files), rows, sorted(numbers.renumbered))


def _check_free(head: dict[str, Any]) -> None:
    fields = head["rows"]["Sitting"][0]["fields"]
    if m.Sitting.objects.filter(uid=head["uid"]).exists():
        raise Conflict(_("This sitting is here already."))
    if m.Sitting.objects.filter(slug=fields["slug"]).exists():
        raise Conflict(_("Another sitting is called “%s” here; rename it first.") % fields["slug"])


def _check_room(archive: zipfile.ZipFile, files: list[dict[str, Any]]) -> None:
    """
    Raises:
        BadInput: the disk of the stores has no room for the files. A bucket is not asked.
    """
    wanted = sum(archive.getinfo(f"{item['store']}/{item['key']}").file_size for item in files)
    for folder in settings.FILES_FOLDERS:
        free = shutil.disk_usage(next(one for one in (folder, *folder.parents) if one.is_dir())).free
        if wanted > free:
            raise BadInput(
                _("The archive holds %(wanted)s bytes of files, and the disk has only %(free)s left.")
                % {"wanted": f"{wanted:,}", "free": f"{free:,}"}
            )


@contextmanager
def _or_nothing(uid: UUID) -> Iterator[None]:
    """The sitting's folder open while it comes back. Whatever stops that, its files go again, and the folder of one
    that had been removed for good is shut as it was."""
    removed = m.Erasure.objects.filter(uid=uid).exists()
    erase.comes_back(uid)
    storage.open_again(uid)
    try:
        yield
    except BaseException:
        if removed:
            storage.shut(uid)
        for name in (inventory.PRIVATE, inventory.PROOFS):
            inventory.listing(name).remove_prefix(storage.home(uid))
        raise


def _put_files(archive: zipfile.ZipFile, files: list[dict[str, Any]]) -> None:
    for item in files:
        with archive.open(f"{item['store']}/{item['key']}") as source:
            storage.put(inventory.store(item["store"]), item["key"], source)


def _put_rows(head: dict[str, Any], photographer: str, *, only_tried: bool = False) -> tuple[m.Sitting, _Numbers]:
    """All rows in one transaction. `only_tried`: taken back at once, to know before a file is copied that they fit.

    Raises:
        BadInput: a row cannot be put back.
    """
    try:
        with transaction.atomic():
            numbers = _Numbers({User: _people(head, photographer), m.DeliverySize: _sizes(head)})
            _rows_as_they_were(head, numbers)
            sitting = m.Sitting.objects.get(uid=head["uid"])
            _as_of_today(sitting, head, numbers)
            m.JournalLine.write(sitting, "the program", Verb.RESTORED_FROM_A_FILE, sitting.title)
            if only_tried:
                transaction.set_rollback(True)
            else:
                _reset_counters()
    except _NOT_OURS as error:
        raise BadInput(
            _("A row of the archive cannot be put back; nothing was restored: %s") % str(error)[:200]
        ) from error
    return sitting, numbers


def _rows_as_they_were(head: dict[str, Any], numbers: _Numbers) -> None:
    if not m.Studio.objects.exists():
        for plain in head["studio"]:
            _check_kind(m.Studio, plain)
            plain["fields"] |= {"logo_key": "", "stamp_with": m.Studio.StampWith.TEXT}  # its file is no sitting's
            for row in serializers.deserialize("json", json.dumps([plain])):
                row.save()
    for model, _path in TABLES:
        numbers.new.setdefault(model, {})
        for plain in head["rows"].get(model.__name__, []):
            if model is m.Statement:  # its number was given by the site it comes from, or by this one before
                plain["fields"]["restored"] = True
            _put_row(model, plain, numbers)
    for model, pk, name, old in numbers.later:
        target = cast("type[models.Model]", model._meta.get_field(name).related_model)
        if old in numbers.new[target]:
            model._base_manager.filter(pk=pk).update(**{f"{name}_id": numbers.new[target][old]})


def _as_of_today(sitting: m.Sitting, head: dict[str, Any], numbers: _Numbers) -> None:
    """What an earlier release's archive did not say, and what leans on numbers that are others' here."""
    for delivery in m.Delivery.objects.filter(sitting=sitting):
        delivery.orders = file_order.renumbered(delivery.orders, numbers.new[m.Final])
        file_order.of(delivery)  # refused here, and not when somebody wants the pictures
        delivery.save(update_fields=["orders"])
    _can_be_read(sitting)
    _own_tracer_key(sitting)
    _carry_versions(sitting, _first_fields(head, "Version"))
    keepable = _first_fields(head, "Frame") or _first_fields(head, "Look")
    if keepable and "kept_by_subject" not in keepable:
        _carry_kept(sitting)
    if "put_away_from" not in _first_fields(head, "Sitting"):
        _carry_stage(sitting)


def _can_be_read(sitting: m.Sitting) -> None:
    """Prices and statements that no page could show are refused here."""
    for terms in m.ExtraTerms.objects.filter(sitting=sitting):
        extras.check({name: getattr(terms, name) for name in extras.VALUES})
    for kept in m.Statement.objects.filter(sitting=sitting):
        statement.as_csv(kept.sheet)


def _own_tracer_key(sitting: m.Sitting) -> None:
    """One that shares its key with a sitting that is here gets its own; copies from before are still traced."""
    if m.Sitting.objects.exclude(pk=sitting.pk).filter(tracer_key=sitting.tracer_key).exists():
        sitting.tracer_key_before = sitting.tracer_key_before or sitting.tracer_key
        sitting.tracer_key = secrets.token_hex()
        sitting.save(update_fields=["tracer_key", "tracer_key_before"])


def _first_fields(head: dict[str, Any], table: str) -> dict[str, Any]:
    """What the table's first row says; nothing where the sitting has none."""
    rows = head["rows"].get(table) or [{"fields": {}}]
    fields: dict[str, Any] = rows[0]["fields"]
    return fields


def _carry_versions(sitting: m.Sitting, fields: dict[str, Any]) -> None:
    """What an earlier release's archive did not say of a version in a field of its own; `fields` those of its first."""
    versions = m.Version.objects.filter(final__sitting=sitting)
    if "sent_at" not in fields:  # from before retouches waited for the photographer's look: each was out at once
        versions.update(sent_at=models.F("added_at"))
    if "kind_stated" not in fields:  # the name told who had stated how it was made
        versions.filter(kind_said_by="the file").update(kind_stated=m.Version.Stated.FILE, kind_said_by="")
        versions.exclude(kind_said_by="").update(kind_stated=m.Version.Stated.PERSON)


def _carry_kept(sitting: m.Sitting) -> None:
    """An archive from before frames said whether the subject keeps them back: a look kept from the representation is
    taken for the subject's word where it may have been theirs. The photographer can ask them to let it go."""
    if not (sitting.subject_chooses_looks or sitting.journal.filter(verb=Verb.LOOK_KEPT_BACK).exists()):
        return
    for look in sitting.looks.filter(kept_from_representation=True):
        m.Look.objects.filter(pk=look.pk).update(kept_by_subject=True)
        look.frames.update(kept_by_subject=True)


def _carry_stage(sitting: m.Sitting) -> None:
    """An archive from before sittings said where they were put away from: only its journal does."""
    if sitting.stage == Stage.ARCHIVED:
        line = sitting.journal.filter(after=Stage.ARCHIVED, before__in=Stage.values).order_by("-pk").first()
        sitting.put_away_from = line.before if line else ""
        sitting.save(update_fields=["put_away_from"])


def _people(head: dict[str, Any], photographer: str) -> dict[int, int]:
    owner = str(head["rows"]["Sitting"][0]["fields"]["photographer"])
    accounts = {}
    for old, values in head["people"].items():
        name = photographer if photographer and old == owner else values["username"]
        user = User.objects.filter(username=name).first()
        if user is None and photographer and old == owner:
            raise BadInput(_("There is no user “%s” here.") % photographer)
        if user is None:
            user = User(**{key: values[key] for key in archive_file.PEOPLE})  # a name, never a right
            user.set_unusable_password()
            user.save()
        accounts[int(old)] = user.pk
    return accounts


def _sizes(head: dict[str, Any]) -> dict[int, int]:
    """Sizes by their short names; one that is not here any more comes back as it was."""
    numbers = {}
    for old, written in head["sizes"].items():
        values = sizes.with_names_of_today(written)
        size, _new = m.DeliverySize.objects.get_or_create(slug=values["slug"], defaults=values)
        numbers[int(old)] = size.pk
    return numbers


def _check_kind(model: type[models.Model], plain: dict[str, Any]) -> None:
    """A row of another table in this table's place (a user, a right) is no archive of ours."""
    if plain.get("model") != model._meta.label_lower:
        raise BadInput(_("The archive holds a row that does not belong to a sitting: %s.") % plain.get("model"))


def _put_row(model: type[models.Model], plain: dict[str, Any], numbers: _Numbers) -> None:
    """One row as it was, dates and all; its number too, unless another row has it."""
    _check_kind(model, plain)
    (item,) = serializers.deserialize("json", json.dumps([plain]), ignorenonexistent=True)
    row, old = item.object, int(plain["pk"])
    if model._base_manager.filter(pk=old).exists():
        row.pk = None
        numbers.renumbered.add(str(model._meta.verbose_name_plural))
    waiting: list[tuple[str, int]] = []
    for relation in model._meta.concrete_fields:
        if not relation.is_relation:
            continue
        value = getattr(row, relation.attname)
        known = numbers.new.get(cast("type[models.Model]", relation.related_model), {})
        if value is None or value in known:
            setattr(row, relation.attname, known.get(value))
        else:  # a row that comes later (a sitting's current look, an invite passed on): filled in at the end
            setattr(row, relation.attname, None)
            waiting.append((relation.name, value))
    # As `loaddata` does: no automatic dates, and the journal's guard is for changes, not for putting back.
    models.Model.save_base(row, raw=True, force_insert=True)
    numbers.new[model][old] = row.pk
    numbers.later += [(model, row.pk, name, value) for name, value in waiting]
    for name, values in (item.m2m_data or {}).items():
        target = cast("type[models.Model]", model._meta.get_field(name).related_model)
        getattr(row, name).set([numbers.new[target][int(getattr(v, "pk", v))] for v in values])


def _reset_counters() -> None:
    """PostgreSQL counts on from its own sequences, which do not see numbers given by hand."""
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), [model for model, _path in TABLES]):
            cursor.execute(statement)
