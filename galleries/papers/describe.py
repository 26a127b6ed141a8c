"""What a file says about its rights, in sentences, also for a file that comes back years later."""

from __future__ import annotations

from datetime import date

from galleries.imaging.rights import vocabulary as vocab
from galleries.imaging.rights.record import RightsFound, RightsRecord
from galleries.papers.terms import spoken_day as day


def rights_found_sentences(found: RightsFound, *, today: date | None = None) -> list[str]:
    """Sentences in reading order; `today` lets it say whether the term has run out."""
    if found.empty:
        said = ["The file says nothing about its rights.", *_warnings(found)]
    else:
        record = found.record
        said = [*_origin(record), *_licence(record, today), *_people(record), *_technical(record)]
        said += _warnings(found)
    return [_one_line(sentence) for sentence in said]


def _one_line(text: str) -> str:
    """Safe to show: a file may hold control characters that would steer a terminal."""
    return "".join(c if c.isprintable() else "\ufffd" for c in " ".join(text.split()))


def _origin(r: RightsRecord) -> list[str]:
    said = []
    if r.creators:
        said.append(f"Made by {_and(r.creators)}.")
    if r.copyright_notice:
        said.append(f"Copyright notice: {_end(r.copyright_notice)}")
    if r.copyright_owners:
        said.append(f"The copyright belongs to {_and(tuple(p.name or p.identifier for p in r.copyright_owners))}.")
    if r.marked is not None:
        said.append("It is marked as protected by rights." if r.marked else "It is marked as free of rights.")
    if r.credit_line:
        said.append(f"Credit line: {_end(r.credit_line)}")
    for label, text in (("Title", r.title), ("Description", r.description), ("Alternative text", r.alt_text)):
        said += [f"{label}: {_end(text)}"] if text else []
    return said


def _licence(r: RightsRecord, today: date | None) -> list[str]:
    said = []
    for label, text in (
        ("Usage terms", r.usage_terms),
        ("Instructions", r.instructions),
        ("Licence", r.license_id),
        ("Terms and conditions", r.terms_text),
        ("Terms are published at", r.terms_url),
        ("Rights are explained at", r.web_statement),
    ):
        said += [f"{label}: {_end(text)}"] if text else []
    if r.license_start:
        said.append(f"The licence starts on {day(r.license_start)}.")
    if r.license_end:
        over = ", which has passed" if today and today > r.license_end else ""
        said.append(f"The licence ends on {day(r.license_end)}{over}.")
    elif r.license_start:
        said.append("No end of the licence is stated.")
    for licensor in r.licensors:
        ways = [way for way in (licensor.email, licensor.telephone, licensor.url) if way]
        said.append(f"A licence is given by {licensor.name}" + (f" ({', '.join(ways)})." if ways else "."))
    if r.alteration_constraints:
        words = [vocab.ALTERATION.get(code, code) for code in r.alteration_constraints]
        said.append(f"Changes that are not allowed: {', '.join(words)}.")
    if r.data_mining:
        said.append(vocab.DATA_MINING.get(r.data_mining, f"Data mining: unknown code {r.data_mining}."))
    if r.other_constraints:
        said.append(f"Constraint: {_end(r.other_constraints)}")
    return said


def _people(r: RightsRecord) -> list[str]:
    said = []
    if r.persons:
        said.append(f"It shows {_and(r.persons)}.")
    if r.model_release_status:
        code = r.model_release_status
        said.append(vocab.MODEL_RELEASE.get(code, f"Model release: unknown code {code}."))
    if r.model_release_ids:
        said.append(f"Releases on file: {', '.join(r.model_release_ids)}.")
    if r.minor_age:
        said.append(vocab.MINOR_AGE.get(r.minor_age, f"Age disclosure: unknown code {r.minor_age}."))
    return said


def _technical(r: RightsRecord) -> list[str]:
    said = []
    if r.digital_source_type:
        code = r.digital_source_type
        said.append(vocab.SOURCE_TYPE.get(code, f"Kind of source: {_end(code)}"))
    if r.captured_at:
        said.append(f"Taken on {day(r.captured_at.date())} at {r.captured_at:%H:%M:%S} by the camera's clock.")
    for label, text in (
        ("Job", r.job_id),
        ("Document", r.document_id),
        ("Made from document", r.original_document_id),
        ("Picture", r.image_guid),
    ):
        said += [f"{label}: {text}."] if text else []
    return said


def _warnings(found: RightsFound) -> list[str]:
    said = [f"Caution: {_end(text)}" for text in (*found.disagreements, *found.problems)]
    said += [f"Caution: the file carries {what}." for what in found.private]
    if found.iim_digest == "stale":
        said.append("Caution: an older program changed the IIM block after the rest was written.")
    return said


def _and(items: tuple[str, ...]) -> str:
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} and {items[-1]}"


def _end(text: str) -> str:
    return text if text.endswith((".", "!", "?")) else text + "."
