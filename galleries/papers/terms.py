"""A licence composed from trade terms: checked, read back as sentences, turned into metadata and JSON.

General words that record what two people agreed; local law and licensed practice decide what holds.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from galleries.imaging.rights.record import Licensor, Party, RightsRecord
from galleries.imaging.rights.vocabulary import minor_code
from galleries.papers import licence_wording
from galleries.papers.codes import Code
from galleries.papers.licence_fields import ALTERATIONS, Addendum, BadTerms, LicenceFields, problems_of
from galleries.told import Told

FORMAT, FORMAT_VERSION = "headshot-licence", 1


@dataclass(frozen=True)
class LicenceTerms(LicenceFields):
    """A licence as it is used: checked, read back, written into files."""

    def problems(self) -> list[Told]:
        """Every reason why these terms can't stand."""
        return problems_of(self)

    def validate(self) -> None:
        """Raise BadTerms with every problem told."""
        problems = self.problems()
        if problems:
            raise BadTerms.of(problems)

    def sentences(self) -> list[str]:
        """The licence read back in plain English, in a fixed order, one fact a sentence."""
        return licence_wording.sentences(self)

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
        for name in ("uses", "alterations", "release_ids", "clauses"):
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
