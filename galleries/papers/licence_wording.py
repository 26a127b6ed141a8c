"""A licence read back as plain English sentences, one fact each, in a fixed order: the wording that was agreed to."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from galleries.papers.licence_fields import ALTERATIONS, USES, Addendum, LicenceFields

# What the codes of PLUS say in a licence, which stands in English.
DATA_MINING_WORDS: Mapping[str, str] = {
    "DMI-UNSPECIFIED": "Nothing is said about data mining.",
    "DMI-ALLOWED": "Data mining is allowed.",
    "DMI-PROHIBITED": "Data mining of any kind is prohibited, training of AI included.",
    "DMI-PROHIBITED-AIMLTRAINING": "Data mining to train AI or machine learning is prohibited.",
    "DMI-PROHIBITED-GENAIMLTRAINING": "Data mining to train generative AI is prohibited.",
    "DMI-PROHIBITED-EXCEPTSEARCHENGINEINDEXING": "Data mining is prohibited, except for search engines.",
    "DMI-PROHIBITED-SEECONSTRAINT": "Data mining is prohibited except as the constraint allows.",
    "DMI-PROHIBITED-SEEEMBEDDEDRIGHTSEXPR": "Data mining only as the rights expression in the file allows.",
    "DMI-PROHIBITED-SEELINKEDRIGHTSEXPR": "Data mining only as the linked rights expression allows.",
}
MODEL_RELEASE_WORDS: Mapping[str, str] = {
    "MR-NON": "No model release is on file.",
    "MR-NAP": "A model release does not apply.",
    "MR-UMR": "A model release without limits has been read and is on file.",
    "MR-LMR": "A model release is on file, limited or incomplete.",
}

_MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


def sentences(terms: LicenceFields) -> list[str]:
    return [
        *_who_and_what(terms),
        *_how(terms),
        *_release(terms),
        *_mining(terms),
        *_own(terms),
        *[_addendum(terms, item) for item in terms.addenda],
    ]


def _who_and_what(terms: LicenceFields) -> list[str]:
    giver = terms.photographer + (f" ({terms.studio})" if terms.studio else "")
    shown = "" if terms.holder == terms.subject else f" that show {terms.subject}"
    uses = [USES.get(use, use) for use in terms.uses]
    sentences = [f"{giver} licenses {terms.holder} to use the delivered pictures{shown}."]
    sentences.append(f"Allowed {'uses are' if len(uses) > 1 else 'use is'}: {'; '.join(uses)}.")
    if terms.representation:
        sentences.append(
            f"{terms.representation} may use them for the same purposes as {terms.subject}'s representation."
        )
    others = [words for use, words in USES.items() if use not in terms.uses]
    if others:
        sentences.append(f"Not included, and to be asked for first: {'; '.join(others)}; and any other use.")
    sentences.append(f"Territory: {terms.territory}.")
    until = f"until {spoken_day(terms.ends)}, that day included" if terms.ends else "without an end date"
    sentences.append(f"The licence runs from {spoken_day(terms.starts)} {until}.")
    return sentences


def _how(terms: LicenceFields) -> list[str]:
    kind = (
        "The licence is exclusive: nobody else is licensed for these uses while it runs."
        if terms.exclusive
        else "The licence is not exclusive."
    )
    sentences = [kind, f"Copyright stays with {terms.photographer}."]
    if terms.credit_required:
        sentences.append(f"The credit '{terms.credit_line}' must stand with every publication.")
    elif terms.credit_line:
        sentences.append(f"The credit '{terms.credit_line}' is welcome but not required.")
    else:
        sentences.append("No credit is required.")
    allowed = [words for key, (words, _) in ALTERATIONS.items() if key in terms.alterations]
    refused = [words for key, (words, _) in ALTERATIONS.items() if key not in terms.alterations]
    if allowed:
        sentences.append(f"Allowed changes: {', '.join(allowed)}.")
    if refused:
        sentences.append(f"Not allowed without asking: {', '.join(refused)}.")
    sentences.append(
        "The pictures may be passed on for money."
        if terms.resale
        else "The pictures and this licence may not be sold or licensed on."
    )
    return sentences


def _release(terms: LicenceFields) -> list[str]:
    sentences = ["Model release: " + _lower(MODEL_RELEASE_WORDS.get(terms.model_release, terms.model_release + "."))]
    if terms.release_read_by:
        sentences.append(f"The release was read by {terms.release_read_by}.")
    if terms.is_minor and terms.guardian:
        day = f", recorded on {spoken_day(terms.guardian_consent_on)}" if terms.guardian_consent_on else ""
        sentences.append(f"{terms.subject} is a minor; {terms.guardian} consented as parent or guardian{day}.")
    return sentences


def _mining(terms: LicenceFields) -> list[str]:
    sentences = [DATA_MINING_WORDS.get(terms.data_mining, f"Data mining: {terms.data_mining}.")]
    if terms.data_mining_constraint:
        sentences.append(f"Constraint: {terms.data_mining_constraint.rstrip('.')}.")
    return sentences


def _own(terms: LicenceFields) -> list[str]:
    if not terms.clauses:
        return []
    return [f"The studio's own terms, number {terms.clauses_number}:", *terms.clauses]


def _addendum(terms: LicenceFields, item: Addendum) -> str:
    uses = "; ".join(USES.get(use, use) for use in item.uses)
    until = f" until {spoken_day(item.until)}" if item.until else ""
    note = f" {item.note.rstrip('.')}." if item.note else ""
    return f"Addendum of {spoken_day(item.granted_on)}, asked for by {item.asked_by}: {uses}, allowed{until}.{note}"


def spoken_day(day: date) -> str:
    """A day in English words, whatever the machine's language."""
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"


def _lower(sentence: str) -> str:
    return sentence[0].lower() + sentence[1:]
