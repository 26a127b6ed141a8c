"""What a retoucher accepts before they see or get anything: the photographer's words, else the house's."""

from __future__ import annotations

from dataclasses import dataclass

from django.db import transaction
from django.utils.translation import gettext as _

from galleries import stages
from galleries.access import Act, Visitor, one_line, require
from galleries.errors import BadInput, Conflict
from galleries.models import Invite, JournalLine, RetoucherAcceptance, Sitting, Verb
from galleries.models.retouchers import terms_written, wording_of


@dataclass(frozen=True)
class Terms:
    """The text as it is shown, and what names its wording in whatever language."""

    text: str
    wording: str


def house_terms() -> str:
    """Plain words to start from, no legal advice; in the reader's language. Raise `HOUSE_TERMS` when they change."""
    return "\n".join(
        (
            _("The pictures, the names and everything you learn of the people in them are confidential."),
            _(
                "Use the files for this retouch only. "
                "Show, pass on and publish nothing, also not as a sample of your work."
            ),
            _("Put nothing into a service that keeps what it is sent or learns from it."),
            _("Change no face beyond what the brief and the notes ask for."),
            _("When the work is done, or the studio ends it, delete the files and all copies of them."),
        )
    )


def terms_of(sitting: Sitting) -> Terms:
    return Terms(terms_written(sitting) or house_terms(), wording_of(sitting))


def accept(sitting: Sitting, by: Visitor, name: str, wording: str) -> RetoucherAcceptance:
    """Accept the terms by name; the words as they were shown are kept with it. A second time changes nothing.

    Raises:
        Refused: only a retoucher accepts them, once the list is closed.
        BadInput: no name.
        Conflict: other terms than those that were shown hold by now.
    """
    require(by, Act.ACCEPT_TERMS, sitting, _("The terms are the retoucher's to accept."))
    name, terms = one_line(name)[:120], terms_of(sitting)
    if not name:
        raise BadInput(_("Write your name under the terms."))
    if wording != terms.wording:
        raise Conflict(_("The studio changed the terms. Read them once more before you accept them."))
    with transaction.atomic():
        acceptance, is_new = RetoucherAcceptance.objects.get_or_create(
            sitting=sitting, invite=by.invite, wording=terms.wording, defaults={"name": name, "text": terms.text}
        )
        if is_new:
            stages.touch(sitting)
            JournalLine.write(sitting, by.who, Verb.RETOUCHER_TERMS_ACCEPTED, name, wording=terms.wording)
    return acceptance


def accepted(invite: Invite, sitting: Sitting) -> RetoucherAcceptance | None:
    """That this person accepted the terms of today; None as long as they did not."""
    return RetoucherAcceptance.objects.filter(invite=invite, sitting=sitting, wording=wording_of(sitting)).first()
