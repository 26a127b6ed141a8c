"""Words about letters: what each is about, and what becomes of it with mail set up as it is."""

from __future__ import annotations

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from galleries.models import Sitting
from galleries.steps.people import letters, mail, plan_changes

NO_LINK = gettext_lazy("(here stands the link, made when the letter goes and not kept)")


def kind(code: str) -> str:
    return capfirst(str(letters.KIND_WORDS.get(code, code)))


def where_it_lies(way: str = "") -> str:
    """Where mail is not set up: what became of a letter that counts as sent."""
    if (way or settings.MAIL) == mail.CONSOLE:
        return _("Mail is not set up: the letter was written into the program's log only.")
    return _("Mail is not set up: the letter lies in the folder %s and nobody has got it.") % settings.EMAIL_FILE_PATH


def where_letters_lie() -> str:
    """As `where_it_lies`, of letters to come."""
    if settings.MAIL == mail.CONSOLE:
        return _("Mail is not set up: letters are written into the program's log only.")
    return _("Mail is not set up: letters lie in the folder %s and reach nobody.") % settings.EMAIL_FILE_PATH


def invited(name: str) -> str:
    """Said after somebody was invited by letter."""
    if mail.goes_out():
        return _("%s is invited; the letter is on its way.") % name
    return _("%s is invited. Mail is not set up: hand the link over yourself.") % name


def warn(request: HttpRequest) -> None:
    """Said beside what a press did, where the letters that belong to it reach nobody."""
    if not mail.goes_out():
        messages.warning(request, where_letters_lie())


def plan_is_told(request: HttpRequest, sitting: Sitting) -> None:
    """Said beside a change of what people saw of the plan."""
    waiting = sitting.letters.unsent().filter(kind=plan_changes.KIND).select_related("invite")
    names = [letter.invite.name for letter in waiting if letter.invite is not None]
    if names:
        words = _("They saw the plan before and get a letter with what was and what is, once you are done: %s.")
        messages.info(request, words % ", ".join(names))
        warn(request)


def going(name: str) -> str:
    """Said after a press that sends one letter."""
    if mail.goes_out():
        return _("The letter to %s is on its way.") % name
    return _("The letter to %s is written, but mail is not set up: hand its link over yourself.") % name
