"""The database itself keeps the journal: what adds no line is refused there, whoever asks, in Python or in SQL.

Refused are each UPDATE, each DELETE but of the lines of a `Leaving` sitting, what replaces a line under its number
(SQLite), and TRUNCATE (PostgreSQL). Refusals are `IntegrityError`. Whoever may change the tables may lift this: it
holds against mistakes, and against what gets in through the program.

SQLite drops a table's triggers with the table when a migration remakes it, and says nothing: such a migration ends with
`put_up`. For the same reason no trigger reads a table that will be remade (`Leaving` has what it needs): SQLite renames
none while a trigger reads one that is missing.
"""

from __future__ import annotations

from django.db.backends.base.base import BaseDatabaseWrapper

TABLE, LEAVING = "galleries_journalline", "galleries_leaving"

_SQLITE = {
    "galleries_journal_changed": """BEFORE UPDATE ON galleries_journalline
        BEGIN SELECT RAISE(ABORT, 'The journal is only added to: no line is changed.'); END""",
    "galleries_journal_removed": """BEFORE DELETE ON galleries_journalline
        WHEN NOT EXISTS (SELECT 1 FROM galleries_leaving WHERE sitting = OLD.sitting_id)
        BEGIN SELECT RAISE(ABORT, 'The journal is only added to: no line is removed.'); END""",
    # INSERT OR REPLACE takes the old row away without asking the trigger above. A number not given yet is -1 here ...
    "galleries_journal_replaced": """BEFORE INSERT ON galleries_journalline
        WHEN EXISTS (SELECT 1 FROM galleries_journalline WHERE id = NEW.id)
        BEGIN SELECT RAISE(ABORT, 'The journal is only added to: no line is changed.'); END""",
    # ... so no line may really have that: all after it would be refused.
    "galleries_journal_numbered": """AFTER INSERT ON galleries_journalline
        WHEN NEW.id < 1
        BEGIN SELECT RAISE(ABORT, 'A line of the journal has a number from 1.'); END""",
}
_POSTGRESQL = {
    "galleries_journal_changed": "BEFORE UPDATE ON galleries_journalline FOR EACH ROW",
    "galleries_journal_removed": "BEFORE DELETE ON galleries_journalline FOR EACH ROW",
    "galleries_journal_emptied": "BEFORE TRUNCATE ON galleries_journalline FOR EACH STATEMENT",
}
# A path of its own: nobody's temporary table passes for ours. 23000 is an integrity constraint's violation.
_FUNCTION = """
CREATE OR REPLACE FUNCTION galleries_journal_guard() RETURNS trigger LANGUAGE plpgsql
SET search_path = "%s", pg_temp AS $$
BEGIN
    IF TG_OP = 'UPDATE' THEN
        RAISE EXCEPTION 'The journal is only added to: no line is changed.' USING ERRCODE = '23000';
    END IF;
    IF TG_OP = 'DELETE' THEN
        IF EXISTS (SELECT 1 FROM galleries_leaving WHERE sitting = OLD.sitting_id) THEN
            RETURN OLD;
        END IF;
    END IF;
    RAISE EXCEPTION 'The journal is only added to: no line is removed.' USING ERRCODE = '23000';
END
$$"""


def put_up(connection: BaseDatabaseWrapper) -> None:
    """Set every trigger, anew where it stands already."""
    take_down(connection)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SELECT current_schema()")
            cursor.execute(_FUNCTION % cursor.fetchone()[0])
        for name, rest in _triggers(connection).items():
            call = " EXECUTE FUNCTION galleries_journal_guard()" if connection.vendor == "postgresql" else ""
            cursor.execute(f"CREATE TRIGGER {name} {rest}{call}")


def take_down(connection: BaseDatabaseWrapper) -> None:
    """Lift it: for a migration that changes lines already written or remakes what the triggers read."""
    with connection.cursor() as cursor:
        for name in _triggers(connection):
            where = f" ON {TABLE}" if connection.vendor == "postgresql" else ""
            cursor.execute(f"DROP TRIGGER IF EXISTS {name}{where}")
        if connection.vendor == "postgresql":
            cursor.execute("DROP FUNCTION IF EXISTS galleries_journal_guard()")


def missing(connection: BaseDatabaseWrapper) -> list[str]:
    """Names of the triggers that do not stand, or are switched off."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "SELECT tgname FROM pg_trigger WHERE tgrelid = to_regclass(%s) AND tgenabled IN ('O', 'A')", [TABLE]
            )
        else:
            cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = %s", [TABLE])
        there = {name for (name,) in cursor.fetchall()}
    return sorted(set(_triggers(connection)) - there)


def missing_though_migrated(connection: BaseDatabaseWrapper) -> list[str]:
    """The same; none where the migration that sets them has not come yet."""
    return missing(connection) if LEAVING in connection.introspection.table_names() else []


def _triggers(connection: BaseDatabaseWrapper) -> dict[str, str]:
    return {"sqlite": _SQLITE, "postgresql": _POSTGRESQL}[connection.vendor]
