"""A day of many sitters: set up from a list, its slates, its page, and what is shown and reminded together."""

from __future__ import annotations

import csv
import io
from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth.models import User
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import get_language, gettext_lazy, ngettext
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from galleries.access import Visitor
from galleries.errors import BadInput, Missing
from galleries.models import Day, Sitter, Sitting, Studio
from galleries.papers import slate
from galleries.steps.days import placing, planning, showing, sitters_list
from galleries.web.doors import signed_in, studio_page
from galleries.web.studio import letter_words
from galleries.web.studio.forms import MOST_FINALS


class NewDayForm(forms.Form):
    """The day, and its sitters as a file or typed."""

    name = forms.CharField(label=gettext_lazy("Name of the day"), max_length=planning.NAME_LENGTH)
    held_on = forms.DateField(
        label=gettext_lazy("Date"), required=False, widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    place = forms.CharField(label=gettext_lazy("Place"), max_length=120, required=False)
    allowance = forms.IntegerField(
        label=gettext_lazy("Finals included for each sitter"), min_value=0, max_value=MOST_FINALS
    )
    deadline = forms.DateField(
        label=gettext_lazy("Picks wanted by"),
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )
    file = forms.FileField(label=gettext_lazy("List of sitters (CSV)"), required=False)
    typed = forms.CharField(
        label=gettext_lazy("Or type them, one a line: name; e-mail; agent; agent's e-mail"),
        required=False,
        widget=forms.Textarea(attrs={"rows": 6}),
        max_length=sitters_list.MOST_BYTES,
    )

    def rows(self) -> list[sitters_list.Row]:
        """The sitters of the list. Raises `BadInput`, see `sitters_list.read`."""
        file = self.cleaned_data.get("file")
        return sitters_list.read(_text_of(file) if file else self.cleaned_data["typed"])


def _text_of(file: Any) -> str:
    if file.size > sitters_list.MOST_BYTES:
        raise BadInput(_("The list is too large; %d kB fit.") % (sitters_list.MOST_BYTES // 1000))
    return sitters_list.decoded(file.read())


@signed_in
@require_http_methods(["GET", "HEAD", "POST"])
def new_day(request: HttpRequest, user: User) -> HttpResponseBase:
    form = NewDayForm(request.POST or None, request.FILES or None, initial={"allowance": Studio.current().allowance})
    if request.method == "POST" and form.is_valid():
        values = form.cleaned_data
        try:
            common = {name: values[name] for name in ("place", "allowance", "deadline")}
            day = planning.make_day(user, values["name"], values["held_on"], form.rows(), **common)
        except BadInput as error:
            form.add_error("typed", str(error))
        else:
            messages.success(request, _("“%s” is set up. Print its slates, or show them on a phone.") % day.name)
            return redirect("studio-day", slug=day.holding.slug)
    status = 400 if request.method == "POST" else 200
    return render(request, "galleries/studio/new_day.html", {"form": form, "page": "studio"}, status=status)


def _context(visitor: Visitor, day: Day) -> dict[str, Any]:
    rows = showing.progress(day, visitor)
    return {
        "day": day,
        "sitting": day.holding,
        "rows": rows,
        "ready": sum(not one.is_shown and not one.lacks for one in rows),
        "shown": sum(one.is_shown for one in rows),
        "waits": sum(one.waits for one in rows),
        "unsorted": placing.unsorted(day),
        "coming": placing.on_their_way(day),
        "unread": placing.not_looked_at(day),
        "refused": day.holding.refusals.count(),
    }


@studio_page()
@require_safe
def day_page(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    day = planning.day_of(sitting)
    return render(request, "galleries/studio/day.html", {**_context(visitor, day), "page": "studio-day"})


@studio_page()
@require_POST
def add_sitters(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """More sitters, typed or from a file."""
    day = planning.day_of(sitting)
    file = request.FILES.get("file")
    rows = sitters_list.read(_text_of(file) if file else request.POST.get("typed", ""))
    added = planning.add_sitters(day, visitor, rows)
    sentence = ngettext("%d sitter is added.", "%d sitters are added.", len(added))
    messages.success(request, sentence % len(added))
    return redirect("studio-day", slug=sitting.slug)


def _slate_of(day: Day, sitter: Sitter) -> slate.Slate:
    return slate.Slate(sitter.sitting.subject_name, sitter.code, f"{day.name} · {sitter.position}")


@studio_page()
@require_safe
def slates_paper(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """All slates of the day as a PDF, A5, a page each."""
    day = planning.day_of(sitting)
    sitters = planning.sitters_for(visitor, day)
    if not sitters:
        raise Missing(_("There is no sitter in this day."))
    pages = slate.pages([_slate_of(day, one) for one in sitters], day.name, get_language() or "en")
    response = HttpResponse(pages, content_type="application/pdf")
    response.headers["Content-Disposition"] = f'inline; filename="slates-{sitting.slug}.pdf"'
    response.headers["Cache-Control"] = "private, no-store"
    return response


@studio_page()
@require_safe
def slate_page(request: HttpRequest, visitor: Visitor, sitting: Sitting, position: int) -> HttpResponseBase:
    """One slate on the whole screen of a phone or tablet, with those before and after it."""
    day = planning.day_of(sitting)
    sitters = planning.sitters_for(visitor, day)
    at = next((n for n, one in enumerate(sitters) if one.position == position), None)
    if at is None:
        raise Missing(_("There is no such sitter in this day."))
    path, side = slate.drawn(sitters[at].code)
    context = {
        "day": day,
        "sitting": sitting,
        "sitter": sitters[at],
        "slate": _slate_of(day, sitters[at]),
        "code": {"path": path, "side": side},
        "before": sitters[at - 1] if at else None,
        "after": sitters[at + 1] if at + 1 < len(sitters) else None,
    }
    return render(request, "galleries/studio/slate.html", context)


@studio_page()
@require_POST
def show(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """Show the proofs of all sittings that are ready, and invite their people."""
    shown = showing.show_all(planning.day_of(sitting), visitor)
    sentence = ngettext("The proofs of %d sitter are out.", "The proofs of %d sitters are out.", len(shown))
    messages.success(request, sentence % len(shown))
    letter_words.warn(request)
    return redirect("studio-day", slug=sitting.slug)


@studio_page()
@require_POST
def remind(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """A reminder to everybody of the day who is not through."""
    count = showing.remind(planning.day_of(sitting), visitor)
    messages.success(request, ngettext("%d reminder goes out.", "%d reminders go out.", count) % count)
    letter_words.warn(request)
    return redirect("studio-day", slug=sitting.slug)


@studio_page()
@require_safe
def day_list(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """How far everybody is, as CSV (RFC 4180) that no spreadsheet takes for formulas."""
    day = planning.day_of(sitting)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(
        ["position", "name", "e-mail", "agent", "agent e-mail", "frames", "marked", "through", "closed", "fetched"]
    )
    for one in showing.progress(day, visitor):
        sitter = one.sitter
        words = [sitter.sitting.subject_name, sitter.email, sitter.agent_name, sitter.agent_email]
        state = [one.frames, one.marked, "yes" if one.through else "no", "yes" if one.is_closed else "no", one.fetched]
        writer.writerow([sitter.position, *map(sitters_list.plain, words), *state])
    response = HttpResponse(out.getvalue(), content_type="text/csv; charset=utf-8")
    response.headers["Content-Disposition"] = f'attachment; filename="{sitting.slug}.csv"'
    response.headers["Cache-Control"] = "private, no-store"
    return response
