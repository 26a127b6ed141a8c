"""During an upgrade the old code goes on writing: what it does not know must be filled in by the database."""

from __future__ import annotations

import pytest
from django.db import models
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.state import ProjectState

from tests.upgrading import release


def _fields(state: ProjectState) -> dict[tuple[str, str], models.Field[object, object]]:
    """(model, field) → every column of the house's tables at this point."""
    return {
        (model, name): field
        for (app, model), one in state.models.items()
        for name, field in one.fields.items()
        if app == "galleries" and not isinstance(field, models.ManyToManyField)
    }


def _unfilled(before: ProjectState, now: ProjectState) -> list[str]:
    """Columns that a write of the code before would leave out, in tables that were there already."""
    there, tables = _fields(before), {model for app, model in before.models if app == "galleries"}
    return sorted(
        f"{model}.{name}"
        for (model, name), field in _fields(now).items()
        if model in tables
        and ((model, name) not in there or there[model, name].null)
        and not field.null
        and not field.has_db_default()
        and not field.primary_key
    )


def _states(release_name: str) -> tuple[ProjectState, ProjectState]:
    before = ("galleries", release.remains(release_name)["migration"])
    return MigrationLoader(None, replace_migrations=False).project_state(before), _now()


def _now() -> ProjectState:
    """As a new site comes to it: by the migration that stands for the first ones together, and those after it."""
    loader = MigrationLoader(None)
    return loader.project_state(loader.graph.leaf_nodes("galleries"))


@pytest.mark.parametrize("name", release.RELEASES)
def test_every_column_added_since_a_release_is_filled_in_by_the_database(name: str) -> None:
    before, now = _states(name)
    assert len(_fields(now)) > len(_fields(before))
    assert _unfilled(before, now) == []


def test_a_new_sites_way_and_the_old_ones_end_at_the_same_models() -> None:
    one_by_one = MigrationLoader(None, replace_migrations=False)
    together = [key for key, migration in one_by_one.disk_migrations.items() if migration.replaces]
    assert len(together) == 1
    last = [key for key in one_by_one.graph.leaf_nodes("galleries") if key not in together]
    theirs, ours = one_by_one.project_state(last), _now()
    assert len(theirs.models) > 55
    assert theirs == ours
    ours.remove_field("galleries", "sitting", "answer_days")
    assert theirs != ours


def test_one_without_a_default_would_be_seen() -> None:
    before, now = _states(release.RELEASES[-1])
    now.add_field("galleries", "sitting", "planted", models.CharField(max_length=9, default=""), preserve_default=True)
    assert _unfilled(before, now) == ["sitting.planted"]
