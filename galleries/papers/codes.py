"""Everything that papers can tell. `galleries.words.papers` has the sentence of each.

The licence and the print release themselves stand in English by decision: their wording counts.
"""

from __future__ import annotations

from enum import StrEnum


class Code(StrEnum):
    NOT_NAMED_LICENCE = "terms.not_named_licence"
    NOT_NAMED_PHOTOGRAPHER = "terms.not_named_photographer"
    NOT_NAMED_SUBJECT = "terms.not_named_subject"
    NOT_NAMED_TERRITORY = "terms.not_named_territory"
    USE = "terms.use"
    ALTERATION = "terms.alteration"
    NO_USE = "terms.no_use"
    ENDS_FIRST = "terms.ends_first"
    NO_CREDIT_LINE = "terms.no_credit_line"
    DATA_MINING = "terms.data_mining"
    NO_CONSTRAINT = "terms.no_constraint"
    MODEL_RELEASE = "terms.model_release"
    NOT_READ = "terms.not_read"
    RELEASE_NEEDED = "terms.release_needed"
    NO_GUARDIAN = "terms.no_guardian"
    NO_CONSENT_DAY = "terms.no_consent_day"
    AGE = "terms.age"
    NO_PRINTS = "terms.no_prints"
    FILE_FORMAT = "terms.file_format"
    FILE_UNKNOWN = "terms.file_unknown"
    FILE_INCOMPLETE = "terms.file_incomplete"
    FILE_UNREADABLE = "terms.file_unreadable"
