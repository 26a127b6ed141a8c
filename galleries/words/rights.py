"""What a file says about its rights, in the reader's language; also for a file that comes back years later."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from django.utils.formats import date_format
from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from galleries.imaging.rights import Party, RightsFound, RightsRecord
from galleries.words.lists import listed
from galleries.words.told import sentence

DATA_MINING: dict[str, str] = {
    "DMI-UNSPECIFIED": _("Nothing is said about data mining."),
    "DMI-ALLOWED": _("Data mining is allowed."),
    "DMI-PROHIBITED": _("Data mining of any kind is prohibited, training of AI included."),
    "DMI-PROHIBITED-AIMLTRAINING": _("Data mining to train AI or machine learning is prohibited."),
    "DMI-PROHIBITED-GENAIMLTRAINING": _("Data mining to train generative AI is prohibited."),
    "DMI-PROHIBITED-EXCEPTSEARCHENGINEINDEXING": _("Data mining is prohibited, except for search engines."),
    "DMI-PROHIBITED-SEECONSTRAINT": _("Data mining is prohibited except as the constraint allows."),
    "DMI-PROHIBITED-SEEEMBEDDEDRIGHTSEXPR": _("Data mining only as the rights expression in the file allows."),
    "DMI-PROHIBITED-SEELINKEDRIGHTSEXPR": _("Data mining only as the linked rights expression allows."),
}
MODEL_RELEASE: dict[str, str] = {
    "MR-NON": _("No model release is on file."),
    "MR-NAP": _("A model release does not apply."),
    "MR-UMR": _("A model release without limits has been read and is on file."),
    "MR-LMR": _("A model release is on file, limited or incomplete."),
}
AGES: dict[str, str] = {
    "AG-UNK": _("The age of the youngest person shown is not known."),
    "AG-A25": _("The youngest person shown was 25 or over."),
    "AG-U14": _("The youngest person shown was 14 or under."),
}
AGE = _("The youngest person shown was %(age)s.")
ALTERATION: dict[str, str] = {
    "AL-CRP": _("no cropping"),
    "AL-FLP": _("no flipping"),
    "AL-RET": _("no retouching"),
    "AL-CLR": _("no colourising"),
    "AL-DCL": _("no removal of colour"),
    "AL-MRG": _("no merging with other pictures"),
}
SOURCE_TYPE: dict[str, str] = {
    "digitalCapture": _("Taken by a camera."),
    "computationalCapture": _("Made by a camera out of several exposures or sensors."),
    "negativeFilm": _("Scanned from a film negative."),
    "positiveFilm": _("Scanned from film."),
    "print": _("Scanned from a print."),
    "humanEdits": _("Taken by a camera and retouched by a person, without generative tools."),
    "algorithmicallyEnhanced": _("Enhanced by a program without generative tools."),
    "compositeCapture": _("Composed of several camera pictures."),
    "compositeWithTrainedAlgorithmicMedia": _("Edited with a generative tool."),
    "trainedAlgorithmicMedia": _("Made by a generative tool."),
    "compositeSynthetic": _("A composite with parts that no camera took."),
    "algorithmicMedia": _("Made by a program from rules."),
    "digitalCreation": _("Drawn by a person with digital tools."),
    "virtualRecording": _("Recorded from a virtual scene."),
    "screenCapture": _("A picture of a screen."),
    "composite": _("A composite of several parts."),
}


def rights_sentences(reading: RightsFound, *, today: date | None = None) -> list[str]:
    """Sentences in reading order; `today` lets it say whether the term has run out."""
    if reading.empty:
        sentences = [gettext("The file says nothing about its rights."), *_warnings(reading)]
    else:
        record = reading.record
        sentences = [*_origin(record), *_licence(record, today), *_people(record), *_technical(record)]
        sentences += _warnings(reading)
    sentences += [f"{name}: {', '.join(texts)}" for name, texts in reading.further]
    return [_one_line(line) for line in sentences]


def _one_line(text: str) -> str:
    """Safe to show: a file may hold control characters that would steer a terminal."""
    return "".join(c if c.isprintable() else "\ufffd" for c in " ".join(text.split()))


def _origin(r: RightsRecord) -> list[str]:
    sentences = []
    if r.creators:
        sentences.append(gettext("Made by %s.") % listed(list(r.creators)))
    if r.copyright_notice:
        sentences.append(gettext("Copyright notice: %s") % _end(r.copyright_notice))
    if r.copyright_owners:
        sentences.append(gettext("The copyright belongs to %s.") % _parties(r.copyright_owners))
    if r.image_creators:
        sentences.append(gettext("Recorded as its creator: %s.") % _parties(r.image_creators))
    if r.image_suppliers:
        sentences.append(gettext("Supplied by %s.") % _parties(r.image_suppliers))
    if r.marked is not None:
        protected = gettext("It is marked as protected by rights.")
        sentences.append(protected if r.marked else gettext("It is marked as free of rights."))
    if r.credit_line:
        sentences.append(gettext("Credit line: %s") % _end(r.credit_line))
    if r.title:
        sentences.append(gettext("Title: %s") % _end(r.title))
    if r.description:
        sentences.append(gettext("Description: %s") % _end(r.description))
    if r.alt_text:
        sentences.append(gettext("Description for people who cannot see it: %s") % _end(r.alt_text))
    return sentences


def _parties(parties: Sequence[Party]) -> str:
    """Names with their identifiers, or whichever of the two there is."""
    return listed([_identified(party.name, party.identifier) for party in parties])


def _identified(name: str, identifier: str) -> str:
    number = gettext("identifier %s") % identifier if identifier else ""
    return f"{name} ({number})" if name and number else name or number


def _licence(r: RightsRecord, today: date | None) -> list[str]:
    texts = (
        (gettext("Usage terms: %s"), r.usage_terms),
        (gettext("Instructions: %s"), r.instructions),
        (gettext("Licence: %s"), r.license_id),
        (gettext("Terms and conditions: %s"), r.terms_text),
        (gettext("Terms are published at: %s"), r.terms_url),
        (gettext("Rights are explained at: %s"), r.web_statement),
    )
    sentences = [words % _end(text) for words, text in texts if text]
    sentences += _term(r, today)
    for licensor in r.licensors:
        number = gettext("identifier %s") % licensor.identifier if licensor.identifier else ""
        ways = [way for way in (licensor.email, licensor.telephone, licensor.url, number) if way]
        about = f"{licensor.name} ({', '.join(ways)})" if ways else licensor.name
        sentences.append(gettext("A licence is given by %s.") % about)
    if r.alteration_constraints:
        words = [gettext(ALTERATION[code]) if code in ALTERATION else code for code in r.alteration_constraints]
        sentences.append(gettext("Changes that are not allowed: %s.") % ", ".join(words))
    if r.data_mining:
        unknown = gettext("Data mining: unknown code %s.") % r.data_mining
        sentences.append(gettext(DATA_MINING[r.data_mining]) if r.data_mining in DATA_MINING else unknown)
    if r.other_constraints:
        sentences.append(gettext("Constraint: %s") % _end(r.other_constraints))
    return sentences


def _term(r: RightsRecord, today: date | None) -> list[str]:
    sentences = []
    if r.license_start:
        sentences.append(gettext("The licence starts on %s.") % date_format(r.license_start))
    if r.license_end:
        over = today is not None and today > r.license_end
        words = gettext("The licence ended on %s.") if over else gettext("The licence ends on %s.")
        sentences.append(words % date_format(r.license_end))
    elif r.license_start:
        sentences.append(gettext("No end of the licence is stated."))
    return sentences


def _people(r: RightsRecord) -> list[str]:
    sentences = []
    if r.persons:
        sentences.append(gettext("It shows %s.") % listed(list(r.persons)))
    if r.model_release_status:
        code = r.model_release_status
        unknown = gettext("Model release: unknown code %s.") % code
        sentences.append(gettext(MODEL_RELEASE[code]) if code in MODEL_RELEASE else unknown)
    if r.model_release_ids:
        sentences.append(gettext("Releases on file: %s.") % ", ".join(r.model_release_ids))
    if r.minor_age:
        sentences.append(_age(r.minor_age))
    return sentences


def _age(code: str) -> str:
    if code in AGES:
        return gettext(AGES[code])
    if code.removeprefix("AG-A").isdecimal():
        return gettext(AGE) % {"age": code.removeprefix("AG-A")}
    return gettext("Age disclosure: unknown code %s.") % code


def _technical(r: RightsRecord) -> list[str]:
    sentences = []
    if r.digital_source_type:
        code = r.digital_source_type
        sentences.append(
            gettext(SOURCE_TYPE[code]) if code in SOURCE_TYPE else gettext("Kind of source: %s") % _end(code)
        )
    if r.captured_at:
        values = {"day": date_format(r.captured_at.date()), "time": f"{r.captured_at:%H:%M:%S}"}
        sentences.append(gettext("Taken on %(day)s at %(time)s by the camera's clock.") % values)
    texts = (
        (gettext("Job: %s"), r.job_id),
        (gettext("Document: %s"), r.document_id),
        (gettext("Made from document: %s"), r.original_document_id),
        (gettext("Picture: %s"), r.image_guid),
    )
    return [*sentences, *(words % _end(text) for words, text in texts if text)]


def _warnings(reading: RightsFound) -> list[str]:
    caution = gettext("Caution: %s")
    sentences = [caution % sentence(one) for one in (*reading.disagreements, *reading.problems, *reading.private)]
    if reading.iim_digest == "stale":
        sentences.append(caution % gettext("An older program changed the IIM block after the rest was written."))
    return sentences


def _end(text: str) -> str:
    return text if text.endswith((".", "!", "?")) else text + "."
