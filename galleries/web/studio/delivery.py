"""Deliveries in the studio: sizes chosen, the licence composed and read back, the work asked for, receipts read."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

from django.contrib import messages
from django.db.models import prefetch_related_objects
from django.http import HttpRequest, HttpResponseBase, JsonResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from galleries import access, storage
from galleries.access import Act, Visitor
from galleries.errors import BadInput, Missing
from galleries.models import DeliveredFile, Delivery, DeliverySize, Final, Sitting, Verb
from galleries.papers.licence_fields import ALTERATIONS, USES
from galleries.papers.terms import LicenceTerms
from galleries.steps.agreeing import agree
from galleries.steps.delivering import (
    cut,
    groups,
    lab_profile,
    licences,
    offer,
    orders,
    payment,
    pixels,
    receipts,
    receivers,
    sizes,
)
from galleries.steps.finishing import approvals
from galleries.web.doors import studio_page
from galleries.web.files import noted, send
from galleries.web.licence_columns import ALTERATION_WORDS
from galleries.web.studio import letter_words, pixel_words
from galleries.web.studio.forms import days_from, whole
from galleries.web.use_words import USE_WORDS
from galleries.words.rights import DATA_MINING, MODEL_RELEASE
from galleries.words.told import sentences

MOST_PROFILE_BYTES = 4_000_000
USUAL_DAYS = 90


@studio_page()
@require_http_methods(["GET", "HEAD", "POST"])
def delivery_page(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """What was delivered and what could be. A POST shows the crops of the sizes sent, and writes nothing; it is no GET
    because the same form holds a passcode."""
    listed = agree.listed(sitting)
    prefetch_related_objects(listed, "versions__approvals", "crops")
    licence = licences.current(sitting)
    offered = sizes.offered()
    deliveries = list(sitting.deliveries.select_related("licence").order_by("-number"))
    as_before = _as_before(deliveries[0] if deliveries else None, offered)
    wanted: list[DeliverySize] = []
    if request.method == "POST":
        chosen = {whole(pk, _("size")) for pk in request.POST.getlist("size")}
        wanted = [size for size in offered if size.pk in chosen]
        if not wanted:
            raise BadInput(_("Choose at least one size."))
        as_before |= {"slugs": {size.slug for size in wanted}, "days": request.POST.get("days", "")}
    context = {
        "sitting": sitting,
        "page": "studio-delivery",
        "finals": listed,
        "few_pixels": _few_pixels_of(listed, [size for size in offered if size.slug in as_before["slugs"]]),
        "ready": sum(final.is_ready for final in listed),
        "undelivered": [final.frame.label for final in sitting.finals.undelivered().select_related("frame")],
        "unready": [(final, approvals.waiting_for([final])[0]) for final in listed if not final.is_ready],
        "unsaid": [final.frame.label for final in orders.undeclared(listed)],
        "licence": licence,
        "sentences": licences.terms_of(licence).sentences() if licence else [],
        "acceptances": licence.acceptances.all() if licence else [],
        "groups": groups.of_sizes(offered),
        "preview": [(final, _crops_of(sitting, final, wanted)) for final in listed] if wanted else [],
        "as_before": as_before,
        "deliveries": [_delivery_row(one) for one in deliveries],
        "holding": payment.holding(sitting),
        "open": sitting.stage in {Sitting.Stage.FINISHING, Sitting.Stage.DELIVERED},
    }
    return render(request, "galleries/studio/delivery.html", context)


def _crops_of(sitting: Sitting, final: Final, wanted: list[DeliverySize]) -> list[dict[str, Any]]:
    """Each crop as it would be cut, and what is to be looked at in it."""
    return [
        {
            "title": crop.size.shown_title,
            "slug": crop.size.slug,
            "src": reverse("studio-crop-preview", args=[sitting.slug, final.pk, crop.size.slug]),
            "warnings": cut.warnings(crop),
        }
        for crop in cut.shown(final, wanted)
    ]


def _as_before(last: Delivery | None, offered: list[DeliverySize]) -> dict[str, Any]:
    """What the form starts from: the delivery before, else the studio's own choice."""
    if last is None:
        return {"slugs": {size.slug for size in offered if size.chosen_first}, "days": USUAL_DAYS, "passcode_of": None}
    days = round((last.expires_at - last.created_at) / timedelta(days=1)) if last.expires_at else None
    return {"slugs": set(last.sizes), "days": days, "passcode_of": last.number if last.passcode_hash else None}


def _delivery_row(delivery: Delivery) -> dict[str, Any]:
    files = list(delivery.files.all())
    fetches = [{"receipt": one, "complete": receipts.complete(one)} for one in delivery.receipts.all()]
    return {
        "delivery": delivery,
        "done": len(files),
        "of": len(delivery.orders),
        "files": files,
        "receipts": fetches,
        "unfetched": _who_has_not_fetched(delivery),
        "problem": offer.problem_of(delivery),
        "bytes": sum(file.bytes for file in files),
        "changed": [(name, ", ".join(why)) for name, why in orders.why_changed(delivery).items()]
        if delivery.changed_only
        else [],
    }


def _who_has_not_fetched(delivery: Delivery) -> list[str]:
    """Of a delivery that can be fetched: who may, and has fetched no file of it."""
    if delivery.state != Delivery.State.READY:
        return []
    came = {one.invite_id for one in delivery.receipts.all()}
    return [one.name for one in receivers.of(delivery) if one.holds() and one.pk not in came]


@studio_page()
@require_http_methods(["GET", "HEAD", "POST"])
def licence_page(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """Terms chosen and read back as sentences; a licence once written is never changed, only followed by another."""
    terms = licences.draft(sitting)
    if request.method == "POST":
        terms = _terms_from(request.POST, terms)
        if "write" in request.POST:
            licence = licences.compose(sitting, terms, visitor)
            messages.success(request, _("Licence %d is written.") % licence.number)
            return redirect("studio-delivery", slug=sitting.slug)
    context = {
        "sitting": sitting,
        "page": "studio-delivery",
        "terms": terms,
        "uses": [(key, words, key in terms.uses) for key, words in USE_WORDS.items()],
        "alterations": [(key, ALTERATION_WORDS[key], key in terms.alterations) for key in ALTERATIONS],
        "mining": [(code, _(words)) for code, words in DATA_MINING.items()],
        "releases": [(code, _(words)) for code, words in MODEL_RELEASE.items() if code != "MR-NAP"],
        "sentences": terms.sentences(),
        "problems": sentences(terms.problems()),
    }
    return render(request, "galleries/studio/licence.html", context)


def _terms_from(post: QueryDict, base: LicenceTerms) -> LicenceTerms:
    text: dict[str, Any] = {
        name: " ".join(post.get(name, "").split())
        for name in (
            *("licensee", "representation", "territory", "credit_line", "release_read_by"),
            *("data_mining", "data_mining_constraint", "model_release"),
        )
    }
    age = post.get("minor_age", "").strip()
    return replace(
        base,
        **text,
        uses=tuple(key for key in USES if key in post.getlist("uses")),
        alterations=tuple(key for key in ALTERATIONS if key in post.getlist("alterations")),
        starts=_day(post.get("starts", "")) or base.starts,
        ends=_day(post.get("ends", "")),
        exclusive=bool(post.get("exclusive")),
        credit_required=bool(post.get("credit_required")),
        resale=bool(post.get("resale")),
        release_ids=tuple(part.strip() for part in post.get("release_ids", "").split(",") if part.strip()),
        minor_age=whole(age, _("age")) if age else None,
    )


def _day(text: str) -> date | None:
    if not text.strip():
        return None
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise BadInput(_("“%s” is not a day.") % text) from None


@studio_page()
@require_POST
def prepare(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    chosen = [whole(pk, _("size")) for pk in request.POST.getlist("size")]
    wanted = list(DeliverySize.objects.filter(pk__in=chosen))
    licence = licences.current(sitting)
    if licence is None:
        raise BadInput(_("Write the licence first; every file carries it."))
    days = days_from(request.POST.get("days", ""))
    offer.until(days)  # a day that is none is said before anything is asked
    few_pixels = _few_pixels(agree.listed(sitting), wanted)
    if few_pixels and request.POST.get("few_pixels") != _state(few_pixels):
        return _ask_about(request, sitting, few_pixels)
    delivery = orders.prepare(
        sitting,
        wanted,
        licence,
        visitor,
        changed_only=bool(request.POST.get("changed_only")),
        partial=bool(request.POST.get("partial")),
        passcode=request.POST.get("passcode", ""),
        passcode_as_before=bool(request.POST.get("passcode_as_before")),
        days=days,
    )
    messages.success(request, _("Delivery %d is being made.") % delivery.number)
    return redirect("studio-delivery", slug=sitting.slug)


def _few_pixels_of(finals: list[Final], wanted: list[DeliverySize]) -> list[tuple[Final, str]]:
    short = pixels.of_finals([final for final in finals if final.is_ready], wanted)
    return [(final, pixel_words.line(lacks)) for final, lacks in short.items()]


def _few_pixels(finals: list[Final], wanted: list[DeliverySize]) -> list[tuple[str, str]]:
    """What the finals that would go out lack, for pages."""
    return pixel_words.lines(pixels.of_finals([final for final in finals if final.is_ready], wanted))


def _state(few_pixels: list[tuple[str, str]]) -> str:
    """What somebody has seen when they said 'all the same': another shortage is asked about anew."""
    return hashlib.sha256(json.dumps(few_pixels).encode()).hexdigest()


def _ask_about(request: HttpRequest, sitting: Sitting, few_pixels: list[tuple[str, str]]) -> HttpResponseBase:
    passed = ("size", "passcode", "passcode_as_before", "days", "changed_only", "partial")
    context = {
        "sitting": sitting,
        "page": "studio-delivery",
        "few_pixels": few_pixels,
        "state": _state(few_pixels),
        "asked": [(name, value) for name in passed for value in request.POST.getlist(name)],
    }
    return render(request, "galleries/studio/few_pixels.html", context)


@studio_page()
@require_POST
def lab_profile_of(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """The lab's ICC profile for the prints of this sitting: given as a file, or taken back."""
    if request.POST.get("do") == "back":
        lab_profile.take_back(sitting, visitor)
        return redirect("studio-delivery", slug=sitting.slug)
    upload = request.FILES.get("profile")
    if upload is None or (upload.size or 0) > MOST_PROFILE_BYTES:
        raise BadInput(_("Choose the lab's ICC file, of at most %d MB.") % (MOST_PROFILE_BYTES // 10**6))
    name = lab_profile.give(sitting, visitor, upload.read())
    messages.success(request, _("Prints are made in “%s” from now on.") % name)
    return redirect("studio-delivery", slug=sitting.slug)


def _delivery(visitor: Visitor, sitting: Sitting, delivery_id: int) -> Delivery:
    delivery = access.delivery_for(visitor, Act.RUN, delivery_id)
    if delivery.sitting_id != sitting.pk:
        raise Missing(_("There is no such delivery in this sitting."))
    return delivery


@studio_page()
@require_safe
def progress(request: HttpRequest, visitor: Visitor, sitting: Sitting, delivery_id: int) -> HttpResponseBase:
    """How far a delivery is, for the page that waits for it."""
    delivery = _delivery(visitor, sitting, delivery_id)
    return JsonResponse(
        {
            "state": delivery.state,
            "words": delivery.get_state_display(),
            "done": delivery.files.count(),
            "of": len(delivery.orders),
            "problem": offer.problem_of(delivery),
        }
    )


@studio_page()
@require_POST
def change(request: HttpRequest, visitor: Visitor, sitting: Sitting, delivery_id: int) -> HttpResponseBase:
    """do = send, withdraw, offer (with days) or again."""
    delivery, do = _delivery(visitor, sitting, delivery_id), request.POST.get("do")
    if do == "send":
        offer.send(delivery, visitor)
        messages.success(request, _("Delivery %d is sent.") % delivery.number)
        letter_words.warn(request)
    elif do == "withdraw":
        offer.withdraw(delivery, visitor)
    elif do == "offer":
        offer.offer_again(delivery, visitor, days_from(request.POST.get("days", "")))
    elif do == "again":
        offer.try_again(delivery, visitor)
    else:
        raise BadInput(_("A delivery can be sent, withdrawn, offered again, or tried again."))
    return redirect("studio-delivery", slug=sitting.slug)


@studio_page()
@require_safe
def archive(request: HttpRequest, visitor: Visitor, sitting: Sitting, delivery_id: int) -> HttpResponseBase:
    delivery = _delivery(visitor, sitting, delivery_id)
    if not delivery.archive_key:
        raise Missing(_("This delivery is still being made."))
    name, sha256 = delivery.archive_name, delivery.archive_sha256
    response = send(
        request, storage.private(), delivery.archive_key, content_type="application/zip", name=name, etag=sha256
    )
    return noted(request, response, visitor, sitting, Verb.FETCHED, name, sha256)


@studio_page()
@require_safe
def delivered_file(request: HttpRequest, visitor: Visitor, sitting: Sitting, file_id: int) -> HttpResponseBase:
    file = DeliveredFile.objects.filter(pk=file_id, delivery__sitting=sitting).first()
    if file is None:
        raise Missing(_("There is no such file in this sitting."))
    kind = "application/octet-stream" if request.GET.get("get") or not file.name.endswith(".jpg") else "image/jpeg"
    name = file.name if kind != "image/jpeg" else ""
    response = send(request, storage.private(), file.key, content_type=kind, name=name, etag=file.sha256)
    return noted(request, response, visitor, sitting, Verb.FETCHED, file.name, file.sha256)
