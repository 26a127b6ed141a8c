"""A statement of extra finals as a file, for whoever may read it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import HttpResponse
from django.utils.translation import gettext as _

from galleries.access import Visitor
from galleries.errors import Missing
from galleries.models import Statement
from galleries.papers import statement as papers
from galleries.steps.agreeing import statements
from galleries.words import statements as words

TYPES = {"pdf": "application/pdf", "csv": "text/csv; charset=utf-8", "json": "application/json"}


def shown(statement: Statement, sheet: papers.Sheet) -> dict[str, Any]:
    """A statement as pages show it."""
    return {
        "number": statement.number,
        "facts": words.facts(sheet),
        "sums": words.sums(sheet),
        "extras": [(one.label, words.wanted_by(one, sheet)) for one in sheet.extras],
    }


def statement_answer(statement: Statement, kind: str, visitor: Visitor) -> HttpResponse:
    """Raises `Missing`, and as `statements.read`."""
    sheet = statements.read(statement, visitor)
    if kind not in TYPES:
        raise Missing(_("A statement comes as pdf, csv or json."))
    written: dict[str, Callable[[papers.Sheet], bytes | str]] = {
        "pdf": words.pdf,
        "csv": papers.as_csv,
        "json": papers.as_json,
    }
    response = HttpResponse(written[kind](sheet), content_type=TYPES[kind])
    way = "inline" if kind == "pdf" else "attachment"
    response.headers["Content-Disposition"] = f'{way}; filename="statement-{statement.number}.{kind}"'
    response.headers["Cache-Control"] = "private, no-store"
    return response
