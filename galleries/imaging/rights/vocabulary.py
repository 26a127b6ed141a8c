"""Controlled vocabularies a picture's rights are stated in; `galleries.words.rights` says each code in plain words.

Sources: PLUS License Data Format 2.0.1 (data mining, model release, minors, alteration constraints) and
IPTC NewsCodes 'Digital Source Type'.
"""

from __future__ import annotations

PLUS_VOCAB = "http://ns.useplus.org/ldf/vocab/"
SOURCE_VOCAB = "http://cv.iptc.org/newscodes/digitalsourcetype/"

DATA_MINING = (
    "DMI-UNSPECIFIED",
    "DMI-ALLOWED",
    "DMI-PROHIBITED",
    "DMI-PROHIBITED-AIMLTRAINING",
    "DMI-PROHIBITED-GENAIMLTRAINING",
    "DMI-PROHIBITED-EXCEPTSEARCHENGINEINDEXING",
    "DMI-PROHIBITED-SEECONSTRAINT",
    "DMI-PROHIBITED-SEEEMBEDDEDRIGHTSEXPR",
    "DMI-PROHIBITED-SEELINKEDRIGHTSEXPR",
)

MODEL_RELEASE = (
    "MR-NON",
    "MR-NAP",
    "MR-UMR",
    "MR-LMR",
)

MINOR_AGE = ("AG-UNK", "AG-A25", *(f"AG-A{age}" for age in range(24, 14, -1)), "AG-U14")

ALTERATION = (
    "AL-CRP",
    "AL-FLP",
    "AL-RET",
    "AL-CLR",
    "AL-DCL",
    "AL-MRG",
)

SOURCE_TYPE = (
    "digitalCapture",
    "computationalCapture",
    "negativeFilm",
    "positiveFilm",
    "print",
    "humanEdits",
    "algorithmicallyEnhanced",
    "compositeCapture",
    "compositeWithTrainedAlgorithmicMedia",
    "trainedAlgorithmicMedia",
    "compositeSynthetic",
    "algorithmicMedia",
    "digitalCreation",
    "virtualRecording",
    "screenCapture",
    "composite",
)


def minor_code(age: int) -> str:
    """The PLUS code that discloses an age in whole years (14 and under share one code)."""
    if age < 0:
        raise ValueError(f"An age cannot be {age}.")
    return "AG-U14" if age <= 14 else f"AG-A{min(age, 25)}"


def bare(value: str, vocabulary: str) -> str:
    """A code without its vocabulary's address, whether it came as code or as full URI."""
    text = value.strip()
    for start in (vocabulary, vocabulary.replace("http://", "https://")):
        if text.startswith(start):
            return text[len(start) :].strip("/")
    return text
