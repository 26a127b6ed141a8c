"""Controlled vocabularies a picture's rights are stated in, and what each code says in plain words.

Sources: PLUS License Data Format 2.0.1 (data mining, model release, minors, alteration constraints) and
IPTC NewsCodes 'Digital Source Type'. The plain sentences are ours; the codes are the standards'.
"""

from __future__ import annotations

from collections.abc import Mapping

PLUS_VOCAB = "http://ns.useplus.org/ldf/vocab/"
SOURCE_VOCAB = "http://cv.iptc.org/newscodes/digitalsourcetype/"

DATA_MINING: Mapping[str, str] = {
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

MODEL_RELEASE: Mapping[str, str] = {
    "MR-NON": "No model release is on file.",
    "MR-NAP": "A model release does not apply.",
    "MR-UMR": "A model release without limits has been read and is on file.",
    "MR-LMR": "A model release is on file, limited or incomplete.",
}

MINOR_AGE: Mapping[str, str] = {
    "AG-UNK": "The age of the youngest person shown is not known.",
    "AG-A25": "The youngest person shown was 25 or over.",
    **{f"AG-A{age}": f"The youngest person shown was {age}." for age in range(24, 14, -1)},
    "AG-U14": "The youngest person shown was 14 or under.",
}

ALTERATION: Mapping[str, str] = {
    "AL-CRP": "no cropping",
    "AL-FLP": "no flipping",
    "AL-RET": "no retouching",
    "AL-CLR": "no colourising",
    "AL-DCL": "no removal of colour",
    "AL-MRG": "no merging with other pictures",
}

SOURCE_TYPE: Mapping[str, str] = {
    "digitalCapture": "Taken by a camera.",
    "computationalCapture": "Made by a camera out of several exposures or sensors.",
    "negativeFilm": "Scanned from a film negative.",
    "positiveFilm": "Scanned from film.",
    "print": "Scanned from a print.",
    "humanEdits": "Taken by a camera and retouched by a person, without generative tools.",
    "algorithmicallyEnhanced": "Enhanced by a program without generative tools.",
    "compositeCapture": "Composed of several camera pictures.",
    "compositeWithTrainedAlgorithmicMedia": "Edited with a generative tool.",
    "trainedAlgorithmicMedia": "Made by a generative tool.",
    "compositeSynthetic": "A composite with parts that no camera took.",
    "algorithmicMedia": "Made by a program from rules.",
    "digitalCreation": "Drawn by a person with digital tools.",
    "virtualRecording": "Recorded from a virtual scene.",
    "screenCapture": "A picture of a screen.",
    "composite": "A composite of several parts.",
}


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
