"""Three columns of a licence, and its answers: each field in one column, and as the English wording says it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from galleries.papers import licence_wording
from galleries.papers.licence_fields import ALTERATIONS, USES, Addendum, LicenceFields
from galleries.web.licence_columns import ALLOWED, ALTERATION_WORDS, ASK, NO, answer, columns, questions
from galleries.web.use_words import USE_WORDS

DAY = date(2026, 5, 4)
TERMS = LicenceFields(
    licence_id="veld-1", photographer="Tamsin Okonedo-Vale", subject="Ansa Veld", uses=("casting", "press"), starts=DAY
)
GRANTED = Addendum("Ansa Veld", DAY, ("poster",), until=date(2026, 9, 30))


def test_every_use_and_every_change_has_words() -> None:
    assert set(USE_WORDS) == set(USES)
    assert set(ALTERATION_WORDS) == set(ALTERATIONS)


@pytest.mark.parametrize(
    ("changed", "what", "verdict"),
    [
        ({}, "casting", ALLOWED),
        ({}, "poster", ASK),
        ({"addenda": (GRANTED,)}, "poster", ALLOWED),
        ({"addenda": (replace(GRANTED, until=date(2026, 5, 3)),)}, "poster", ASK),
        ({"addenda": (replace(GRANTED, until=None),), "ends": date(2026, 5, 3)}, "poster", ASK),
        ({"ends": date(2026, 5, 3)}, "casting", ASK),
        ({"ends": DAY}, "casting", ALLOWED),
        ({}, "crop", ALLOWED),
        ({"ends": date(2026, 5, 3)}, "crop", ASK),
        ({}, "flip", ASK),
        ({"alterations": ("flip",)}, "flip", ALLOWED),
        ({}, "sell", NO),
        ({"resale": True}, "sell", ALLOWED),
        ({}, "mine", NO),
        ({"data_mining": "DMI-UNSPECIFIED"}, "mine", ASK),
        ({"data_mining": "DMI-ALLOWED"}, "mine", ALLOWED),
        ({"data_mining": "DMI-PROHIBITED-EXCEPTSEARCHENGINEINDEXING"}, "mine", NO),
    ],
)
def test_the_licence_answers_and_its_column_is_the_same(changed: dict[str, object], what: str, verdict: str) -> None:
    terms = replace(TERMS, **changed)  # type: ignore[arg-type]
    reply = answer(terms, what, DAY)
    assert reply.verdict == verdict
    shown = columns(terms, DAY)
    words = reply.more or str(questions()[what])
    assert [words in line for line in getattr(shown, verdict)].count(True) == 1
    others = [line for name in {ALLOWED, ASK, NO} - {verdict} for line in getattr(shown, name)]
    assert not any(line.startswith(words) for line in others)


def test_what_else_the_fields_say_stands_in_a_column() -> None:
    terms = replace(
        TERMS, territory="Europe", credit_required=True, credit_line="T. Okonedo-Vale", starts=date(2026, 6, 1),
        ends=date(2027, 5, 31), addenda=(GRANTED,),
    )  # fmt: skip
    shown = columns(terms, DAY)
    assert "use outside of: Europe" in shown.ask
    assert "posters and paid publicity of a production, until 30 September 2026" in shown.allowed
    no = " | ".join(shown.no)
    for words in ("the credit “T. Okonedo-Vale”", "stays with Tamsin Okonedo-Vale", "before 1 June", "after 31 May"):
        assert words in no, no
    assert answer(terms, "casting", DAY).since == date(2026, 6, 1)


def test_the_columns_say_what_the_wording_says() -> None:
    """The licence's own sentences, written by another module, list the same uses and changes on the same side."""
    wording = licence_wording.sentences(TERMS)
    shown = columns(TERMS, DAY)
    allowed = next(line for line in wording if line.startswith("Allowed uses are:"))
    to_ask = next(line for line in wording if line.startswith("Not included, and to be asked for first:"))
    changes = next(line for line in wording if line.startswith("Not allowed without asking:"))
    for use, words in USES.items():
        assert (words in allowed, words in to_ask) == (use in TERMS.uses, use not in TERMS.uses)
        assert (words in shown.allowed, words in shown.ask) == (words in allowed, words in to_ask)
    for words, _code in ALTERATIONS.values():
        assert (words in shown.ask) == (words in changes)
