"""Is what a letter says still so, at the moment it goes? Letter hours may hold one back for a night."""

from __future__ import annotations

from galleries.models import Letter, Round
from galleries.steps.people import asked, delivery_letter, plan_changes, removal_letter


def is_overtaken(letter: Letter) -> bool:
    """Has what happened since made a letter that did not go yet untrue: answered, through, closed, opened
    again, withdrawn or lapsed?"""
    person, sitting = letter.invite, letter.sitting
    match letter.kind:
        case removal_letter.KIND:
            return not removal_letter.is_current(letter)
        case plan_changes.KIND:
            return not plan_changes.of_letter(letter)
        case delivery_letter.KIND:
            return delivery_letter.is_past(letter)
        case "proofs":
            return not sitting.is_picking
        case "reminder":
            is_waited_for = person is not None and sitting.invites.still_marking().filter(pk=person.pk).exists()
            return not (sitting.is_picking and is_waited_for)
        case "retouch" | "answer":
            return person is None or not asked.unanswered(person)
        case "work" | "work_due":
            return person is None or not asked.to_retouch(person)
        case "closed" | "objected" | "paused":
            return _is_past(letter)
    return False


def round_of(letter: Letter) -> Round | None:
    """The round that a letter about the list is about."""
    number = letter.occasion.removeprefix("round-")
    if number == letter.occasion or not number.isdecimal():
        return None
    return letter.sitting.rounds.filter(number=int(number)).first()


def _is_past(letter: Letter) -> bool:
    """A letter of a closing: is the list open again? One of an opening: is it closed again?"""
    about = round_of(letter)
    if about is None:
        return False
    if letter.kind == "closed":
        return letter.sitting.rounds.filter(number__gt=about.number).exists()
    return about.closed_at is not None
