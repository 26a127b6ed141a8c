"""A list of sitters as people keep it: CSV of any usual encoding and separator, headed in English, German or Spanish,
or typed lines. Every row is checked; what is wrong is said of its line."""

from __future__ import annotations

import csv
import io
import unicodedata
from dataclasses import dataclass, replace

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from galleries.access import has_brackets, one_line
from galleries.errors import BadInput
from galleries.steps.days.list_headings import HEADINGS, NO, YES

MOST_SITTERS = 100  # of one day
MOST_BYTES = 200_000
NAME_LENGTH = 60  # of a given name or surname, as a sitting keeps them
AGENT_LENGTH = 120
PROBLEMS_NAMED = 10
TYPED = ("name", "email", "agent_name", "agent_email")  # what stands where when nothing is headed


@dataclass(frozen=True)
class Row:
    """One sitter of a list; `line` counts from 1. Of the addresses each may be ''."""

    line: int
    given: str
    surname: str = ""
    email: str = ""
    agent_name: str = ""
    agent_email: str = ""
    language: str = ""
    minor: bool = False

    @property
    def name(self) -> str:
        return f"{self.given} {self.surname}".strip()


def decoded(data: bytes) -> str:
    """UTF-8, UTF-16 with its mark, else Windows-1252, as spreadsheets save.

    Raises:
        BadInput: too large, or no text.
    """
    if len(data) > MOST_BYTES:
        raise BadInput(_("The list is too large; %d kB fit.") % (MOST_BYTES // 1000))
    encodings = ["utf-16"] if data[:2] in (b"\xff\xfe", b"\xfe\xff") else ["utf-8-sig", "cp1252"]
    for encoding in encodings:
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\x00" not in text:
            return text
    raise BadInput(_("The list is no text that can be read; save it as CSV (UTF-8)."))


def read(text: str) -> list[Row]:
    """The sitters of a list in its order.

    Raises:
        BadInput: naming every line that is wrong, and what is; or that there is none, or too many.
    """
    if len(text) > MOST_BYTES:
        raise BadInput(_("The list is too large; %d kB fit.") % (MOST_BYTES // 1000))
    lines = _lines(text)
    headings = _headings(lines[0][1]) if lines else None
    columns = headings or TYPED
    rows, problems = [], []
    for line, cells in lines[1:] if headings else lines:
        try:
            rows.append(_row(line, dict(zip(columns, cells, strict=False))))
        except BadInput as error:
            problems.append(_("Line %(line)d: %(problem)s") % {"line": line, "problem": error})
    problems += _twice(rows)
    if problems:
        more = len(problems) - PROBLEMS_NAMED
        first = problems[:PROBLEMS_NAMED]
        if more > 0:
            first.append(ngettext("And %d more line.", "And %d more lines.", more) % more)
        raise BadInput(" ".join(first))
    if not rows:
        raise BadInput(_("There is no sitter in this list: a line for each, the name first."))
    if len(rows) > MOST_SITTERS:
        too_many = _("A day has at most %(most)d sitters; this list names %(n)d.")
        raise BadInput(too_many % {"most": MOST_SITTERS, "n": len(rows)})
    return rows


def _lines(text: str) -> list[tuple[int, list[str]]]:
    """(number of the line, its cells); lines without any are left out."""
    text = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    first = next((line for line in text.split("\n") if line.strip()), "")
    separator = max(";\t,", key=first.count)
    reader = csv.reader(io.StringIO(text), delimiter=separator, skipinitialspace=True)
    lines, begins = [], 1
    try:
        for cells in reader:
            clean = [one_line("".join(sign for sign in cell if sign.isprintable() or sign.isspace())) for cell in cells]
            if any(clean):
                lines.append((begins, clean))
            begins = reader.line_num + 1
    except csv.Error as error:
        raise BadInput(_("Line %(line)d: %(problem)s") % {"line": reader.line_num, "problem": error}) from error
    return lines


def _folded(text: str) -> str:
    signs = [sign for sign in unicodedata.normalize("NFKD", text.casefold()) if not unicodedata.combining(sign)]
    return " ".join("".join(sign if sign.isalnum() else " " for sign in signs).split())


def _headings(cells: list[str]) -> list[str] | None:
    """What the columns hold, '' for one that is passed over; None where the first line heads nothing."""
    known = [HEADINGS.get(_folded(cell), "") for cell in cells]
    if not {"name", "given"} & set(known):
        return None
    if "surname" not in known:  # 'Nombre' alone heads whole names
        known = ["name" if kind == "given" else kind for kind in known]
    twice = next((kind for kind in known if kind and known.count(kind) > 1), None)
    if twice:
        raise BadInput(_("Two columns of the list are headed alike; leave one of them out."))
    return known


def _row(line: int, cells: dict[str, str]) -> Row:
    given, surname = cells.get("given", ""), cells.get("surname", "")
    if name := cells.get("name", ""):
        given, surname = _parts(name)
    if not given:
        raise BadInput(_("there is no name."))
    minor = _folded(cells.get("minor", ""))
    if minor not in YES | NO:
        raise BadInput(_("whether somebody is a minor is “yes” or “no”, not “%s”.") % cells["minor"])
    row = Row(
        line, given, surname, cells.get("email", "").lower(), cells.get("agent_name", ""),
        cells.get("agent_email", "").lower(), cells.get("language", "").lower(), minor in YES,
    )  # fmt: skip
    for text, most in ((given, NAME_LENGTH), (surname, NAME_LENGTH), (row.agent_name, AGENT_LENGTH)):
        if len(text) > most:
            raise BadInput(_("“%(text)s…” is too long; %(most)d characters fit.") % {"text": text[:20], "most": most})
        if has_brackets(text):
            raise BadInput(_("give names without brackets."))
    for email in filter(None, (row.email, row.agent_email)):
        try:
            validate_email(email)
        except ValidationError:
            raise BadInput(_("“%s” is not an e-mail address.") % email[:80]) from None
    if row.language and row.language not in dict(settings.LANGUAGES):
        raise BadInput(
            _("“%(language)s” is none of our languages: %(ours)s.")
            % {"language": row.language[:20], "ours": ", ".join(dict(settings.LANGUAGES))}
        )
    if row.agent_email and not row.agent_name:
        row = replace(row, agent_name=row.agent_email.partition("@")[0][:AGENT_LENGTH])
    return row


def _parts(name: str) -> tuple[str, str]:
    """Given name and surname: 'Veld, Ansa' as lists sort it, else the last word is the surname."""
    if "," in name:
        surname, _comma, given = name.partition(",")
        return given.strip(), surname.strip()
    given, _space, surname = name.rpartition(" ")
    return (given, surname) if given else (surname, "")


def _twice(rows: list[Row]) -> list[str]:
    """The same name and address twice is one person twice; two people may share an address, as brothers do."""
    seen: dict[tuple[str, str], int] = {}
    problems = []
    for row in rows:
        first = seen.setdefault((row.name.casefold(), row.email), row.line)
        if first != row.line:
            problems.append(
                _("Line %(line)d: %(problem)s")
                % {"line": row.line, "problem": _("the same person stands in line %d.") % first}
            )
    return problems


def plain(cell: object) -> str:
    """A cell that a spreadsheet does not take for a formula."""
    text = "" if cell is None else str(cell)
    return "'" + text if text[:1] in {"=", "+", "-", "@", "\t", "\r"} else text
