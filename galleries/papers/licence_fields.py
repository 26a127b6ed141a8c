"""What a licence says, as plain values: uses, alterations, the people, the days; and what may not stand so."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from galleries.imaging.rights.vocabulary import DATA_MINING, MODEL_RELEASE
from galleries.papers.codes import Code
from galleries.told import Told, Value, following, told

# Common practice in headshot licences, no source.
USES: Mapping[str, str] = {
    "casting": "submissions for castings, on paper and online",
    "website": "the subject's own website",
    "representation": "the representation's website, lists and submissions",
    "social": "the subject's own social media accounts",
    "press": "press about the subject's own work, and playbills",
    "print-own": "prints for the subject's own use",
    "portfolio": "the subject's portfolio",
    "lobby": "a theatre's display of the company of a production",
    "poster": "posters and paid publicity of a production",
    "advertising": "advertising of goods or services",
    "merchandise": "goods for sale that show the picture",
    "book": "book covers and inside books",
}
# What a licence may allow, and the PLUS constraint written when it does not.
ALTERATIONS: Mapping[str, tuple[str, str]] = {
    "crop": ("cropping", "AL-CRP"),
    "flip": ("flipping left and right", "AL-FLP"),
    "retouch": ("retouching", "AL-RET"),
    "colour": ("changing or adding colour", "AL-CLR"),
    "monochrome": ("turning into black and white", "AL-DCL"),
    "merge": ("merging with other pictures", "AL-MRG"),
}


class BadTerms(ValueError):
    """Terms that cannot stand, or a licence file that cannot be read; `galleries.words` says `told`."""

    def __init__(self, code: Code, **data: Value) -> None:
        self.told = Told(code, data)
        super().__init__(str(self.told))

    @classmethod
    def of(cls, several: Sequence[Told]) -> BadTerms:
        """From one or more problems."""
        error = cls(Code(several[0].code), **several[0].data)
        error.told = following(several)
        return error


@dataclass(frozen=True)
class Addendum:
    """A use beyond the licence that was asked for and granted."""

    asked_by: str
    granted_on: date
    uses: tuple[str, ...]
    note: str = ""
    until: date | None = None


@dataclass(frozen=True)
class LicenceFields:
    """Who may use which pictures for what, where and how long.

    `uses` and `alterations` are keys of USES and ALTERATIONS (what is allowed; the rest is not). Codes are
    those of PLUS. `licensee` empty means the subject. `minor_age` is only for the metadata code.
    """

    licence_id: str
    photographer: str
    subject: str
    uses: tuple[str, ...]
    starts: date
    ends: date | None = None
    version: int = 1
    studio: str = ""
    licensee: str = ""
    representation: str = ""
    territory: str = "worldwide"
    exclusive: bool = False
    credit_line: str = ""
    credit_required: bool = False
    alterations: tuple[str, ...] = ("crop",)
    resale: bool = False
    model_release: str = "MR-NON"
    release_read_by: str = ""
    release_ids: tuple[str, ...] = ()
    is_minor: bool = False
    minor_age: int | None = None
    guardian: str = ""
    guardian_consent_on: date | None = None
    data_mining: str = "DMI-PROHIBITED"
    data_mining_constraint: str = ""
    contact_email: str = ""
    contact_url: str = ""
    contact_telephone: str = ""
    web_statement: str = ""
    terms_url: str = ""
    copyright_year: int | None = None
    addenda: tuple[Addendum, ...] = ()
    # The studio's own, a sentence or a few each, as they stood when this was written, and their number then.
    clauses: tuple[str, ...] = ()
    clauses_number: int = 0

    @property
    def holder(self) -> str:
        """Who receives the licence."""
        return self.licensee or self.subject

    @property
    def copyright_notice(self) -> str:
        """The copyright line; the year is that of the start unless given."""
        return f"© {self.copyright_year or self.starts.year} {self.photographer}. All rights reserved."


@dataclass(frozen=True)
class Grant:
    """That a use is allowed, from one day and until another (both included; None: without end)."""

    since: date
    until: date | None


def granted(terms: LicenceFields, use: str, day: date) -> Grant | None:
    """What allows a use on this day or later, by the licence or by an addendum that has not run out; else None."""
    runs = terms.ends is None or day <= terms.ends
    if runs and use in terms.uses:
        return Grant(terms.starts, terms.ends)
    for item in reversed(terms.addenda):
        until = item.until or terms.ends
        if use in item.uses and (until is None or day <= until):
            return Grant(item.granted_on, until)
    return None


def problems_of(terms: LicenceFields) -> list[Told]:
    problems = [
        told(code)
        for name, code in (
            ("licence_id", Code.NOT_NAMED_LICENCE),
            ("photographer", Code.NOT_NAMED_PHOTOGRAPHER),
            ("subject", Code.NOT_NAMED_SUBJECT),
            ("territory", Code.NOT_NAMED_TERRITORY),
        )
        if not getattr(terms, name).strip()
    ]
    asked = [*terms.uses, *(use for item in terms.addenda for use in item.uses)]
    problems += [told(Code.USE, use=use, known=", ".join(USES)) for use in asked if use not in USES]
    problems += [
        told(Code.ALTERATION, alteration=key, known=", ".join(ALTERATIONS))
        for key in terms.alterations
        if key not in ALTERATIONS
    ]
    if not terms.uses:
        problems.append(told(Code.NO_USE))
    if terms.ends and terms.ends < terms.starts:
        problems.append(told(Code.ENDS_FIRST, ends_day=terms.ends.isoformat(), starts_day=terms.starts.isoformat()))
    if terms.credit_required and not terms.credit_line:
        problems.append(told(Code.NO_CREDIT_LINE))
    if terms.data_mining not in DATA_MINING:
        problems.append(told(Code.DATA_MINING, value=terms.data_mining))
    if terms.data_mining == "DMI-PROHIBITED-SEECONSTRAINT" and not terms.data_mining_constraint:
        problems.append(told(Code.NO_CONSTRAINT))
    return problems + _release_problems(terms)


def _release_problems(terms: LicenceFields) -> list[Told]:
    problems = []
    if terms.model_release not in MODEL_RELEASE:
        problems.append(told(Code.MODEL_RELEASE, value=terms.model_release))
    if terms.model_release == "MR-UMR" and not terms.release_read_by:
        problems.append(told(Code.NOT_READ))
    if terms.model_release == "MR-NAP":
        problems.append(told(Code.RELEASE_NEEDED))
    if terms.is_minor and not terms.guardian:
        problems.append(told(Code.NO_GUARDIAN))
    if terms.is_minor and not terms.guardian_consent_on:
        problems.append(told(Code.NO_CONSENT_DAY))
    if terms.minor_age is not None and not (terms.is_minor and 0 <= terms.minor_age < 18):
        problems.append(told(Code.AGE))
    return problems
