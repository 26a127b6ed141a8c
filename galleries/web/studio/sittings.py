"""The studio's front: all sittings by stage, a new one, and one sitting's overview with its plan."""

from __future__ import annotations

from operator import itemgetter
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.models import User
from django.core.paginator import Paginator
from django.db.models import Case, Count, Exists, OuterRef, Q, QuerySet, Subquery, When
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from galleries import access, storage
from galleries.access import Visitor
from galleries.errors import BadInput, Missing
from galleries.models import Day, Frame, JournalLine, Look, Mark, Proof, ReferencePicture, Sitting, Studio
from galleries.models.journal import who_words
from galleries.sorting.eyes import CLOSED
from galleries.steps.agreeing import agree
from galleries.steps.keeping import erase, retention
from galleries.steps.people import deadlines, removal_letter
from galleries.steps.planning import again, sitting_plan
from galleries.steps.sorting import looks
from galleries.steps.sorting.contact import setup_lines
from galleries.web.calendar_file import calendar_file
from galleries.web.doors import signed_in, studio_page
from galleries.web.files import FOREVER, send
from galleries.web.studio import letter_words
from galleries.web.studio.desk_data import picture
from galleries.web.studio.forms import LookForm, NewSittingForm, SittingForm, whole
from galleries.web.studio.journal_words import line_of
from galleries.web.studio.waiting import waiting_in, waiting_in_each

LINES_A_PAGE = 100


@signed_in
@require_safe
def sittings(request: HttpRequest, user: User) -> HttpResponseBase:
    """All sittings by stage, with what is waiting for whom."""
    rows = list(
        access.sittings_of(user)
        .filter(day=None)
        .annotate(frame_count=Count("frames", distinct=True))
        .order_by("-held_on", "-pk")
    )
    strips, waits = film([sitting.pk for sitting in rows]), waiting_in_each(rows)
    groups: dict[str, list[dict[str, Any]]] = {}
    for sitting in rows:
        groups.setdefault(sitting.stage, []).append(
            {"sitting": sitting, "waiting": waits[sitting.pk], "film": strips.get(sitting.pk, [])}
        )
    stages = [(stage.label, groups[stage]) for stage in Sitting.Stage if stage in groups]
    days = sorted((one for one in rows if one.deadline and one.is_picking), key=lambda one: (one.deadline, one.pk))
    ours = [(one, item) for one in rows for item in waits[one.pk] if item.is_ours]
    context = {"stages": stages, "days": days, "ours": ours, "today": timezone.localdate(), "shoots": _days_of(user)}
    return render(request, "galleries/studio/sittings.html", context)


def _days_of(user: User) -> QuerySet[Day]:
    """The days of many sitters whose frames this user works on, each with the number of its sitters."""
    theirs = Day.objects.filter(holding__in=access.sittings_of(user).values("pk"))
    return theirs.select_related("holding").annotate(sitter_count=Count("sitters"))


@signed_in
@require_safe
def deadlines_file(request: HttpRequest, user: User) -> HttpResponseBase:
    """All that is due, for the photographer's own calendar."""
    return calendar_file(request, deadlines.of_studio(user), _("What is due"))


def film(sitting_ids: list[int]) -> dict[int, list[dict[str, Any]]]:
    """One frame of each look, per sitting, in the looks' order: one that the studio suggests, else one that somebody
    picked, else the first whose eyes are open. A fixed number of queries for all of them."""
    picked = Exists(Mark.objects.filter(frame=OuterRef("pk"), kind=Mark.Kind.PICK))
    closed = Q(reading__face__right_openness__lt=CLOSED) | Q(reading__face__left_openness__lt=CLOSED)
    rank = Case(When(suggested=True, then=0), When(picked, then=1), When(closed, then=3), default=2)
    shown = Frame.objects.unhidden().filter(look=OuterRef("pk")).exclude(proofs=None).order_by(rank, "pk")
    looks_of_them = Look.objects.filter(sitting__in=sitting_ids).annotate(one=Subquery(shown.values("pk")[:1]))
    ones = [pk for pk in looks_of_them.values_list("one", flat=True) if pk]
    frames = Frame.objects.filter(pk__in=ones).select_related("look").order_by("look__position", "pk")
    proofs = Proof.objects.newest_of(frame.pk for frame in frames)
    strips: dict[int, list[dict[str, Any]]] = {}
    for frame in frames:
        proof = proofs[frame.pk]
        row = {"look": frame.look, "small": picture(proof), "w": proof.small_width, "h": proof.small_height}
        strips.setdefault(frame.sitting_id, []).append(row)
    return strips


@signed_in
@require_http_methods(["GET", "HEAD", "POST"])
def new_sitting(request: HttpRequest, user: User) -> HttpResponseBase:
    form = NewSittingForm(request.POST or None, initial={"allowance": Studio.current().allowance})
    if request.method == "POST" and form.is_valid():
        sitting = sitting_plan.create_sitting(user, **form.cleaned_data)
        messages.success(
            request, _("“%s” is set up. Plan its looks, invite people, bring the frames in.") % sitting.title
        )
        return redirect("studio-sitting", slug=sitting.slug)
    status = 400 if request.method == "POST" else 200
    return render(request, "galleries/studio/new_sitting.html", {"form": form}, status=status)


@studio_page()
@require_safe
def overview(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    if sitting.is_holding and Day.objects.filter(holding=sitting).exists():
        return redirect("studio-day", slug=sitting.slug)
    planned = list(sitting.looks.annotate(frame_count=Count("frames")).prefetch_related("references", "plan_comments"))
    rows = [
        {"look": look, "setup": setup_lines(look), "comments": look.plan_comments.all(), "pictures": _pictures(look)}
        for look in planned
    ]
    context = {
        "sitting": sitting,
        "page": "studio-sitting",
        "waiting": waiting_in(sitting),
        "rows": rows,
        "film": film([sitting.pk]).get(sitting.pk, []),
        "references": sitting.references.filter(look=None),
        "comments": sitting.plan_comments.filter(look=None),
        "frame_count": sitting.frames.count(),
        "hidden_count": sitting.frames.filter(hidden=True).count(),
        "people": [one for one in sitting.invites.order_by("pk") if one.holds()],
        "can_publish": sitting.stage == Sitting.Stage.PLANNING,
    }
    return render(request, "galleries/studio/overview.html", context)


def _pictures(look: Look) -> list[ReferencePicture]:
    return list(look.references.all())


@studio_page()
@require_http_methods(["GET", "HEAD", "POST"])
def settings_page(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """Names, days, allowance, deadline, what invitees may decide, a minor's consent."""
    form = SittingForm(request.POST or None, instance=Sitting.objects.get(pk=sitting.pk))
    if request.method == "POST" and form.is_valid():
        sitting_plan.edit_sitting(sitting, visitor, **form.cleaned_data)
        messages.success(request, _("The settings are kept."))
        letter_words.plan_is_told(request, sitting)
        return redirect("studio-sitting", slug=sitting.slug)
    context = {"sitting": sitting, "page": "studio-settings", "form": form}
    status = 400 if request.method == "POST" else 200
    return render(request, "galleries/studio/settings.html", context, status=status)


@studio_page()
@require_http_methods(["GET", "HEAD", "POST"])
def keeping(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """Put away, brought back, removed for good (the sitting's short name must be typed)."""
    do = request.POST.get("do") if request.method == "POST" else ""
    if do == "away":
        retention.put_away(sitting, visitor)
    elif do == "back":
        retention.bring_back(sitting, visitor)
    elif do == "erase":
        if request.POST.get("slug", "").strip() != sitting.slug:
            raise BadInput(_("To remove the sitting for good, type its short name: %s") % sitting.slug)
        gone = erase.erase(sitting, visitor, request.POST.get("why", ""))
        messages.success(request, _("The sitting is removed. Frames: %(frames)d. Files: %(files)d.") % vars(gone))
        return redirect("studio")
    elif request.method == "POST":
        raise BadInput(_("A sitting is archived, brought back, or removed."))
    if do:
        return redirect("studio-keeping", slug=sitting.slug)
    told = removal_letter.told_at(sitting)
    context = {
        "sitting": sitting,
        "page": "studio-keeping",
        "away": sitting.stage == Sitting.Stage.ARCHIVED,
        "told_at": told,
        "goes_on": removal_letter.goes_on(sitting, told) if told is not None else None,
        "notice": settings.REMOVAL_NOTICE_DAYS,
    }
    return render(request, "galleries/studio/keeping.html", context)


@studio_page()
@require_POST
def publish(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """Show the proofs to the people invited; with a letter to each when asked."""
    by_letter = bool(request.POST.get("letter"))
    agree.publish(sitting, visitor, by_letter=by_letter)
    messages.success(request, _("The proofs are out."))
    if by_letter:
        letter_words.warn(request)
    return redirect("studio-set" if request.POST.get("from") == "set" else "studio-sitting", slug=sitting.slug)


@studio_page()
@require_POST
def add_look(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    title = request.POST.get("title", "").strip()
    if not title:
        raise BadInput(_("A look needs a title."))
    purpose = request.POST.get("purpose", Look.Purpose.CASTING)
    if purpose not in Look.Purpose.values:
        raise BadInput(_("A look is for casting or for the portfolio."))
    looks.new_look(sitting, title, visitor, purpose=purpose)
    letter_words.plan_is_told(request, sitting)
    return redirect("studio-sitting", slug=sitting.slug)


@studio_page()
@require_http_methods(["GET", "HEAD", "POST"])
def look_page(request: HttpRequest, visitor: Visitor, sitting: Sitting, look_id: int) -> HttpResponseBase:
    """One look: its name, purpose and set-up notes."""
    look = look_of(sitting, look_id)
    form = LookForm(request.POST or None, instance=Look.objects.get(pk=look.pk))
    if request.method == "POST" and form.is_valid():
        looks.edit_look(look, visitor, **form.cleaned_data)
        messages.success(request, _("“%s” is kept.") % look.title)
        letter_words.plan_is_told(request, sitting)
        return redirect("studio-setup", slug=sitting.slug)
    context = {"sitting": sitting, "page": "studio-setup", "look": look, "form": form}
    status = 400 if request.method == "POST" else 200
    return render(request, "galleries/studio/look.html", context, status=status)


@studio_page()
@require_POST
def copy_look(request: HttpRequest, visitor: Visitor, sitting: Sitting, look_id: int) -> HttpResponseBase:
    copy = again.copy_look(look_of(sitting, look_id), visitor)
    messages.success(request, _("“%s” is on the plan.") % copy.title)
    return redirect("studio-look", slug=sitting.slug, look_id=copy.pk)


@studio_page()
@require_POST
def copy_sitting(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """The settings and looks once more, under a title and days of their own."""
    copy = again.copy_sitting(sitting, visitor)
    messages.success(request, _("“%s” is set up. Give it its title and its days.") % copy.title)
    return redirect("studio-settings", slug=copy.slug)


@studio_page()
@require_POST
def remove_look(request: HttpRequest, visitor: Visitor, sitting: Sitting, look_id: int) -> HttpResponseBase:
    look = look_of(sitting, look_id)
    looks.remove_look(look, visitor)
    letter_words.plan_is_told(request, sitting)
    messages.success(request, _("“%s” is taken off the plan.") % look.title)
    return redirect("studio-sitting", slug=sitting.slug)


def look_of(sitting: Sitting, look_id: int) -> Look:
    look = sitting.looks.filter(pk=look_id).first()
    if look is None:
        raise Missing(_("There is no such look in this sitting."))
    return look


@studio_page()
@require_POST
def say(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """A comment on the plan or one of its looks."""
    wanted = request.POST.get("look")
    look = look_of(sitting, whole(wanted, _("look"))) if wanted else None
    sitting_plan.comment(visitor, sitting, request.POST.get("text", ""), look=look)
    return redirect("studio-sitting", slug=sitting.slug)


@studio_page()
@require_POST
def add_reference(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    upload = request.FILES.get("picture")
    if upload is None:
        raise BadInput(_("Choose a picture first."))
    wanted = request.POST.get("look")
    look = look_of(sitting, whole(wanted, _("look"))) if wanted else None
    caption = request.POST.get("caption", "")
    sitting_plan.add_reference(visitor, sitting, upload.read(), caption=caption, look=look)
    return redirect("studio-sitting", slug=sitting.slug)


@studio_page()
@require_POST
def remove_reference(request: HttpRequest, visitor: Visitor, sitting: Sitting, reference_id: int) -> HttpResponseBase:
    sitting_plan.remove_reference(visitor, _reference(sitting, reference_id))
    return redirect("studio-sitting", slug=sitting.slug)


@studio_page()
@require_safe
def reference_picture(request: HttpRequest, visitor: Visitor, sitting: Sitting, reference_id: int) -> HttpResponseBase:
    reference = _reference(sitting, reference_id)
    return send(request, storage.private(), reference.key, content_type="image/jpeg", cache=FOREVER)


def _reference(sitting: Sitting, reference_id: int) -> ReferencePicture:
    reference = sitting.references.filter(pk=reference_id).first()
    if reference is None:
        raise Missing(_("There is no such picture in this plan."))
    return reference


@studio_page()
@require_safe
def journal(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """Who did what when, newest first, a page at a time; of one kind or one person alone where asked."""
    lines = sitting.journal.order_by("-pk")
    verb, who = request.GET.get("verb", ""), request.GET.get("who", "")
    if verb:
        lines = lines.filter(verb=verb)
    if who:
        lines = lines.filter(who=who)
    at = Paginator(lines, LINES_A_PAGE).get_page(request.GET.get("page"))
    people = sitting.journal.order_by("who").values_list("who", flat=True).distinct()[:200]
    written = set(sitting.journal.order_by().values_list("verb", flat=True))
    verbs = sorted(((one, JournalLine(verb=one).verb_words) for one in written), key=itemgetter(1))
    context = {
        "sitting": sitting,
        "page": "studio-journal",
        "lines": [line_of(line) for line in at],
        "at": at,
        "who": who,
        "people": [(one, who_words(one)) for one in people],
        "verbs": verbs,
        "verb": verb,
    }
    return render(request, "galleries/studio/journal.html", context)


def text_file(name: str, content: str, content_type: str = "text/plain; charset=utf-8") -> HttpResponse:
    response = HttpResponse(content, content_type=content_type)
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    response.headers["Cache-Control"] = "private, no-store"
    return response
