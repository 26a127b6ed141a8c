"""A walk through the code: nothing that people read stands in English only.

Every text of the product that looks like prose is either asked of the catalogues (`_("…")`), and then both catalogues
have it, or it is named here with the reason why it stands as it is. Two words are prose.
"""

from __future__ import annotations

import ast
import gettext
import re
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

import pytest

GALLERIES = Path(__file__).resolve().parents[2] / "galleries"
ASKED = {
    *("_", "gettext", "gettext_lazy", "gettext_noop", "ngettext", "ngettext_lazy"),
    *("pgettext", "pgettext_lazy", "npgettext"),
}
PROSE = re.compile(r"[A-Za-z]{2,}[,:;]? [a-z]{2,}")
# Faults of the program itself, which reach the log and nobody else, and what is written into the log.
OUR_OWN = {"ValueError", "TypeError", "RuntimeError", "OSError", "ConnectionError", "KeyError", "AssertionError"}
OUR_OWN |= {"ImproperlyConfigured"}
LOGGED = re.compile(r"(^|\.)log\.\w+$")
# Guards that say in the code why a page is open; nobody reads it but us.
GUARDS = {"open_to_all", "public"}

# Values of HTTP headers.
HEADER = re.compile(r"^(private, |(text/\w+|inline|attachment); )")

# Where English stands on purpose: the file, or the file and the beginning of the text.
ALLOWED = {
    "web/metrics.py": "help lines of the numbers, for the operator's monitor",
    "papers/licence_fields.py": "the licence's wording counts in English",
    "papers/licence_wording.py": "the same",
    "papers/terms.py": "the same",
    "papers/release.py": "the print release's wording counts in English",
    "papers/sheet.py": "the licence on paper",
    "papers/page.py": "the cautions of the licence",
    "papers/tagged.py": "styles and markup",
    "papers/manifest.py": "lies beside the licence in the archive, one for everybody",
    "steps/delivering/package.py": "what a file is for, in the licence and the manifest",
    "steps/delivering/orders.py:Headshot of": "the description inside the file, beside the licence",
    "imaging/colour/profiles.py": "text inside the profiles that are written, names of profiles",
    "imaging/opening/decode.py": "names of profiles",
    "imaging/rights/xmp.py": "XMP",
    "imaging/rights/names.py": "names of the standard's fields",
    "imaging/face/reading.py:right_openness": "names of values",
    "imaging/opening/formats.py": "what decoders say, to be recognised",
    "papers/slate.py": "styles and markup",
    "steps/days/list_headings.py": "headings of lists in three languages, to be recognised",
    "steps/scanner.py:size limit exceeded": "what the scanner says, to be recognised",
    "imaging/contained/forkserver.py:import sys": "a program",
    "imaging/contained/plain.py:handed over": "the name of a file without one",
    "sorting/gels.py": "names and sources of gels, for who reads the table",
    "steps/demo": "invented people's own words, and a terminal",
    "checks.py": "system checks, on a terminal",
    "models/people.py:May use": "a permission's name, which Django keeps as it was made",
    "access.py": "names of acts, and who the program is (`web/studio/journal_words.py` has its word)",
    "models/verbs.py": "verbs of the journal as they are kept, each with its word beside it",
    "models/accounts.py": "kinds of letters",
    "models/journal.py:the ": "as `access.py`",
    "models/journal_guard.py": "SQL, and what the database answers to who goes past the program",
    "steps/keeping/own_rows.py": "names of columns, and whose they are for who reads rows.json, which is in English",
    "steps/jobs.py:own copy": "a kind of work",
    "tasks.py:own copy": "a kind of work",
    "steps/keeping/own_copy.py:own copy": "a kind of work",
    "web/studio/work.py:own copy": "a kind of work",
    "steps/jobs.py:account letter": "a kind of work",
    "tasks.py:account letter": "a kind of work",
    "steps/people/account_letters.py:account letter": "a kind of work",
    "steps/people/account.py:the operator": "as `access.py`",
    "steps/people/letters.py:invitation to": "what a line of the journal is about; its page puts it into words",
    "steps/people/outbox.py:letter to": "as above",
    "steps/people/remind.py:letter to": "as above",
    "steps/picking/pick.py:no mark": "as kept in the journal",
    "steps/keeping/restore.py:the ": "as kept by earlier releases",
    "steps/keeping/erase.py:PRAGMA": "SQL",
    "web/studio/journal_words.py": "what is kept, to be put into words",
    "web/studio/desk.py:hide look": "the name of an act",
    "imaging/credentials/origin.py": "written into files, in English as all metadata",
    "steps/delivering/certificate.py:made by the studio": "stands in the certificate",
    "web/invitee/markup.py": "markup",
    "web/studio/extra_forms.py:  <option": "markup",
    "web/studio/extra_forms.py:<select": "markup",
    "web/invitee/list_markup.py": "markup",
    "web/studio/list_markup.py": "markup",
    "web/json_blocks.py:<script": "markup",
    "web/invitee/outbox_worker.py": "a script, and why it is open",
}


@lru_cache(maxsize=2)
def _catalogue(language: str) -> frozenset[str]:
    with (GALLERIES / "locale" / language / "LC_MESSAGES" / "django.mo").open("rb") as file:
        known = gettext.GNUTranslations(file)._catalog  # type: ignore[attr-defined]
    return frozenset(key[0] if isinstance(key, tuple) else key for key in known)


def _known(text: str, language: str) -> bool:
    """In the catalogue, by itself or (`pgettext`) with what it is about."""
    return any(key == text or key.endswith(f"\x04{text}") for key in (_catalogue(language) if text else ()))


def _parts(nodes: Iterator[ast.AST] | list[ast.AST]) -> set[int]:
    return {id(inner) for node in nodes for inner in ast.walk(node)}


def _docstring(node: ast.AST) -> list[ast.AST]:
    if not isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef) or not node.body:
        return []
    first = node.body[0]
    return [first] if isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant) else []


def _text(node: ast.AST) -> str | None:
    if isinstance(node, ast.JoinedStr):
        return "".join(str(part.value) if isinstance(part, ast.Constant) else "{}" for part in node.values)
    return node.value if isinstance(node, ast.Constant) and isinstance(node.value, str) else None


def bare(source: str) -> list[tuple[int, str]]:
    """(line, text) of prose that no catalogue is asked for, and of what is asked for and not there."""
    tree = ast.parse(source)
    passed: set[int] = set()
    found: list[tuple[int, str]] = []
    for node in ast.walk(tree):
        passed |= _parts(_docstring(node))
        if isinstance(node, ast.FunctionDef) and node.name == "__str__":  # read in Django's own pages of upkeep
            passed |= _parts([node])
        if not isinstance(node, ast.Call):
            continue
        name = ast.unparse(node.func)
        last = name.rpartition(".")[2]
        inside: list[ast.AST] = [*node.args, *(keyword.value for keyword in node.keywords)]
        if last in ASKED:
            asked = [text for part in node.args if (text := _text(part)) is not None]
            messages = asked[1:2] if last.startswith(("pgettext", "npgettext")) else asked[:1]
            found += [(node.lineno, text) for text in messages if not all(_known(text, at) for at in ("de", "es"))]
            passed |= _parts(inside)
        elif last in OUR_OWN or last in GUARDS or LOGGED.search(name):
            passed |= _parts(inside)
    for node in ast.walk(tree):
        if id(node) in passed:
            continue
        if isinstance(node, ast.JoinedStr):
            passed |= _parts(list(node.values))
        text = _text(node)
        if text is not None and PROSE.search(text) and not HEADER.match(text):
            found.append((node.lineno, text))  # type: ignore[attr-defined]
    return found


def _allowed(place: str, text: str) -> bool:
    return any(_allowed_by(entry, place, text) for entry in ALLOWED)


def _modules() -> list[Path]:
    """Commands speak English to whoever sits at the machine, migrations to nobody; painted pictures have no words."""
    apart = {"migrations", "management", "painter"}
    return [path for path in sorted(GALLERIES.rglob("*.py")) if path.relative_to(GALLERIES).parts[0] not in apart]


@pytest.fixture(scope="module")
def walked() -> list[tuple[str, int, str]]:
    """(place, line, text) of what stands bare in all modules, allowed or not; read once."""
    return [
        (path.relative_to(GALLERIES).as_posix(), line, text)
        for path in _modules()
        for line, text in bare(path.read_text(encoding="utf-8"))
    ]


def test_nothing_that_people_read_stands_in_english_only(walked: list[tuple[str, int, str]]) -> None:
    wrong = [f"{place}:{line}: {text!r}" for place, line, text in walked if not _allowed(place, text)]
    assert not wrong, "\n".join(wrong)


PLANTED = {
    "a refusal": 'raise Refused("This sitting is closed.")',
    "a refusal with a value": 'raise BadInput(f"The file {name} is too large.")',
    "a message": 'messages.success(request, "The list is closed.")',
    "a form's error": 'raise forms.ValidationError("Choose a day in the future.")',
    "a reason": 'Outcome("refused", reason="This file is no picture")',
    "a line of the journal": 'JournalLine.write(sitting, who, "frames let go", "")',
    "a half sentence": 'reason = "the eye is closed"',
    "a finding with a value": 'said.append(f"chin cut by {n} px")',
    "a hint": 'context = {"undo": "Undo the last move"}',
    "asked for and in no catalogue": 'raise Refused(_("Nobody has ever translated this."))',
}


@pytest.mark.parametrize("source", PLANTED.values(), ids=PLANTED)
def test_a_planted_sentence_is_caught(source: str) -> None:
    assert len(bare(source)) == 1


@pytest.mark.parametrize(
    "source",
    [
        'raise Refused(_("This file is empty."))',
        'log.warning("The queue cannot be reached (%s).", error)',
        'def f():\n    """A whole sentence for developers."""\n',
        "JournalLine.write(sitting, who, Verb.DELIVERY_READY, label)",
        'response.headers["Cache-Control"] = "private, no-store"',
        "raise BadInput(told(Code.EMPTY))",
    ],
    ids=["asked", "logged", "docstring", "a verb", "a header", "a code"],
)
def test_what_may_stand_is_let_be(source: str) -> None:
    assert bare(source) == []


def test_what_is_allowed_is_still_there(walked: list[tuple[str, int, str]]) -> None:
    unused = [entry for entry in ALLOWED if not any(_allowed_by(entry, place, text) for place, _line, text in walked)]
    assert unused == []


def _allowed_by(entry: str, place: str, text: str) -> bool:
    path, _, start = entry.partition(":")
    return (place == path or place.startswith(path + "/")) and text.startswith(start)
