"""The plan as the people invited see it: looks, reference pictures, and what is said about them."""

from __future__ import annotations

from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from galleries import storage
from galleries.access import Act, Visitor, looks_shown_to, may
from galleries.errors import BadInput, Conflict, Missing
from galleries.models import Look, ReferencePicture, Sitting
from galleries.steps.people import deadlines, plan_changes
from galleries.steps.people import invite as invites
from galleries.steps.planning import sitting_plan
from galleries.web.calendar_file import calendar_file
from galleries.web.doors import invitee_page
from galleries.web.files import FOREVER, send
from galleries.web.invitee.page import key_in, page

MOST_BYTES = 30_000_000


@invitee_page(Act.SEE_PLAN)
@require_http_methods(["GET", "HEAD", "POST"])
def plan(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    if request.method == "POST":
        return _say(request, visitor, sitting)
    looks = list(looks_shown_to(visitor, sitting).prefetch_related("references", "plan_comments"))
    return page(
        request,
        visitor,
        sitting,
        "plan",
        looks=looks,
        references=sitting.references.filter(look=None),
        comments=sitting.plan_comments.filter(look=None),
        changes=plan_changes.of_person(visitor.invite) if visitor.invite else [],
        newest=plan_changes.newest_line(sitting),
        has_days=bool(deadlines.of_person(visitor, sitting)),
        may_comment=may(visitor, Act.COMMENT_PLAN, sitting),
    )


def _say(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """A comment, a reference picture, or one's own reference taken away again."""
    look = _look(visitor, sitting, request.POST.get("look", ""))
    if "remove" in request.POST:
        sitting_plan.remove_reference(visitor, _reference(visitor, sitting, request.POST["remove"]))
        messages.success(request, _("The picture is taken off the plan."))
    elif isinstance(upload := request.FILES.get("picture"), UploadedFile):
        if upload.size is None or upload.size > MOST_BYTES:
            raise BadInput(_("“%s” is larger than 30 MB; a smaller copy is enough for a reference.") % upload.name)
        sitting_plan.add_reference(visitor, sitting, upload.read(), caption=request.POST.get("caption", ""), look=look)
        messages.success(request, _("The picture is on the plan."))
    else:
        if "of" in request.POST and key_in(request.POST["of"]) != plan_changes.newest_line(sitting):
            raise Conflict(_("The plan was changed once more since this page was loaded. Look at it again first."))
        sitting_plan.comment(visitor, sitting, request.POST.get("text", ""), look=look)
        messages.success(request, _("Said. Everybody of this sitting can read it."))
    anchor = f"#look-{look.pk}" if look else "#all"
    return redirect(reverse("plan", args=[sitting.slug]) + anchor)


def _look(visitor: Visitor, sitting: Sitting, pk: str) -> Look | None:
    if not pk:
        return None
    look = looks_shown_to(visitor, sitting).filter(pk=key_in(pk)).first()
    if look is None:
        raise Missing(_("There is no such look in this sitting."))
    return look


def _reference(visitor: Visitor, sitting: Sitting, pk: str | int) -> ReferencePicture:
    picture = ReferencePicture.objects.select_related("sitting").filter(pk=key_in(str(pk)), sitting=sitting).first()
    if picture is None or (
        picture.look_id and not looks_shown_to(visitor, sitting).filter(pk=picture.look_id).exists()
    ):
        raise Missing(_("There is no such picture on the plan."))
    return picture


@invitee_page(Act.SEE_PLAN)
@require_safe
def deadlines_file(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    return calendar_file(request, deadlines.of_person(visitor, sitting), sitting.title)


@invitee_page(Act.SEE_PLAN)
@require_safe
def reference(request: HttpRequest, visitor: Visitor, sitting: Sitting, reference_id: int) -> HttpResponseBase:
    picture = _reference(visitor, sitting, reference_id)
    return send(request, storage.private(), picture.key, content_type="image/jpeg", cache=FOREVER)


@invitee_page(Act.PASS_ON)
@require_http_methods(["GET", "HEAD", "POST"])
def pass_on(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """An agent lets a colleague of the same agency write on the same shortlist."""
    if request.method == "POST":
        colleague = invites.pass_on(request.POST.get("name", ""), request.POST.get("email", ""), visitor)
        messages.success(
            request, _("A letter with a link goes to %s. You share one shortlist from now on.") % colleague.name
        )
        return redirect("pass-on", slug=sitting.slug)
    voice = visitor.invite.voice if visitor.invite else None
    sharing = [one for one in voice.passed_to.all() if one.holds()] if voice else []
    return page(request, visitor, sitting, "pass_on", sharing=sharing)
