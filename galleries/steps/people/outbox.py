"""Letters of a sitting looked at and sent again: what each says, and one more of what was sent."""

from __future__ import annotations

from django.db import transaction
from django.utils.translation import gettext as _

from galleries.access import Act, Visitor, require
from galleries.errors import Conflict
from galleries.models import JournalLine, Letter, Verb
from galleries.steps import jobs
from galleries.steps.people import invite as invites
from galleries.steps.people import letters, overtaken, posting


def still_wanted(letter: Letter) -> bool:
    """May it go to whom it is for? Somebody shut out gets none, except the one that says so."""
    return letter.invite is None or letter.kind == "ended" or letter.invite.holds()


def send_again(letter: Letter, by: Visitor) -> Letter:
    """One more of a letter that went; one that did not go yet is tried at once instead. Returns what is to go.

    Raises:
        Refused: not this person's to do.
        Conflict: its invite is revoked or expired, or what it says is not so any more.
    """
    require(by, Act.RUN, letter.sitting, _("Letters are the photographer's to send."))
    if not still_wanted(letter):
        raise Conflict(_("This invite is revoked or expired; prolong it or invite anew."))
    if overtaken.is_overtaken(letter):
        raise Conflict(_("What this letter says is not so any more."))
    with transaction.atomic():
        if letter.sent_at is None:
            _try(letter, by)
            return letter
        if letter.kind == "invitation" and letter.invite is not None:
            return letters.list_invitation(letter.invite, by.who)
        return _one_more(letter, by)


def _try(letter: Letter, by: Visitor) -> None:
    _note(letter, by)
    jobs.ask_again(jobs.enqueue("letter", letter.pk, letter.sitting))


def _note(letter: Letter, by: Visitor) -> None:
    name = letter.invite.name if letter.invite else letter.to
    JournalLine.write(letter.sitting, by.who, Verb.LETTER, f"letter to {name}", kind=letter.kind)


def _one_more(letter: Letter, by: Visitor) -> Letter:
    about = letter.occasion + Letter.AGAIN
    same = Letter.objects.filter(sitting=letter.sitting, kind=letter.kind, to=letter.to, about__startswith=about)
    waiting = same.unsent().first()  # pressed twice: one letter, not two
    more = waiting or Letter(
        sitting=letter.sitting, invite=letter.invite, kind=letter.kind, to=letter.to, about=f"{about}{same.count() + 1}"
    )
    if waiting is None:
        more.save()
        _note(more, by)
    jobs.enqueue("letter", more.pk, letter.sitting, again=True)
    return more


def text_of(letter: Letter) -> str:
    """What it said; of one that did not go, or went before texts were kept, what it would say now.

    The first line is its subject. `posting.LINK` stands where its link was, which nobody keeps.
    """
    return letter.text if letter.sent_at and letter.text else posting.written(posting.message(letter, posting.LINK))


def text_with_link(letter: Letter, by: Visitor) -> tuple[str, str]:
    """What it says, with a fresh link in it, and that link: to be handed over by another way than the mail.

    Raises:
        Refused: not this person's to do.
        Conflict: its invite is revoked or expired, or it carries no link of somebody invited.
    """
    require(by, Act.RUN, letter.sitting, _("Letters are the photographer's to send."))
    if letter.invite is None or not letter.invite.holds():
        raise Conflict(_("This invite is revoked or expired; prolong it or invite anew."))
    link = invites.new_link(letter.invite)
    return text_of(letter).replace(posting.LINK, link), link
