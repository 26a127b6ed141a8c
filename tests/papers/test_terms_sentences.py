"""The licence's sentences, branch by branch, and what is written into files and read back from them.

The wording is the product's own (common practice, no source); codes are those of PLUS LDF 2.0.1 [std].
"""

from __future__ import annotations

import json
from dataclasses import fields, replace
from datetime import date

import pytest

from galleries.imaging.rights import vocabulary
from galleries.papers.codes import Code
from galleries.papers.licence_fields import ALTERATIONS, USES, Addendum, BadTerms
from galleries.papers.licence_wording import spoken_day
from galleries.papers.terms import LicenceTerms

PLAIN = LicenceTerms("L-1", "Ines Falk", "Tom Bergson", ("casting",), date(2026, 1, 31))


def change(**values: object) -> LicenceTerms:
    return replace(PLAIN, **values)  # type: ignore[arg-type]


def codes(terms: LicenceTerms) -> list[str]:
    return [problem.code for problem in terms.problems()]


# Sentences


def test_the_plainest_licence_reads_so() -> None:
    others = "; ".join(words for use, words in USES.items() if use != "casting")
    assert PLAIN.sentences() == [
        "Ines Falk licenses Tom Bergson to use the delivered pictures.",
        "Allowed use is: submissions for castings, on paper and online.",
        f"Not included, and to be asked for first: {others}; and any other use.",
        "Territory: worldwide.",
        "The licence runs from 31 January 2026 without an end date.",
        "The licence is not exclusive.",
        "Copyright stays with Ines Falk.",
        "No credit is required.",
        "Allowed changes: cropping.",
        "Not allowed without asking: flipping left and right, retouching, changing or adding colour, turning into "
        "black and white, merging with other pictures.",
        "The pictures and this licence may not be sold or licensed on.",
        "Model release: no model release is on file.",
        "Data mining of any kind is prohibited, training of AI included.",
    ]


SAID: list[tuple[dict[str, object], int, str]] = [
    ({"studio": "North Light"}, 0, "Ines Falk (North Light) licenses Tom Bergson to use the delivered pictures."),
    ({"licensee": "The Desk"}, 0, "Ines Falk licenses The Desk to use the delivered pictures that show Tom Bergson."),
    ({"licensee": "Tom Bergson"}, 0, "Ines Falk licenses Tom Bergson to use the delivered pictures."),
    ({"uses": ("casting", "press")}, 1, "Allowed uses are: submissions for castings, on paper and online; press about "
     "the subject's own work, and playbills."),
    ({"representation": "The Desk"}, 2, "The Desk may use them for the same purposes as Tom Bergson's representation."),
    ({"uses": tuple(USES)}, 2, "Territory: worldwide."),
    ({"territory": "Norway"}, 3, "Territory: Norway."),
    ({"ends": date(2027, 1, 31)}, 4, "The licence runs from 31 January 2026 until 31 January 2027, that day included."),
    ({"exclusive": True}, 5, "The licence is exclusive: nobody else is licensed for these uses while it runs."),
    ({"credit_line": "Photo: Falk"}, 7, "The credit 'Photo: Falk' is welcome but not required."),
    ({"credit_line": "Photo: Falk", "credit_required": True}, 7,
     "The credit 'Photo: Falk' must stand with every publication."),
    ({"alterations": ()}, 8, "Not allowed without asking: cropping, flipping left and right, retouching, changing or "
     "adding colour, turning into black and white, merging with other pictures."),
    ({"alterations": tuple(ALTERATIONS)}, 9, "The pictures and this licence may not be sold or licensed on."),
    ({"resale": True}, 10, "The pictures may be passed on for money."),
    ({"release_read_by": "Ines Falk"}, 12, "The release was read by Ines Falk."),
    ({"data_mining_constraint": "Ask first."}, 13, "Constraint: Ask first."),
    ({"data_mining_constraint": "Ask first"}, 13, "Constraint: Ask first."),
    ({"is_minor": True, "guardian": "Eva Bergson"}, 12,
     "Tom Bergson is a minor; Eva Bergson consented as parent or guardian."),
]  # fmt: skip


@pytest.mark.parametrize(("values", "at", "sentence"), SAID)
def test_each_term_changes_its_own_sentence(values: dict[str, object], at: int, sentence: str) -> None:
    assert change(**values).sentences()[at] == sentence


def test_a_minor_without_a_guardian_is_not_said_to_have_one() -> None:
    assert "minor" not in " ".join(change(is_minor=True).sentences())
    assert "guardian" not in " ".join(change(guardian="Eva Bergson").sentences())


@pytest.mark.parametrize("code", vocabulary.DATA_MINING)
def test_every_code_of_data_mining_has_its_sentence(code: str) -> None:
    said = change(data_mining=code).sentences()[-1]
    assert code not in said
    assert ("prohibited" in said) == (
        code.startswith("DMI-PROHIBITED") and "SEEEMB" not in code and "LINKED" not in code
    )


@pytest.mark.parametrize("code", vocabulary.MODEL_RELEASE)
def test_every_code_of_a_release_has_its_sentence(code: str) -> None:
    said = change(model_release=code).sentences()[11]
    assert said.startswith("Model release: ")
    assert said[15].islower()
    assert code not in said


@pytest.mark.parametrize(
    ("item", "sentence"),
    [
        (Addendum("The Desk", date(2026, 2, 1), ("poster", "book")),
         "Addendum of 1 February 2026, asked for by The Desk: posters and paid publicity of a production; book covers "
         "and inside books, allowed."),
        (Addendum("The Desk", date(2026, 2, 1), ("poster",), until=date(2026, 12, 31)),
         "Addendum of 1 February 2026, asked for by The Desk: posters and paid publicity of a production, allowed "
         "until 31 December 2026."),
        (Addendum("The Desk", date(2026, 2, 1), ("poster",), "One town."),
         "Addendum of 1 February 2026, asked for by The Desk: posters and paid publicity of a production, allowed. "
         "One town."),
    ],
)  # fmt: skip
def test_an_addendum_says_who_asked_when_and_how_long(item: Addendum, sentence: str) -> None:
    assert change(addenda=(item,)).sentences()[-1] == sentence


def test_months_are_spoken_in_english() -> None:
    """Against the C locale of the standard library, which is English."""
    days = [date(2026, month, 1 + month) for month in range(1, 13)]
    assert [spoken_day(day) for day in days] == [f"{day.day} {day:%B} {day.year}" for day in days]


# What cannot stand


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ({}, []),
        ({"licence_id": ""}, [Code.NOT_NAMED_LICENCE]),
        ({"photographer": "\t"}, [Code.NOT_NAMED_PHOTOGRAPHER]),
        ({"subject": ""}, [Code.NOT_NAMED_SUBJECT]),
        ({"territory": " "}, [Code.NOT_NAMED_TERRITORY]),
        ({"ends": date(2026, 1, 31)}, []),
        ({"ends": date(2026, 1, 30)}, [Code.ENDS_FIRST]),
        ({"credit_required": True}, [Code.NO_CREDIT_LINE]),
        ({"credit_required": True, "credit_line": "x"}, []),
        ({"credit_line": "x"}, []),
        ({"data_mining": "DMI-PROHIBITED-SEECONSTRAINT"}, [Code.NO_CONSTRAINT]),
        ({"data_mining": "DMI-PROHIBITED-SEECONSTRAINT", "data_mining_constraint": "Ask."}, []),
        ({"data_mining_constraint": "Ask."}, []),
        ({"model_release": "MR-UMR"}, [Code.NOT_READ]),
        ({"model_release": "MR-UMR", "release_read_by": "Ines Falk"}, []),
        ({"model_release": "MR-LMR"}, []),
        ({"model_release": "MR-NAP"}, [Code.RELEASE_NEEDED]),
        ({"is_minor": True}, [Code.NO_GUARDIAN, Code.NO_CONSENT_DAY]),
        ({"minor_age": 17}, [Code.AGE]),
    ],
)
def test_each_contradiction_is_told_by_its_own_code(values: dict[str, object], expected: list[Code]) -> None:
    assert codes(change(**values)) == expected


MINOR = {"is_minor": True, "guardian": "Eva Bergson", "guardian_consent_on": date(2026, 1, 1)}


@pytest.mark.parametrize(("age", "stands"), [(-1, False), (0, True), (17, True), (18, False), (None, True)])
def test_a_minor_is_under_eighteen(age: int | None, stands: bool) -> None:
    assert (codes(change(**MINOR, minor_age=age)) == []) is stands


def test_all_problems_are_told_at_once() -> None:
    broken = change(licence_id="", uses=(), ends=date(2020, 1, 1), model_release="MR-NAP")
    with pytest.raises(BadTerms) as caught:
        broken.validate()
    told = caught.value.told
    assert [told.code, *(more.code for more in told.more)] == [
        Code.NOT_NAMED_LICENCE, Code.NO_USE, Code.ENDS_FIRST, Code.RELEASE_NEEDED,
    ]  # fmt: skip


def test_an_addendum_alone_is_no_use() -> None:
    extra = Addendum("The Desk", date(2026, 2, 1), ("poster",))
    assert codes(change(uses=(), addenda=(extra,))) == [Code.NO_USE]


# In the files' metadata


def test_the_record_names_the_photographer_in_each_place() -> None:
    record = PLAIN.to_rights()
    assert record.creators == ("Ines Falk",)
    assert [party.name for party in (*record.copyright_owners, *record.image_creators)] == ["Ines Falk"] * 2
    assert [party.name for party in record.image_suppliers] == ["Ines Falk"]
    assert record.credit_line == "Ines Falk"
    assert record.marked is True
    assert change(credit_line="Photo: Falk").to_rights().credit_line == "Photo: Falk"


def test_the_studio_supplies_and_licenses_where_there_is_one() -> None:
    record = change(studio="North Light", contact_email="a@b.example", contact_url="https://b.example",
                    contact_telephone="+47 1").to_rights()  # fmt: skip
    assert [party.name for party in record.image_suppliers] == ["North Light"]
    one = record.licensors[0]
    assert (one.name, one.email, one.url, one.telephone) == ("North Light", "a@b.example", "https://b.example", "+47 1")
    assert [party.name for party in record.copyright_owners] == ["Ines Falk"]


@pytest.mark.parametrize(
    ("values", "instructions"),
    [
        ({}, "Any other use: ask Ines Falk first."),
        ({"studio": "North Light"}, "Any other use: ask North Light first."),
        ({"studio": "North Light", "contact_email": "a@b.example"}, "Any other use: ask a@b.example first."),
        ({"credit_line": "Photo: Falk"}, "Any other use: ask Ines Falk first."),
        ({"credit_line": "Photo: Falk", "credit_required": True},
         "Any other use: ask Ines Falk first. Credit required: Photo: Falk."),
    ],
)  # fmt: skip
def test_instructions_say_whom_to_ask(values: dict[str, object], instructions: str) -> None:
    assert change(**values).to_rights().instructions == instructions


def test_the_year_of_the_copyright_is_the_starts_unless_given() -> None:
    assert PLAIN.copyright_notice == "© 2026 Ines Falk. All rights reserved."
    assert change(copyright_year=2024).copyright_notice.startswith("© 2024 ")


def test_an_age_is_only_written_of_a_minor() -> None:
    # PLUS LDF 2.0.1, Minor Model Age Disclosure: one code a year of age from 15, one for 14 and under
    assert change(**MINOR, minor_age=15).to_rights().minor_age == "AG-A15"
    assert change(**MINOR).to_rights().minor_age == ""
    assert change(minor_age=15).to_rights().minor_age == ""


@pytest.mark.parametrize("allowed", ALTERATIONS)
def test_what_is_allowed_is_no_constraint(allowed: str) -> None:
    constraints = change(alterations=(allowed,)).to_rights().alteration_constraints
    assert ALTERATIONS[allowed][1] not in constraints
    assert len(constraints) == len(ALTERATIONS) - 1
    assert set(constraints) < set(vocabulary.ALTERATION)


def test_what_belongs_to_one_picture_is_passed_on() -> None:
    names = ("title", "description", "alt_text", "job_id", "digital_source_type", "document_id",
             "original_document_id", "image_guid")  # fmt: skip
    record = PLAIN.to_rights(**{name: f"of {name}" for name in names})  # type: ignore[arg-type]
    assert {name: getattr(record, name) for name in names} == {name: f"of {name}" for name in names}
    assert PLAIN.to_rights().digital_source_type == "digitalCapture"


# The licence file


def body(**values: object) -> dict[str, object]:
    whole = json.loads(PLAIN.to_json())
    whole["terms"].update(values)
    return whole


def told_of(text: str) -> tuple[str, dict[str, object]]:
    with pytest.raises(BadTerms) as caught:
        LicenceTerms.from_json(text)
    return caught.value.told.code, dict(caught.value.told.data)


def test_the_file_holds_every_term_and_its_sentences() -> None:
    whole = body()
    assert (whole["format"], whole["format_version"]) == ("headshot-licence", 1)
    assert set(whole["terms"]) == {field.name for field in fields(LicenceTerms)}  # type: ignore[call-overload]
    assert whole["sentences"] == PLAIN.sentences()
    assert PLAIN.to_json().endswith("}\n")


def test_the_file_is_the_same_every_time_and_readable() -> None:
    text = change(subject="Zoë 李").to_json()
    assert text == change(subject="Zoë 李").to_json()
    assert "Zoë 李" in text
    assert list(json.loads(text)) == sorted(json.loads(text))


@pytest.mark.parametrize(
    ("values", "code", "said"),
    [
        ({"starts": "2026-02-30"}, Code.FILE_UNREADABLE, "day"),
        ({"ends": "soon"}, Code.FILE_UNREADABLE, "soon"),
        ({"guardian_consent_on": "x"}, Code.FILE_UNREADABLE, "x"),
        ({"uses": 7}, Code.FILE_INCOMPLETE, "int"),
        ({"addenda": [{"asked_by": "x"}]}, Code.FILE_INCOMPLETE, "granted_on"),
        ({"addenda": ["x"]}, Code.FILE_INCOMPLETE, "str"),
    ],
)
def test_what_cannot_be_read_is_named(values: dict[str, object], code: Code, said: str) -> None:
    found, data = told_of(json.dumps(body(**values)))
    assert found == code
    assert said in str(data["what"])


def test_terms_of_a_later_program_are_named_and_not_dropped() -> None:
    assert told_of(json.dumps(body(worth=3, colour=1))) == (Code.FILE_UNKNOWN, {"terms": "colour, worth"})


@pytest.mark.parametrize("values", [{"format": "other"}, {"format_version": 2}])
def test_another_format_is_named(values: dict[str, object]) -> None:
    code, data = told_of(json.dumps({**body(), **values}))
    assert code == Code.FILE_FORMAT
    assert data == {"format": values.get("format", "headshot-licence"), "version": str(values.get("format_version", 1))}


def test_days_left_open_stay_open() -> None:
    whole = body()
    del whole["terms"]["ends"]  # type: ignore[attr-defined]
    assert LicenceTerms.from_json(json.dumps(whole)) == PLAIN
    extra = Addendum("The Desk", date(2026, 2, 1), ("poster",), "", date(2026, 3, 1))
    wide = change(addenda=(extra, replace(extra, until=None)))
    assert LicenceTerms.from_json(wide.to_json()) == wide


def test_only_days_are_written_as_days() -> None:
    with pytest.raises(TypeError, match="can't stand in a licence file"):
        change(subject=b"bytes").to_json()
