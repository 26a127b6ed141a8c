"""How long a sitting is kept, and putting it away when the work is over."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from galleries import stages
from galleries.access import Act, Visitor, require
from galleries.errors import BadInput, Conflict
from galleries.models import JournalLine, Sitting, Verb
from galleries.steps.keeping import inventory

Stage = Sitting.Stage
SOON_DAYS = 30


@dataclass(frozen=True)
class Keeping:
    """One sitting on the list of what is kept: how much it is and until when. `due`: past, soon, later or open."""

    sitting: Sitting
    files: int
    bytes: int
    due: str

    @property
    def sentence(self) -> str:
        until = self.sitting.keep_until
        about = {"sitting": self.sitting.slug, "files": self.files, "size": f"{self.bytes / 1e6:,.0f} MB", "day": until}
        return {
            "open": _("%(sitting)s: %(files)s files, %(size)s, kept without end."),
            "past": _("%(sitting)s: %(files)s files, %(size)s, the time is over, until %(day)s."),
            "soon": _("%(sitting)s: %(files)s files, %(size)s, the time is nearly over, until %(day)s."),
            "later": _("%(sitting)s: %(files)s files, %(size)s, kept, until %(day)s."),
        }[self.due if until else "open"] % about


def keeping(today: date | None = None) -> list[Keeping]:
    """Every sitting, those whose time is over first."""
    today = today or timezone.localdate()
    sittings = list(Sitting.objects.all())
    places = inventory.expected_of(sittings)
    rows = [_one(sitting, places[sitting.pk], today) for sitting in sittings]
    order = {"past": 0, "soon": 1, "later": 2, "open": 3}
    return sorted(rows, key=lambda row: (order[row.due], row.sitting.keep_until or date.max, row.sitting.slug))


def _one(sitting: Sitting, places: Collection[inventory.Place], today: date) -> Keeping:
    until = sitting.keep_until
    if until is None:
        due = "open"
    else:
        due = "past" if until < today else "soon" if (until - today).days <= SOON_DAYS else "later"
    size = sum(inventory.store(where).size(key) for where, key in places if inventory.store(where).exists(key))
    return Keeping(sitting, len(places), size, due)


def keep_until(sitting: Sitting, by: Visitor, day: date | None) -> None:
    """Until when the sitting is kept; None: without end. Afterwards the clock removes it, see `removal`.

    Raises:
        Refused: not this person's to do.
    """
    require(by, Act.RUN, sitting, _("How long a sitting is kept is the photographer's to say."))
    before = sitting.keep_until.isoformat() if sitting.keep_until else ""
    with transaction.atomic():
        Sitting.objects.filter(pk=sitting.pk).update(keep_until=day)
        JournalLine.write(sitting, by.who, Verb.KEPT_UNTIL, sitting.title, before, day.isoformat() if day else "")
    sitting.refresh_from_db()


def put_away(sitting: Sitting, by: Visitor) -> None:
    """To the archive: nobody but the studio sees it any more, and no frames come in.

    Raises:
        Refused: not this person's to do.
        Conflict: it is put away already.
    """
    require(by, Act.RUN, sitting, _("Only the sitting's photographer puts it away."))
    stages.advance(sitting, Stage.ARCHIVED, by, verb=Verb.PUT_AWAY)


def bring_back(sitting: Sitting, by: Visitor) -> None:
    """Out of the archive, to the stage it was in.

    Raises:
        Refused: not this person's to do.
        Conflict: it is not put away.
    """
    require(by, Act.RUN, sitting, _("Only the sitting's photographer brings it back."))
    if sitting.stage != Stage.ARCHIVED:
        raise Conflict(_("This sitting is not archived."))
    stages.advance(sitting, sitting.put_away_from or Stage.PLANNING, by, verb=Verb.BROUGHT_BACK)


def check_day(text: str) -> date:
    """A day typed by a person, as 2027-01-31. Raises `BadInput`."""
    try:
        return date.fromisoformat(text.strip())
    except ValueError as error:
        raise BadInput(_("“%s” is no day; write it as 2027-01-31.") % text) from error
