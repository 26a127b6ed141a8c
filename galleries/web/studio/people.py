"""Who is let into a sitting: invite, send the letter, show a link once, prolong, revoke."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from galleries.access import Visitor
from galleries.errors import BadInput, Missing
from galleries.models import Invite, Sitting
from galleries.steps.people import invite as invites
from galleries.steps.people import letters, mail, openings
from galleries.steps.planning import again, team
from galleries.web.doors import studio_page
from galleries.web.studio import letter_words, retoucher_words
from galleries.web.studio.forms import InviteForm, checked, whole

MOST_DAYS = 730


@studio_page()
@require_safe
def people(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    return _page(request, visitor, sitting)


def _page(
    request: HttpRequest, visitor: Visitor, sitting: Sitting, *, link: str = "", person: Invite | None = None
) -> HttpResponseBase:
    rows = [
        {
            "invite": one,
            "holds": one.holds(),
            "letters": one.letters.count(),
            "marks": one.voice.marks.count(),
            "retoucher": retoucher_words.of_invite(one, sitting) if one.is_retoucher else None,
        }
        for one in sitting.invites.select_related("passed_from").order_by("revoked_at", "pk")
    ]
    consent = not sitting.subject_is_minor or bool(sitting.guardian_consent_on and sitting.guardian_name.strip())
    context = {
        "sitting": sitting,
        "page": "studio-people",
        "rows": rows,
        "form": InviteForm(initial=_first(sitting)),
        "known": again.known_people(visitor.user, sitting) if visitor.user is not None else [],
        "team": [(one, Visitor(user=one).name) for one in team.could_work_on(sitting)],
        "works": set(sitting.colleagues.values_list("pk", flat=True)),
        "photographer": Visitor(user=sitting.photographer).name,
        "link": link,
        "person": person,
        "consent": consent,
    }
    return render(request, "galleries/studio/people.html", context)


def _first(sitting: Sitting) -> dict[str, str]:
    """The subject is invited first, by the name that the sitting has already."""
    if sitting.invites.filter(role=Invite.Role.SUBJECT).exists():
        return {}
    return {"role": Invite.Role.SUBJECT, "name": sitting.subject_name}


@studio_page()
@require_POST
def set_team(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    team.set_team(sitting, visitor, [whole(pk, _("colleague")) for pk in request.POST.getlist("colleague")])
    messages.success(request, _("Who of the studio works on it is kept."))
    return redirect("studio-people", slug=sitting.slug)


@studio_page()
@require_POST
def invite(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    values = checked(InviteForm(request.POST))
    person = invites.invite(
        sitting,
        values["role"],
        values["name"],
        values["email"],
        visitor,
        language=values["language"],
        may_pass_on=values["may_pass_on"],
        by_letter=values["letter"],
    )
    if values["letter"]:
        messages.success(request, letter_words.invited(person.name))
    else:
        messages.success(request, _("%s is invited. Show the link, or send the letter later.") % person.name)
    return _after_letter(sitting, person.letters.order_by("-pk").values_list("pk", flat=True).first())


def _after_letter(sitting: Sitting, letter_id: int | None) -> HttpResponseBase:
    """Where nobody gets it by mail, the letter itself is shown."""
    if letter_id is None or mail.goes_out():
        return redirect("studio-people", slug=sitting.slug)
    return redirect("studio-letter", slug=sitting.slug, letter_id=letter_id)


def _invite(sitting: Sitting, invite_id: int) -> Invite:
    person = sitting.invites.select_related("sitting").filter(pk=invite_id).first()
    if person is None:
        raise Missing(_("There is no such invite in this sitting."))
    return person


@studio_page()
@require_POST
def send_letter(request: HttpRequest, visitor: Visitor, sitting: Sitting, invite_id: int) -> HttpResponseBase:
    one = _invite(sitting, invite_id)
    if not one.holds():
        raise BadInput(_("This invite is revoked or expired; prolong it or invite anew."))
    letter = letters.invite_by_letter(one, visitor)
    messages.success(request, letter_words.going(one.name))
    return _after_letter(sitting, letter.pk)


@studio_page()
@require_POST
def show_link(request: HttpRequest, visitor: Visitor, sitting: Sitting, invite_id: int) -> HttpResponseBase:
    """A fresh link, on this page only: it is kept as a hash, and never shown again. If asked, it ends earlier ones."""
    one = _invite(sitting, invite_id)
    if not one.holds():
        raise BadInput(_("This invite is revoked or expired; prolong it or invite anew."))
    ends = request.POST.get("end") == "1"
    link = openings.replace(one, visitor) if ends else invites.new_link(one)
    return _page(request, visitor, sitting, link=link, person=one)


@studio_page()
@require_POST
def revoke(request: HttpRequest, visitor: Visitor, sitting: Sitting, invite_id: int) -> HttpResponseBase:
    one = _invite(sitting, invite_id)
    invites.revoke(one, visitor)
    kept = _("%s is shut out from now on. The marks are kept.")
    ended = _("%s is shut out from now on. What was sent in is kept; ask that the files are deleted.")
    messages.success(request, (ended if one.is_retoucher else kept) % one.name)
    return redirect("studio-people", slug=sitting.slug)


@studio_page()
@require_POST
def prolong(request: HttpRequest, visitor: Visitor, sitting: Sitting, invite_id: int) -> HttpResponseBase:
    days = whole(request.POST.get("days", ""), _("number of days"))
    if not 1 <= days <= MOST_DAYS:
        raise BadInput(_("An invite is prolonged by 1 to %d days.") % MOST_DAYS)
    one = _invite(sitting, invite_id)
    invites.prolong(one, days, visitor)
    messages.success(request, _("%s may come in for longer.") % one.name)
    return redirect("studio-people", slug=sitting.slug)


@studio_page()
@require_POST
def allow_pass_on(request: HttpRequest, visitor: Visitor, sitting: Sitting, invite_id: int) -> HttpResponseBase:
    invites.allow_pass_on(_invite(sitting, invite_id), request.POST.get("allowed") == "1", visitor)
    return redirect("studio-people", slug=sitting.slug)
