"""Lists of sitters as they come: encodings, separators, headings in three languages, and what is wrong by its line.

CSV after RFC 4180; the semicolon where the comma is the decimal sign, and Windows-1252 from spreadsheets, are common
practice, no source.
"""

from __future__ import annotations

import csv
import io

import pytest

from galleries.errors import BadInput
from galleries.steps.days import sitters_list
from galleries.steps.days.sitters_list import MOST_SITTERS, Row, decoded, plain, read

ZOE = Row(2, "Zoë", "Brännström", "zoe@brannstrom.example", "Ruben Achterberg", "ruben@achterberg.example")


@pytest.mark.parametrize(
    "text",
    [
        "name,e-mail,agent,agent e-mail\n"
        "Zoë Brännström,zoe@brannstrom.example,Ruben Achterberg,ruben@achterberg.example\n",
        "Vorname;Nachname;E-Mail;Agentur;E-Mail der Agentur\r\n"
        "Zoë;Brännström;Zoe@Brannstrom.example;Ruben Achterberg;ruben@achterberg.example\r\n",
        "Nombre\tApellidos\tCorreo electrónico\tAgencia\tCorreo de la agencia\n"
        "Zoë\tBrännström\tzoe@brannstrom.example\tRuben Achterberg\truben@achterberg.example\n",
        'Name;Mail;Agent;Agent e-mail;phone\n"Brännström, Zoë";zoe@brannstrom.example;Ruben Achterberg;'
        "ruben@achterberg.example;+49 30 1\n",
    ],
)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_the_same_list_however_it_is_kept(text: str, encoding: str) -> None:
    assert read(decoded(text.encode(encoding))) == [ZOE]


def test_typed_lines_need_no_heading() -> None:
    rows = read("Ansa Veld; ansa@veld.example; Ruben Achterberg; ruben@achterberg.example\n\nJules\n")
    assert [(row.line, row.name, row.email, row.agent_name) for row in rows] == [
        (1, "Ansa Veld", "ansa@veld.example", "Ruben Achterberg"),
        (3, "Jules", "", ""),
    ]


def test_language_minor_and_an_agent_known_by_address_only() -> None:
    (row,) = read("name;e-mail;agent e-mail;language;minor\nAnsa Veld;a@b.example;desk@agency.example;DE;ja\n")
    assert (row.language, row.minor, row.agent_name) == ("de", True, "desk")


def test_every_wrong_line_is_named_with_what_is_wrong() -> None:
    with pytest.raises(BadInput) as told:
        read(
            "name;e-mail;language;minor\nAnsa Veld;nowhere;;\n;x@y.example;;\nJules (boss);;;\nMirre;;fr;\n"
            "Tom;;;perhaps\n"
            "Kim Lee;k@l.example;;\nKim Lee;k@l.example;;\n"
        )
    for line, words in (
        (2, "“nowhere” is not"),
        (3, "no name"),
        (4, "brackets"),
        (5, "“fr” is none"),
        (6, "“perhaps”"),
        (8, "stands in line 7"),
    ):
        assert f"Line {line}: " in str(told.value)
        assert words in str(told.value)


def test_a_quoted_cell_over_two_lines_does_not_shift_the_numbers() -> None:
    with pytest.raises(BadInput, match="Line 4: "):
        read('name;e-mail\n"Ansa\nVeld";ansa@veld.example\nJules;nowhere\n')


@pytest.mark.parametrize("text", ["", "\n\n", "name;e-mail\n", "name;name\nA;B\n", "x\n" * (MOST_SITTERS + 1)])
def test_no_list_too_long_a_list_or_one_headed_twice(text: str) -> None:
    with pytest.raises(BadInput):
        read(text)


def test_many_are_the_most_and_no_more() -> None:
    assert len(read("".join(f"Sitter {n}\n" for n in range(MOST_SITTERS)))) == MOST_SITTERS
    with pytest.raises(BadInput, match="at most 100"):
        read("".join(f"Sitter {n}\n" for n in range(MOST_SITTERS + 1)))


@pytest.mark.parametrize("data", [b"\x00\x01\x02", b"\xff\xfe\x00", b"x" * (sitters_list.MOST_BYTES + 1)])
def test_what_is_no_text_is_refused(data: bytes) -> None:
    with pytest.raises(BadInput):
        decoded(data)


@pytest.mark.parametrize("cell", ["=1+1", "+49", "-x", "@y", "\tz", "\rq"])
def test_no_cell_goes_out_as_a_formula(cell: str) -> None:
    """OWASP's page on CSV injection (from memory): a cell that begins with one of these is run by spreadsheets."""
    out = io.StringIO()
    csv.writer(out).writerow([plain(cell)])
    (row,) = csv.reader(io.StringIO(out.getvalue()))
    assert row == ["'" + cell]
