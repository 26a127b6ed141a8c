"""A licence composed from trade terms: checked, read back as sentences, turned into metadata and JSON.

General words that record what two people agreed; local law and licensed practice decide what holds.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from galleries.imaging.rights.record import Licensor, Party, RightsRecord
from galleries.imaging.rights.vocabulary import DATA_MINING, MODEL_RELEASE, minor_code
from galleries.papers.codes import Code
from galleries.told import Told, Value, following, told

FORMAT, FORMAT_VERSION = "headshot-licence", 1

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
# What a licence may allow, and the PLUS constraint written when it does not.
ALTERATIONS: Mapping[str, tuple[str, str]] = {
    "crop": ("cropping", "AL-CRP"),
    "flip": ("flipping left and right", "AL-FLP"),
    "retouch": ("retouching", "AL-RET"),
    "colour": ("changing or adding colour", "AL-CLR"),
    "monochrome": ("turning into black and white", "AL-DCL"),
    "merge": ("merging with other pictures", "AL-MRG"),
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
class LicenceTerms:
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

    @property
    def holder(self) -> str:
        """Who receives the licence."""
        return self.licensee or self.subject

    @property
    def copyright_notice(self) -> str:
        """The copyright line; the year is that of the start unless given."""
        return f"© {self.copyright_year or self.starts.year} {self.photographer}. All rights reserved."

    def problems(self) -> list[Told]:
        """Every reason why these terms can't stand."""
        return _problems(self)

    def validate(self) -> None:
        """Raise BadTerms with every problem told."""
        problems = self.problems()
        if problems:
            raise BadTerms.of(problems)

    def sentences(self) -> list[str]:
        """The licence read back in plain English, in a fixed order, one fact a sentence."""
        return [
            *_who_and_what(self),
            *_how(self),
            *_release(self),
            *_mining(self),
            *[_addendum(self, item) for item in self.addenda],
        ]

    def to_rights(
        self,
        *,
        title: str = "",
        description: str = "",
        alt_text: str = "",
        job_id: str = "",
        digital_source_type: str = "digitalCapture",
        document_id: str = "",
        original_document_id: str = "",
        image_guid: str = "",
        captured_at: datetime | None = None,
    ) -> RightsRecord:
        """The metadata every file under this licence carries; what belongs to one picture is passed in."""
        owner = (Party(self.photographer),)
        supplier = self.studio or self.photographer
        return RightsRecord(
            creators=(self.photographer,),
            copyright_notice=self.copyright_notice,
            credit_line=self.credit_line or self.photographer,
            title=title,
            description=description,
            instructions=self._instructions(),
            job_id=job_id,
            usage_terms=" ".join(self.sentences()),
            marked=True,
            web_statement=self.web_statement,
            licensors=(Licensor(supplier, self.contact_email, self.contact_url, self.contact_telephone),),
            copyright_owners=owner,
            image_creators=owner,
            image_suppliers=(Party(supplier),),
            data_mining=self.data_mining,
            other_constraints=self.data_mining_constraint,
            model_release_status=self.model_release,
            model_release_ids=self.release_ids,
            minor_age=minor_code(self.minor_age) if self.is_minor and self.minor_age is not None else "",
            alteration_constraints=tuple(code for key, (_, code) in ALTERATIONS.items() if key not in self.alterations),
            license_start=self.starts,
            license_end=self.ends,
            license_id=f"{self.licence_id}/{self.version}",
            terms_text=f"Licence {self.licence_id}, version {self.version}; the licence sheet has its text.",
            terms_url=self.terms_url,
            persons=(self.subject,),
            alt_text=alt_text,
            digital_source_type=digital_source_type,
            document_id=document_id,
            original_document_id=original_document_id,
            image_guid=image_guid,
            captured_at=captured_at,
        )

    def to_json(self) -> str:
        """The machine-readable licence: versioned, sorted, with its sentences for people who open it."""
        body = {
            "format": FORMAT,
            "format_version": FORMAT_VERSION,
            "terms": dataclasses.asdict(self),
            "sentences": self.sentences(),
        }
        return json.dumps(body, indent=2, sort_keys=True, ensure_ascii=False, default=_iso) + "\n"

    @classmethod
    def from_json(cls, text: str) -> LicenceTerms:
        """The inverse of `to_json`; raises BadTerms naming what can't be read."""
        return _from_json(text)

    def _instructions(self) -> str:
        beyond = f"Any other use: ask {self.contact_email or self.studio or self.photographer} first."
        credit = f" Credit required: {self.credit_line}." if self.credit_required else ""
        return beyond + credit


def _problems(terms: LicenceTerms) -> list[Told]:
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


def _release_problems(terms: LicenceTerms) -> list[Told]:
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


def _who_and_what(terms: LicenceTerms) -> list[str]:
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


def _how(terms: LicenceTerms) -> list[str]:
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


def _release(terms: LicenceTerms) -> list[str]:
    sentences = ["Model release: " + _lower(MODEL_RELEASE_WORDS.get(terms.model_release, terms.model_release + "."))]
    if terms.release_read_by:
        sentences.append(f"The release was read by {terms.release_read_by}.")
    if terms.is_minor and terms.guardian:
        day = f", recorded on {spoken_day(terms.guardian_consent_on)}" if terms.guardian_consent_on else ""
        sentences.append(f"{terms.subject} is a minor; {terms.guardian} consented as parent or guardian{day}.")
    return sentences


def _mining(terms: LicenceTerms) -> list[str]:
    sentences = [DATA_MINING_WORDS.get(terms.data_mining, f"Data mining: {terms.data_mining}.")]
    if terms.data_mining_constraint:
        sentences.append(f"Constraint: {terms.data_mining_constraint.rstrip('.')}.")
    return sentences


def _addendum(terms: LicenceTerms, item: Addendum) -> str:
    uses = "; ".join(USES.get(use, use) for use in item.uses)
    until = f" until {spoken_day(item.until)}" if item.until else ""
    note = f" {item.note.rstrip('.')}." if item.note else ""
    return f"Addendum of {spoken_day(item.granted_on)}, asked for by {item.asked_by}: {uses}, allowed{until}.{note}"


def _from_json(text: str) -> LicenceTerms:
    try:
        body = json.loads(text)
        if body["format"] != FORMAT or body["format_version"] != FORMAT_VERSION:
            raise BadTerms(Code.FILE_FORMAT, format=str(body["format"]), version=str(body["format_version"]))
        terms: dict[str, Any] = dict(body["terms"])
        known = {field.name for field in dataclasses.fields(LicenceTerms)}
        if unknown := sorted(set(terms) - known):
            raise BadTerms(Code.FILE_UNKNOWN, terms=", ".join(unknown))
        for name in ("starts", "ends", "guardian_consent_on"):
            terms[name] = _to_day(terms.get(name))
        for name in ("uses", "alterations", "release_ids"):
            terms[name] = tuple(terms.get(name, ()))
        terms["addenda"] = tuple(_to_addenda(terms.get("addenda", ())))
        return LicenceTerms(**terms)
    except (KeyError, TypeError, AttributeError) as error:
        raise BadTerms(Code.FILE_INCOMPLETE, what=str(error)) from error
    except BadTerms:
        raise
    except ValueError as error:
        raise BadTerms(Code.FILE_UNREADABLE, what=str(error)) from error


def _to_addenda(items: Iterable[dict[str, Any]]) -> Iterable[Addendum]:
    for item in items:
        days = {"granted_on": date.fromisoformat(item["granted_on"]), "until": _to_day(item.get("until"))}
        yield Addendum(**{**item, **days, "uses": tuple(item["uses"])})


def _to_day(text: str | None) -> date | None:
    return date.fromisoformat(text) if text else None


def _iso(value: object) -> str:
    if isinstance(value, date):
        return value.isoformat()
    raise TypeError(f"{value!r} can't stand in a licence file")


def spoken_day(day: date) -> str:
    """A day in English words, whatever the machine's language."""
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"


def _lower(sentence: str) -> str:
    return sentence[0].lower() + sentence[1:]
