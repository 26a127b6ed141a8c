"""What a database says of its own tables, on either engine: to be compared, whatever way they came to be."""

from __future__ import annotations

import re

from django.db import connection

_POSTGRESQL = {
    "column": """SELECT table_name || '.' || column_name, data_type, character_maximum_length, column_default,
        is_nullable, is_identity, identity_generation, collation_name
        FROM information_schema.columns WHERE table_schema = current_schema()""",
    "constraint": """SELECT conrelid::regclass || ' ' || conname, pg_get_constraintdef(oid), condeferrable, condeferred
        FROM pg_constraint WHERE connamespace = current_schema()::regnamespace""",
    "index": "SELECT indexname, indexdef FROM pg_indexes WHERE schemaname = current_schema()",
    "trigger": "SELECT tgname, pg_get_triggerdef(oid), tgenabled FROM pg_trigger WHERE NOT tgisinternal",
    "function": """SELECT proname, pg_get_functiondef(oid) FROM pg_proc
        WHERE pronamespace = current_schema()::regnamespace""",
    "sequence": "SELECT sequencename, data_type, increment_by FROM pg_sequences WHERE schemaname = current_schema()",
}


def schema() -> dict[str, str]:
    """Kind and name of each thing → its definition. SQLite's tables column by column: their order is nobody's."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            rows = []
            for kind, question in _POSTGRESQL.items():
                cursor.execute(question)
                rows += [(f"{kind} {name}", repr(rest)) for name, *rest in cursor.fetchall()]
            return dict(rows)
        cursor.execute("SELECT type, name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite_%'")
        return {
            key: text
            for kind, name, sql in cursor.fetchall()
            for key, text in (_parts(name, sql) if kind == "table" else {f"{kind} {name}": sql}).items()
        }


def _parts(table: str, sql: str) -> dict[str, str]:
    """Columns and constraints of a CREATE TABLE; a comma inside brackets or a text parts nothing."""
    inside = sql[sql.index("(") + 1 : sql.rindex(")")]
    parts, depth = [""], 0
    for piece in re.findall(r"'(?:[^']|'')*'|\"[^\"]*\"|.", inside, re.DOTALL):
        depth += (piece == "(") - (piece == ")")
        if piece == "," and depth == 0:
            parts.append("")
        else:
            parts[-1] += piece
    return {f"table {table}: {part.strip()}": sql[sql.rindex(")") :] for part in parts}
