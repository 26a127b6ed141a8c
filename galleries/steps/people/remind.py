"""A reminder by the photographer's hand, to whoever a day waits for; the clock's own are `posting.send_due`."""

from __future__ import annotations

from django.db import transaction
from django.utils.translation import gettext as _

from galleries.access import Act, Visitor, require
from galleries.errors import BadInput, Conflict
from galleries.models import JournalLine, Letter, Sitting, Verb
from galleries.steps.people import due, letters
from galleries.steps.people.due import REMINDED, What

KINDS = {What.PICKS: "reminder", What.ANSWERS: "answer"}


def remind(sitting: Sitting, by: Visitor, what: str) -> list[Letter]:
    """A letter to each of them, at most one a day by hand.

    Raises:
        Refused: only the photographer does.
        BadInput: nothing of the kind is reminded of.
        Conflict: nobody is waited for, or all of them were reminded today already.
    """
    require(by, Act.RUN, sitting, _("Only the photographer reminds."))
    if what not in REMINDED:
        raise BadInput(_("People are reminded of their picks, or of retouches that wait for their word."))
    wanted = next((one for one in due.of_sitting(sitting) if one.what == what), None)
    if wanted is None:
        raise Conflict(_("Nobody is waited for any more."))
    about = f"by-hand-{due.today(sitting).isoformat()}"
    with transaction.atomic():
        known = set(Letter.objects.filter(sitting=sitting, about=about).values_list("pk", flat=True))
        listed = letters.notify(sitting, KINDS[wanted.what], wanted.people, about=about)
        new = [letter for letter in listed if letter.pk not in known]
        if not new:
            raise Conflict(_("They were reminded today already."))
        for letter in new:
            name = letter.invite.name if letter.invite else ""
            JournalLine.write(sitting, by.who, Verb.LETTER, f"letter to {name}")
    return new
