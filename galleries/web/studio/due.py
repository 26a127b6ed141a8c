"""What is due, by day, across all sittings of whoever looks; and the one act there, a reminder."""

from __future__ import annotations

from itertools import groupby
from typing import Any

from django.contrib import messages
from django.contrib.auth.models import User
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST, require_safe

from galleries.access import Visitor
from galleries.models import Sitting
from galleries.steps.people import due, remind
from galleries.steps.people.due import REMINDED, Due, What
from galleries.web.doors import signed_in, studio_page
from galleries.web.studio import letter_words
from galleries.words.lists import listed

# What it is, and the page where it is seen to.
WORDS = {
    What.SITTING: (gettext_lazy("The sitting itself"), "studio-sitting"),
    What.PICKS: (gettext_lazy("Picks wanted"), "studio-lists"),
    What.ANSWERS: (gettext_lazy("Word on retouches wanted"), "studio-finals"),
    What.OBJECTION: (gettext_lazy("Time to object ends"), "studio-lists"),
    What.REMOVAL: (gettext_lazy("Kept until then"), "studio-keeping"),
}


@signed_in
@require_safe
def due_page(request: HttpRequest, user: User) -> HttpResponseBase:
    rows = due.of_studio(user)
    late = [_row(one) for one in rows if one.is_late]
    ahead = groupby((one for one in rows if not one.is_late), key=lambda one: one.on)
    context = {
        "page": "studio-due",
        "late": late,
        "days": [(day, [_row(one) for one in group]) for day, group in ahead],
        "today": timezone.localdate(),
    }
    return render(request, "galleries/studio/due.html", context)


def _row(one: Due) -> dict[str, Any]:
    words, page = WORDS[one.what]
    return {
        "due": one,
        "words": words,
        "page": page,
        "who": listed([person.name for person in one.people]),
        "reminds": one.what in REMINDED,
    }


@studio_page()
@require_POST
def remind_of(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """what = picks or answers."""
    written = remind.remind(sitting, visitor, request.POST.get("what", ""))
    messages.success(request, letter_words.going(listed([one.invite.name for one in written if one.invite])))
    return redirect("studio-due")
