"""What is told by code and values: each code has its sentence, in every language, with the values that are given."""

from __future__ import annotations

import ast
import json
import re
from enum import StrEnum
from pathlib import Path

import pytest
from django.utils import translation

from galleries.imaging.codes import Code
from galleries.imaging.comparing.amounts import Changes
from galleries.imaging.errors import Unreadable
from galleries.papers import codes as papers_codes
from galleries.sorting import codes as sorting_codes
from galleries.sorting.content import colour_name
from galleries.told import Told, following, told
from galleries.words import imaging, sorting, steps
from galleries.words.told import MAKERS, SENTENCES, sentence, stored

GALLERIES = Path(__file__).resolve().parents[2] / "galleries"
ROOMS: tuple[type[StrEnum], ...] = (Code, papers_codes.Code, sorting_codes.Code, steps.Code)
IN_ROOM: dict[str, type[StrEnum]] = {
    "imaging": Code,
    "papers": papers_codes.Code,
    "sorting": sorting_codes.Code,
}
PLACES = re.compile(r"%\((\w+)\)")


@pytest.mark.parametrize("code", [code for room in ROOMS for code in room], ids=str)
def test_every_code_has_its_sentence(code: StrEnum) -> None:
    assert (code in SENTENCES) != (code in MAKERS)


def test_no_two_rooms_share_a_code() -> None:
    every = [str(code) for room in ROOMS for code in room]
    assert len(every) == len(set(every))
    assert set(SENTENCES) | set(MAKERS) == set(every)


def _given() -> dict[str, list[set[str] | None]]:
    """Code → the names of the values at each place that tells it; None where they are put together beforehand."""
    found: dict[str, list[set[str] | None]] = {}
    for path in sorted(GALLERIES.rglob("*.py")):
        room = IN_ROOM.get(path.relative_to(GALLERIES).parts[0], steps.Code)
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call) or not node.args:
                continue
            teller = ast.unparse(node.func).rpartition(".")[2]
            if not isinstance(node.args[0], ast.Attribute | ast.IfExp) or not (teller == "told" or teller[0].isupper()):
                continue
            for name in re.findall(r"\bCode\.([A-Z_]+)", ast.unparse(node.args[0])):
                spread = any(keyword.arg is None for keyword in node.keywords) or len(node.args) > 1
                names = {keyword.arg for keyword in node.keywords if keyword.arg}
                code = room.__members__.get(name) or Code[name]
                found.setdefault(str(code), []).append(None if spread else names)
    return found


def test_what_a_sentence_shows_is_given_wherever_it_is_told() -> None:
    given = _given()
    assert set(given) >= {str(code) for room in ROOMS for code in room} - _CHOSEN
    wrong = {
        (code, frozenset(names))
        for code, places in given.items()
        for names in places
        if names is not None and code in SENTENCES and not set(PLACES.findall(SENTENCES[code])) <= names
    }
    assert not wrong


# Told by a name that holds them, or from a table.
_CHOSEN = {
    *(Code.DATA_DAMAGED, Code.HEADER_DAMAGED, Code.JPEG_LOSSLESS, Code.JPEG_ARITHMETIC, Code.JPEG_HIERARCHICAL),
    *(code for code in Code if code.startswith("private.")),
    *(code for code in sorting_codes.Code if code.startswith("run.") and code != sorting_codes.Code.SINGLE),
    *(sorting_codes.Code[f"{what}_{how}"] for what in ("BACKDROP", "WARDROBE") for how in ("CHANGES", "ANOTHER")),
    *(code for code in papers_codes.Code if code.startswith("terms.not_named")),
    *(sorting_codes.Code.BEHIND, sorting_codes.Code.AHEAD),
}


@pytest.mark.parametrize("language", ["de", "es"])
def test_a_sentence_shows_the_same_values_in_every_language(language: str) -> None:
    with translation.override(language):
        for english in SENTENCES.values():
            there = translation.gettext(english)
            assert there != english or language == "en", english
            assert sorted(PLACES.findall(there)) == sorted(PLACES.findall(english))


def test_numbers_are_written_as_the_reader_writes_them() -> None:
    large = told(Code.TOO_MANY_BYTES, size_bytes=1234567, most_bytes=1000000)
    tilted = told(Code.LEVELLED, tilt_deg=2.5)
    assert sentence(large) == "This file has 1,234,567 bytes; at most 1,000,000 are accepted."
    with translation.override("de"):
        assert sentence(large) == "Diese Datei hat 1.234.567 Bytes; höchstens 1.000.000 werden angenommen."
        assert sentence(tilted) == "Um 2,5° gedreht, damit die Augen waagerecht liegen."
    with translation.override("es"):
        assert sentence(tilted) == "Girado 2,5° para que los ojos queden a nivel."


def test_the_changed_face_in_three_languages() -> None:
    caution = Changes({"eyes": 6.1, "cheeks": -1.0, "jaw": -8.3}).caution()
    assert caution is not None
    kept = caution.as_text(600)
    assert stored(kept).startswith("Against the frame the jaw is 8 % narrower and the eyes are 6 % larger. A headshot")
    with translation.override("de"):
        assert stored(kept).startswith(
            "Gegenüber der Aufnahme ist der Kiefer 8 % schmaler und sind die Augen 6 % größer. Ein Headshot"
        )
    with translation.override("es"):
        assert stored(kept).startswith(
            "Respecto a la toma, la mandíbula es un 8 % más estrecha y los ojos son un 6 % más grandes. Un headshot"
        )


def test_skin_and_irises_are_told_with_the_words_that_a_program_may_err() -> None:
    caution = Changes({"skin": 7.2, "lightness": 9.5, "chin_texture": 84.0, "left_eye_iris": 15.1}).caution()
    assert caution is not None
    kept = caution.as_text(600)
    assert stored(kept) == (
        "Against the frame the irises have another colour (15 ΔE), 84 % of the skin's fine texture is gone and the "
        "skin is lighter than the rest of the picture explains (7 ΔE, +10 L*). A headshot must look like the person "
        "who walks in. Skin tone must stay true. A program read this and may err: your eye decides."
    )
    with translation.override("de"):
        assert "fehlen 84 % der feinen Hautstruktur" in stored(kept)
        assert imaging.not_compared(["skin", "nose"]) == "Konnte nicht verglichen werden: Hautfarbe und Nase."
    with translation.override("es"):
        assert "El tono de la piel debe seguir siendo el real." in stored(kept)
    darker = Changes({"skin": 9.0, "lightness": -11.0}).caution()
    other = Changes({"skin": 9.0, "lightness": 0.4}).caution()
    assert darker is not None
    assert other is not None
    assert "darker than the rest of the picture explains (9 ΔE, -11 L*)" in sentence(darker)
    assert "another colour than the rest of the picture explains (9 ΔE)" in sentence(other)
    assert imaging.not_compared([]) == ""
    assert imaging.not_compared(["of a later release"]) == ""


def test_what_was_kept_comes_back() -> None:
    kept = Told(Code.RIGHTS_NOT_AS_WRITTEN, about="KAL_0412.JPG", more=(told(Code.PRIVATE_SERIAL),))
    assert Told.from_stored(kept.as_text(500)) == kept
    assert Told.from_stored(kept.as_dict()) == kept
    assert stored(kept.as_text(500)) == (
        "KAL_0412.JPG: What was written into the file does not read back. The file carries a serial number."
    )


@pytest.mark.parametrize("old", ["This file is empty.", "{a brace}", '{"code": cut off', "42", '{"code": 7}'])
def test_a_sentence_of_an_older_row_is_shown_as_it_stands(old: str) -> None:
    assert stored(old) == old
    assert stored("") == ""


def test_long_names_are_cut_and_the_form_is_not() -> None:
    long = told(steps.Code.JOB_BROKE, error='OSError: "' + "a" * 2000)
    kept = long.as_text(500)
    assert len(kept) <= 500
    assert json.loads(kept)["code"] == steps.Code.JOB_BROKE
    assert stored(kept).startswith('This work broke (OSError: "aaaa')
    assert told("", text="b" * 600).as_text(500) == "b" * 500


def test_an_answer_of_another_release_is_no_crash() -> None:
    assert stored({"code": "opening.from_the_future", "data": {"size": 3}}) == "opening.from_the_future (size=3)"
    assert stored({"code": Code.TOO_MANY_BYTES}) == "This file has – bytes; at most – are accepted."
    assert "eleven" in stored({"code": Code.TOO_MANY_BYTES, "data": {"size_bytes": "eleven", "most_bytes": None}})
    assert stored({"code": Code.SHAPE_CHANGED, "data": {"ears_percent": 4}}).startswith("comparing.shape_changed")


def test_an_error_is_for_logs_by_itself_and_for_people_by_its_sentence() -> None:
    error = Unreadable(Code.HEADER_DAMAGED, kind="PNG")
    assert str(error) == "opening.header_damaged (kind='PNG')"
    assert sentence(error.told) == "This PNG is cut off or damaged: its header cannot be read."


def test_every_colour_has_its_word() -> None:
    assert set(sorting.COLOURS) == set(sorting_codes.COLOURS)
    seen = {
        colour_name((lightness, a, b))
        for lightness in range(0, 101, 5)
        for a in range(-80, 81, 8)
        for b in range(-80, 81, 8)
    }
    assert seen <= set(sorting_codes.COLOURS)
    assert len(seen) > 25


def test_a_look_s_reasons_in_german() -> None:
    kept = following(
        [
            told(sorting_codes.Code.WARDROBE_CHANGES, was_colour="dark_blue", now_colour="red"),
            told(sorting_codes.Code.AFTER_PAUSE, pause_minutes=130),
        ]
    ).as_text(1000)
    assert stored(kept) == "Wardrobe changes from dark blue to red. After a pause of 2 h 10 min."
    with translation.override("de"):
        assert stored(kept) == "Garderobe wechselt von Dunkelblau zu Rot. Nach einer Pause von 2 h 10 min."


def test_what_the_system_says_of_a_file_is_said_in_words() -> None:
    gone = told(Code.FILE_UNREADABLE, name="a.jpg", error="ENOENT")
    assert sentence(gone) == "The file a.jpg cannot be read (there is no such file)."
    assert sentence(told(Code.FILE_UNREADABLE, name="a.jpg", error="EIO")).endswith("(EIO).")
    with translation.override("es"):
        assert sentence(gone) == "El archivo a.jpg no se puede leer (no existe)."
