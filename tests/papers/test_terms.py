"""Licence terms: what can't stand is told, what stands is read back, and the metadata says the same."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from galleries.papers.licence_fields import ALTERATIONS, USES, Addendum, BadTerms
from galleries.papers.terms import LicenceTerms
from galleries.words.told import sentence

TERMS = LicenceTerms(
    licence_id="LIC-2026-11",
    photographer="Marit Ødegård",
    studio="Studio Nord",
    subject="Zoë Œuvrard-Ångström 李小龍",
    representation="Desk & Daughters",
    uses=("casting", "website", "print-own"),
    starts=date(2026, 3, 1),
    ends=date(2028, 2, 29),
    credit_line="Photograph: Marit Ødegård",
    credit_required=True,
    alterations=("crop", "monochrome"),
    model_release="MR-LMR",
    data_mining="DMI-PROHIBITED-EXCEPTSEARCHENGINEINDEXING",
    contact_email="hello@studio.example",
    contact_url="https://studio.example",
)


def test_read_back_in_plain_sentences() -> None:
    assert TERMS.problems() == []
    said = TERMS.sentences()
    assert said[0] == (
        "Marit Ødegård (Studio Nord) licenses Zoë Œuvrard-Ångström 李小龍 to use the delivered pictures."
    )
    text = " ".join(said)
    for part in (
        "Allowed uses are: submissions for castings, on paper and online; the subject's own website; prints",
        "Not included, and to be asked for first:",
        "advertising of goods or services",
        "The licence runs from 1 March 2026 until 29 February 2028, that day included.",
        "The licence is not exclusive.",
        "The credit 'Photograph: Marit Ødegård' must stand with every publication.",
        "Allowed changes: cropping, turning into black and white.",
        "may not be sold or licensed on",
        "Model release: a model release is on file, limited or incomplete.",
        "Data mining is prohibited, except for search engines.",
    ):
        assert part in text, part
    assert all(sentence.endswith(".") for sentence in said)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"subject": " "}, "does not name its subject"),
        ({"uses": ()}, "no use at all"),
        ({"uses": ("tattoo",)}, "“tattoo” is not a known use"),
        ({"alterations": ("burn",)}, "“burn” is not a known alteration"),
        ({"ends": date(2025, 1, 1)}, "ends on 1 January 2025, before it starts on 1 March 2026"),
        ({"credit_line": ""}, "credit line is empty"),
        ({"model_release": "MR-UMR"}, "only when somebody has read it"),
        ({"model_release": "MR-NAP"}, "shows a person"),
        ({"model_release": "yes"}, "not a PLUS model-release code"),
        ({"data_mining": "no"}, "not a PLUS data-mining code"),
        ({"data_mining": "DMI-PROHIBITED-SEECONSTRAINT"}, "none is written"),
        ({"is_minor": True, "guardian_consent_on": date(2026, 1, 1)}, "name the parent or guardian"),
        ({"is_minor": True, "guardian": "A Parent"}, "consent was recorded is missing"),
        ({"minor_age": 12}, "for minors only"),
        ({"addenda": (Addendum("Desk", date(2026, 4, 1), ("tattoo",)),)}, "“tattoo” is not a known use"),
    ],
)
def test_what_cannot_stand_is_told(change: dict[str, object], words: str) -> None:
    with pytest.raises(BadTerms) as caught:
        replace(TERMS, **change).validate()  # type: ignore[arg-type]
    assert words in sentence(caught.value.told)


def test_a_minor_with_guardian_stands() -> None:
    young = replace(TERMS, is_minor=True, minor_age=12, guardian="A Parent", guardian_consent_on=date(2026, 1, 5))
    assert young.problems() == []
    assert "A Parent consented as parent or guardian, recorded on 5 January 2026." in " ".join(young.sentences())
    # PLUS LDF 2.0.1: one code for 14 and under
    assert young.to_rights().minor_age == "AG-U14"
    assert TERMS.to_rights().minor_age == ""


def test_the_metadata_says_what_the_licence_says() -> None:
    record = TERMS.to_rights(title="Look 1", captured_at=datetime(2026, 2, 1, 10, 0))
    record.validate()
    assert record.usage_terms == " ".join(TERMS.sentences())
    assert record.copyright_notice == "© 2026 Marit Ødegård. All rights reserved."
    # constraints name what is not allowed (PLUS): cropping and black and white are allowed here
    assert record.alteration_constraints == ("AL-FLP", "AL-RET", "AL-CLR", "AL-MRG")
    assert (record.license_start, record.license_end) == (TERMS.starts, TERMS.ends)
    assert record.license_id == "LIC-2026-11/1"
    assert record.persons == (TERMS.subject,)
    assert record.licensors[0].name == "Studio Nord"


def test_an_addendum_is_part_of_the_licence() -> None:
    wider = replace(
        TERMS, version=2, addenda=(Addendum("Desk & Daughters", date(2026, 5, 2), ("poster",), "One town"),)
    )
    assert wider.sentences()[-1] == (
        "Addendum of 2 May 2026, asked for by Desk & Daughters: posters and paid publicity of a production, "
        "allowed. One town."
    )


DAYS = st.dates(date(1990, 1, 1), date(2090, 1, 1))
ANY_TERMS = st.builds(
    LicenceTerms,
    licence_id=st.text(min_size=1),
    photographer=st.text(),
    subject=st.text(),
    uses=st.lists(st.sampled_from(sorted(USES)), unique=True).map(tuple),
    starts=DAYS,
    ends=st.none() | DAYS,
    alterations=st.lists(st.sampled_from(sorted(ALTERATIONS)), unique=True).map(tuple),
    guardian_consent_on=st.none() | DAYS,
    addenda=st.lists(
        st.builds(Addendum, st.text(), DAYS, st.lists(st.text()).map(tuple), st.text(), st.none() | DAYS), max_size=2
    ).map(tuple),
)


@given(ANY_TERMS)
def test_json_is_a_round_trip(terms: LicenceTerms) -> None:
    assert LicenceTerms.from_json(terms.to_json()) == terms


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        "{}",
        json.dumps({"format": "headshot-licence", "format_version": 99, "terms": {}}),
        json.dumps({"format": "headshot-licence", "format_version": 1, "terms": {"licence_id": "x"}}),
        json.dumps({"format": "headshot-licence", "format_version": 1, "terms": {"colour": "x"}}),
        TERMS.to_json().replace("2026-03-01", "2026-13-01"),
    ],
)
def test_a_bad_licence_file_is_refused_in_a_sentence(text: str) -> None:
    with pytest.raises(BadTerms) as caught:
        LicenceTerms.from_json(text)
    assert sentence(caught.value.told).endswith(".")
