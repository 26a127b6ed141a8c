"""Whose each column is: every column of every table stands in one table, and somebody else's stay out of the rows."""

from __future__ import annotations

from django.apps import apps
from django.db import models

from galleries.steps.keeping.own_rows import FRAMEWORK, IN_THE_COPY, TABLES, Whose

OURS = {model.__name__: model for model in apps.get_app_config("galleries").get_models()}


def columns(model: type[models.Model]) -> set[str]:
    return {field.name for field in [*model._meta.concrete_fields, *model._meta.many_to_many]}


def test_every_table_and_column_is_somebodys() -> None:
    """A new column is nobody's until somebody has thought about whose it is: put it into `own_rows.TABLES`."""
    named = [table.model.__name__ for table in TABLES]
    assert len(named) == len(set(named))
    assert set(named) == set(OURS)
    lacking = {table.model.__name__: columns(table.model) ^ set(table.columns) for table in TABLES}
    assert {name: odd for name, odd in lacking.items() if odd} == {}


def test_every_other_table_is_the_frameworks_and_says_why_it_is_not_in_the_copy() -> None:
    others = {model._meta.label for model in apps.get_models()} - {model._meta.label for model in OURS.values()}
    assert others == set(FRAMEWORK)


def test_no_secret_and_no_address_of_somebody_else_is_in_the_copy() -> None:
    """By kind and name, so that a column that is added and classified wrongly is seen: addresses are the person's own
    or left out, hashes and keys of the store never stand as they are."""
    for table in TABLES:
        for name, kind in table.columns.items():
            field = table.model._meta.get_field(name)
            about = f"{table.model.__name__}.{name}"
            if isinstance(field, models.EmailField) and table.way:
                assert kind in {Whose.OWN, Whose.OTHERS}, about
            if name.endswith(("_hash", "uid", "tracer_key")):
                assert kind is Whose.HOUSE, about
            if name == "key" or name.endswith("_key"):
                assert kind in {Whose.PICTURE, Whose.HOUSE}, about
            if field.is_relation and field.related_model.__name__ in {"User"}:
                assert kind in {Whose.NAMED, Whose.OTHERS}, about
            if not table.way:
                assert kind not in IN_THE_COPY, about
