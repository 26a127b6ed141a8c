"""What of the plan was changed since somebody of the sitting saw it, or last said something of it: told on the plan,
and by one letter once the photographer has stopped changing it.

What a fact was stands in the journal's line of its change, from the moment on that somebody has seen it; texts of
several lines do not: of them is only told that they were written anew.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.utils import timezone
from django.utils.formats import date_format, number_format
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from galleries.access import Act, Visitor, looks_shown_to, may
from galleries.models import Invite, JournalLine, Letter, Look, Sitting, Verb
from galleries.models.sittings import PICKING
from galleries.steps.people import letters

KIND = "plan"  # of its letter
RESTS = timedelta(minutes=5)
VERBS = (Verb.SETTINGS_CHANGED, Verb.LOOK_ADDED, Verb.LOOK_CHANGED, Verb.LOOK_REMOVED)
_STAGES = frozenset({Sitting.Stage.PLANNING, *PICKING})  # a closed list is beyond the plan
# After the sitting itself its day, place and looks are no plan any more.
_WHILE_PICKING = frozenset({"allowance", "deadline"})
_FACTS = {
    Sitting: _WHILE_PICKING | {"held_on", "place"},
    Look: frozenset(
        (
            *("title", "purpose", "treatment", "casting_kind", "wardrobe", "backdrop", "key_light", "fill", "rim"),
            *("modifier", "distance_cm", "gel"),
        )
    ),
}
_TEXTS = {Sitting: frozenset({"plan"}), Look: frozenset({"notes"})}


@dataclass(frozen=True)
class Change:
    """`look`: the title of the look it is of, '' for the whole sitting. `field`: of which model; '' where the look
    itself came (`now`) or went (`was`). A text that was written anew has neither `was` nor `now`."""

    look: str
    model: type[Sitting | Look]
    field: str = ""
    was: Any = None
    now: Any = None

    def __str__(self) -> str:
        """One sentence in the active language."""
        if not self.field:
            return (_("New look: %s") if self.now else _("No longer planned: %s")) % self.look
        column = self.model._meta.get_field(self.field)
        name = str(getattr(column, "verbose_name", self.field))
        about = f"{self.look}, {name}" if self.look else capfirst(name)
        if self.field in _TEXTS[self.model]:
            return _("%s: written anew") % about
        return _("%(about)s: %(now)s (before: %(was)s)") % {
            **{"about": about, "now": self._shown(self.now), "was": self._shown(self.was)}
        }

    def _shown(self, value: Any) -> str:
        if value in (None, ""):
            return _("nothing")
        if self.field in ("held_on", "deadline"):
            return date_format(date.fromisoformat(str(value)), "DATE_FORMAT")
        choices = dict(self.model._meta.get_field(self.field).flatchoices)  # type: ignore[union-attr]
        if value in choices:
            return str(choices[value])
        return number_format(value) if isinstance(value, int) else str(value)


def _kept(value: Any) -> Any:
    return value.isoformat() if isinstance(value, date) else value


def is_same(before: Any, after: Any) -> bool:
    """Are two values of a column the same? Forms send CR LF at each line's end (HTML standard, 4.10.22.4)."""
    if isinstance(before, str) and isinstance(after, str):
        return before.replace("\r\n", "\n") == after.replace("\r\n", "\n")
    return bool(before == after)


def readers(sitting: Sitting) -> list[Invite]:
    """Who may see the plan and has come in: to the others all of it is new."""
    people = sitting.invites.of_the_sheet().exclude(first_opened_at=None).select_related("passed_from", "sitting")
    return [one for one in people if one.holds() and may(Visitor(invite=one), Act.SEE_PLAN, sitting)]


def before(thing: Sitting | Look, values: dict[str, Any]) -> dict[str, Any]:
    """For the journal's line of a change: what these columns, and only they, held until then; {} where none is of the
    plan or nobody has seen it."""
    sitting = thing.sitting if isinstance(thing, Look) else thing
    kind = type(thing)
    is_planned = sitting.stage == Sitting.Stage.PLANNING
    if not (is_planned or (kind is Sitting and sitting.is_picking)) or not readers(sitting):
        return {}
    facts, texts = (_FACTS[kind], _TEXTS[kind]) if is_planned else (_WHILE_PICKING, frozenset())
    if isinstance(thing, Look) and thing.hidden:
        return {**_of(thing), "came": True} if "hidden" in values else {}
    was = {name: _kept(value) for name, value in values.items() if name in facts}
    written = sorted(texts & values.keys())
    if not was and not written:
        return {}
    return {"was": was, "written": written, **(_of(thing) if isinstance(thing, Look) else {})}


def came_or_went(look: Look, *, came: bool) -> dict[str, Any]:
    """For the journal's line of a look that is put on the plan, or taken off it."""
    if look.sitting.stage != Sitting.Stage.PLANNING or look.hidden or not readers(look.sitting):
        return {}
    return {**_of(look), "came": came}


def _of(look: Look) -> dict[str, Any]:
    return {"look": look.pk, "withheld": look.kept_from_representation}


def tell(sitting: Sitting, line: JournalLine) -> None:
    """In the transaction of the change: a letter to each reader whom it concerns, unless one is waiting to go."""
    if not line.detail.keys() & {"was", "came"}:
        return
    for person in readers(sitting):
        waits = person.letters.unsent().filter(kind=KIND).exists()
        if not waits and of_person(person, _told_until(person)):
            letters.notify(sitting, KIND, [person], about=f"line-{line.pk}")


def is_settled(sitting: Sitting) -> bool:
    """Was nothing of the plan changed for a while?"""
    lines = sitting.journal.filter(verb__in=VERBS, at__gt=timezone.now() - RESTS)
    return not any(line.detail.keys() & {"was", "came"} for line in lines)


def of_letter(letter: Letter) -> list[Change]:
    """What this letter has to tell: what an earlier one told is left out."""
    person = letter.invite
    return of_person(person, _told_until(person, letter)) if person is not None else []


def _told_until(person: Invite, but: Letter | None = None) -> datetime | None:
    earlier = person.letters.sent().filter(kind=KIND).exclude(pk=but.pk if but else 0)
    latest = earlier.order_by("-sent_at").values_list("sent_at", flat=True).first()
    return max(filter(None, (latest, seen_at(person))), default=None)


def seen_at(person: Invite) -> datetime | None:
    """When this person last said something of the plan, or came in for the first time; None: never."""
    last_word_at = person.plancomment_set.order_by("-created_at").values_list("created_at", flat=True).first()
    return last_word_at or person.first_opened_at


def newest_line(sitting: Sitting) -> int:
    """Names the plan's latest state: the number of the journal's line that told of a change last; 0: none did."""
    lines = sitting.journal.filter(verb__in=VERBS).order_by("-pk").values_list("pk", "detail")
    return next((pk for pk, detail in lines if detail.keys() & {"was", "came"}), 0)


def of_person(person: Invite, since: datetime | None = None) -> list[Change]:
    """What differs from what this person saw, in the plan as they may see it; what was changed back does not. Without
    `since`: from `seen_at` on."""
    since = since or seen_at(person)
    if since is None or person.sitting.stage not in _STAGES:
        return []
    lines = list(person.sitting.journal.filter(verb__in=VERBS, at__gt=since).order_by("pk"))
    if not person.is_subject:  # written while the look was kept from them: not theirs to read, then or later
        lines = [line for line in lines if not line.detail.get("withheld")]
    looks = {look.pk: look for look in looks_shown_to(Visitor(invite=person), person.sitting)}
    whole = [line for line in lines if line.verb == Verb.SETTINGS_CHANGED]
    changes = _differences(person.sitting, whole) if whole else []
    by_look: dict[int, list[JournalLine]] = {}
    for line in lines:
        if "look" in line.detail:
            by_look.setdefault(line.detail["look"], []).append(line)
    for pk, told in by_look.items():
        changes += _of_look(looks.get(pk), told)
    return [one for one in changes if person.sitting.stage == Sitting.Stage.PLANNING or one.field in _WHILE_PICKING]


def _of_look(look: Look | None, lines: list[JournalLine]) -> list[Change]:
    """`look`: None where this person does not see it."""
    is_new = any(line.detail.get("came") for line in lines)
    if look is None:  # one that is hidden or kept back since then goes without a word
        went = next((line for line in lines if line.verb == Verb.LOOK_REMOVED), None)
        return [Change(went.thing, Look, was=True)] if went is not None and not is_new else []
    return [Change(look.title, Look, now=True)] if is_new else _differences(look, lines)


def _differences(thing: Sitting | Look, lines: list[JournalLine]) -> list[Change]:
    """What the first of these lines says that it was, against what it is now."""
    title, kind = thing.title if isinstance(thing, Look) else "", type(thing)
    first: dict[str, Any] = {}
    for line in lines:
        for name, value in line.detail.get("was", {}).items():
            first.setdefault(name, value)
    changes = [
        Change(title, kind, name, first[name], _kept(getattr(thing, name)))
        for name in (column.name for column in kind._meta.fields)  # PostgreSQL keeps a line's own in another order
        if name in first and name in _FACTS[kind] and first[name] != _kept(getattr(thing, name))
    ]
    written = {name for line in lines for name in line.detail.get("written", [])} & _TEXTS[kind]
    return changes + [Change(title, kind, name) for name in sorted(written)]
