"""What a verb may answer instead of doing its work. Pages and commands show the sentence; one place maps the kinds."""

from __future__ import annotations

from galleries.told import Told
from galleries.words.told import sentence


class DomainError(Exception):
    """Base; `str(error)` is a whole sentence for the person who asked.

    Made of a sentence in their language, or of what was told by code and values: that can be kept, and read in another
    language later.
    """

    def __init__(self, reason: object) -> None:
        self.told = reason if isinstance(reason, Told) else Told("", {"text": str(reason)})
        super().__init__(reason)

    def __str__(self) -> str:
        return sentence(self.told)


class Missing(DomainError):
    """There is no such thing, or none that this person may know of."""


class Refused(DomainError):
    """The person knows of the thing but may not do this with it, or not now."""


class NotYet(Refused):
    """It will be theirs, but the sitting is not so far."""


class TooOften(Refused):
    """Too many tries at a door; after `seconds` it may be tried again."""

    def __init__(self, reason: object, seconds: int) -> None:
        self.seconds = seconds
        super().__init__(reason)


class Conflict(DomainError):
    """Somebody else changed the thing first, or its stage does not allow the act."""


class PriceChanged(Conflict):
    """What a person saw to be paid does not hold any more; they are shown what does, and asked again."""


class BadInput(DomainError):
    """What was sent makes no sense; the sentence names what and where."""
