"""The journal in the reader's language, and that nothing is written into it under a verb nobody has words for."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest
from django.urls import reverse
from django.utils import translation

from galleries.access import PROGRAM
from galleries.models import JournalLine, Verb
from galleries.models.journal import who_words
from galleries.web.studio import journal_words
from tests import painted
from tests.cast import LANGUAGE, Cast, make_cast

CODE = Path(__file__).resolve().parents[3] / "galleries"


def verbs_in(tree: ast.AST) -> list[ast.expr]:
    """What stands where a line's verb is said: third of `JournalLine.write`, or `verb=`, `verb__in=` anywhere."""
    found: list[ast.expr] = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            found += [word.value for word in node.keywords if word.arg in {"verb", "verb__in"}]
            if ast.unparse(node.func).endswith("JournalLine.write"):
                found += node.args[2:3]
    return found


def texts_in(expr: ast.AST) -> list[str]:
    return [node.value for node in ast.walk(expr) if isinstance(node, ast.Constant) and isinstance(node.value, str)]


def test_every_verb_is_of_the_enumeration() -> None:
    seen = 0
    for path in CODE.rglob("*.py"):
        tree = ast.parse(path.read_text())
        if "migrations" in path.parts:
            continue
        for expr in verbs_in(tree):
            seen += 1
            assert texts_in(expr) == [], f"{path}:{expr.lineno}"
        # Nor is a verb compared with as text; single words mean other things too, and so do the labels of models.
        if path.parent.name not in {"models", "words"}:
            assert {text for text in texts_in(tree) if " " in text} & set(Verb.values) == set(), path
    assert seen > 80


def test_the_walk_sees_a_verb_as_text() -> None:
    tree = ast.parse(
        'm.JournalLine.write(s, who, "made up" if x else Verb.LETTER)\nmove_final(f, to, by, verb="thought up")'
    )
    assert {text for expr in verbs_in(tree) for text in texts_in(expr)} == {"thought up", "made up"}


def test_every_verb_is_written_by_somebody() -> None:
    code = "".join(path.read_text() for path in CODE.rglob("*.py") if path.name not in {"verbs.py", "journal_words.py"})
    assert [verb.name for verb in Verb if f"Verb.{verb.name}" not in code] == []


@pytest.mark.django_db
def test_a_verb_outside_it_is_not_written() -> None:
    with pytest.raises(ValueError, match="made up"):
        JournalLine.write(None, "nobody", "made up")  # type: ignore[arg-type]
    assert not JournalLine.objects.exists()


@pytest.mark.parametrize("language", ["de", "es"])
def test_every_verb_has_words_in_every_language(language: str) -> None:
    english = {verb: str(verb.label) for verb in Verb}
    with translation.override(language):
        same = [verb.value for verb in Verb if str(verb.label) == english[verb]]
    assert same == []


def line(verb: str, thing: str = "", before: str = "", after: str = "", who: str = "Ansa (subject)") -> tuple[str, ...]:
    row = JournalLine(verb=verb, thing=thing, before=before, after=after, who=who)
    told = journal_words.line_of(row)
    return told.who, told.what, told.which, told.change


@pytest.mark.parametrize(
    ("row", "english", "german"),
    [
        ((Verb.VERSION_APPROVED, "final 0417", "shown", "approved"),
         ("Ansa (subject)", "version approved", "final 0417", "waits for approval → approved"),
         ("", "Fassung freigegeben", "Endbild 0417", None)),
        ((Verb.MARKED, "frame 0419", "", "no mark"),
         ("Ansa (subject)", "marked", "frame 0419", " → no mark"),
         ("", "markiert", "Aufnahme 0419", " → ohne Markierung")),
        ((Verb.LOOK_ADDED, "frame in gold"),
         ("Ansa (subject)", "look added", "frame in gold", ""),
         ("", "Look hinzugefügt", "frame in gold", "")),
        ((Verb.RANKED, "2 frames"),
         ("Ansa (subject)", "put in order of preference", "2 frames", ""),
         ("", "nach Vorliebe geordnet", "2 Aufnahmen", "")),
        ((Verb.UNDONE, "frames moved"),
         ("Ansa (subject)", "taken back", "frames moved", ""),
         ("", "rückgängig gemacht", "Aufnahmen verschoben", "")),
        (("of an older release", "thing"),
         ("Ansa (subject)", "of an older release", "thing", ""),
         ("", "of an older release", "thing", "")),
    ],
)  # fmt: skip
def test_a_line_in_two_languages(
    row: tuple[str, ...], english: tuple[str, ...], german: tuple[str | None, ...]
) -> None:
    with translation.override("en"):
        assert line(*row) == english
    with translation.override("de"):
        expected = [who_words("Ansa (subject)"), *german[1:]]
        assert [
            told for told, want in zip(line(*row), expected, strict=True) if want is not None and told != want
        ] == []
        assert who_words("Ansa (subject)") != "Ansa (subject)"


def test_who_wrote_it() -> None:
    with translation.override("es"):
        assert who_words(PROGRAM.who) == "el programa"
        assert who_words("Imke Tan (photographer)") != "Imke Tan (photographer)"
        assert who_words("Imke Tan") == "Imke Tan"


@pytest.mark.django_db
@pytest.mark.parametrize(("language", "word"), [("de", "Liste geschlossen"), ("es", "lista cerrada")])
def test_the_page_reads_in_the_readers_language(language: str, word: str) -> None:
    cast: Cast = make_cast()
    painted.finals_of(cast, 1)
    client = cast.client_of(cast.owner)
    client.cookies[LANGUAGE] = language
    page = client.get(reverse("studio-journal", args=[cast.sitting.slug])).content.decode()
    assert f"<td>{word}</td>" in page
    assert "list closed" not in page.replace('value="list closed"', "")
