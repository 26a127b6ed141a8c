"""The delivery: the licence in sentences, accepted by name; pictures, single files, the archive; further uses."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from galleries import storage
from galleries.access import Act, Visitor, delivery_for, files_shown_to, finals_shown_to, may, sees_whole
from galleries.errors import Conflict, Missing, Refused
from galleries.models import DeliveredFile, Delivery, Licence, Receipt, Sitting
from galleries.papers.licence_fields import USES
from galleries.steps import derived
from galleries.steps.delivering import by_use, licences, offer, receipts, usage
from galleries.steps.delivering.by_use import Bundle
from galleries.web import licence_columns, use_words
from galleries.web.doors import count_try, invitee_page
from galleries.web.files import FOREVER, counted, send, stream
from galleries.web.invitee.page import page

PICTURE_SIDE = 640
# What the files of a use are for, as the page says it to whoever fetches them.
USE_TITLES = {
    "casting": gettext_lazy("For casting profiles"),
    "print": gettext_lazy("For prints"),
    "web": gettext_lazy("For the web"),
    "full": gettext_lazy("For your archive: the whole frames, not cropped"),
}
TYPES = {"jpg": "image/jpeg", "tif": "image/tiff", "zip": "application/zip", "pdf": "application/pdf"}


@invitee_page(Act.SEE_DELIVERY)
@require_safe
def delivery(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    deliveries = list(sitting.deliveries.known_of().order_by("-number").select_related("licence"))
    current = licences.current(sitting)
    wanted = _wanted(deliveries, current)
    sections = [_licence(one, visitor) for one in sorted(wanted.values(), key=lambda one: -one.number)]
    return page(
        request,
        visitor,
        sitting,
        "delivery",
        licences=sections,
        words=_delivery_words(),
        waits_for_licence=any(one["open"] for one in sections),
        may_i=_may_i(request, visitor, current) if current is not None else None,
        deliveries=[row for one in deliveries if (row := _shown(request, one, visitor))["files"] or row["whole"]],
        being_made=sitting.deliveries.filter(state__in=["waiting", "made"]).exists(),
        still_open=[
            final.frame.label for final in finals_shown_to(visitor, sitting).undelivered().select_related("frame")
        ],
        may_see_finals=may(visitor, Act.SEE_FINALS, sitting),
        all_finals=finals_shown_to(visitor, sitting).listed().count(),
        requests=[
            {"request": one, "use": use_words.USE_WORDS.get(one.use, one.use), "granted": use_words.granted(one)}
            for one in sitting.usage_requests.filter(invite=visitor.invite).select_related("addendum")
        ]
        if visitor.invite
        else [],
    )


def _wanted(deliveries: list[Delivery], current: Licence | None) -> dict[int, Licence]:
    """The licences that stand to be accepted: those of what can be fetched, or the newest wording."""
    wanted = {one.licence_id: one.licence for one in deliveries if one.state == "ready"}
    return wanted or ({current.pk: current} if current is not None else {})


def _delivery_words() -> dict[str, str]:
    return {
        "coming": _("The picture is coming …"),
        "handed": _("Handed over."),
        "again": _("Press again to save"),
        "ready": _("The picture is here. Press once more to save it."),
        "failed": _("That did not work. Fetch the file instead."),
        "lies": _("It lies among your downloads then. Open it there to save it to your photos."),
    }


def _licence(licence: Licence, visitor: Visitor) -> dict[str, Any]:
    """A licence as the page shows it: three columns of the wording in force, and who accepted it."""
    in_force = licences.in_force(licence)
    terms = licences.terms_of(in_force)
    return {
        "licence": licence,
        "in_force": in_force,
        "terms": terms,
        "where": licence_columns.territory(terms),
        "columns": licence_columns.columns(terms, timezone.localdate()),
        "sentences": terms.sentences(),
        "accepted": licence.acceptances.filter(invite=visitor.invite).first() if visitor.invite else None,
        "open": bool(visitor.invite and not licences.has_accepted(licence, visitor.invite)),
    }


def _may_i(request: HttpRequest, visitor: Visitor, licence: Licence) -> dict[str, Any]:
    """The question asked with ?may=, and what the licence says to it. None of it is kept."""
    what = request.GET.get("may", "")
    terms = licences.terms_of(licence)
    words = licence_columns.questions().get(what, "")
    answer = licence_columns.answer(terms, what, timezone.localdate()) if words else None
    may_be_asked = what == "other" or (answer is not None and answer.verdict == licence_columns.ASK)
    is_open = may_be_asked and usage.is_open(licence.sitting, visitor.invite, what if what in USES else str(words))
    return {
        "what": what,
        "words": words,
        "answer": answer,
        "licence": licence,
        "choices": [(title, [(key, words) for key, words in group.items()]) for title, group in _questions()],
        "asks": may_be_asked and not is_open,
        "is_open": is_open,
        "use": what if what in USES else "other",
    }


def _questions() -> list[tuple[str, Mapping[str, Any]]]:
    return [
        (_("Use them for"), use_words.USE_WORDS),
        (_("Change them by"), licence_columns.ALTERATION_WORDS),
        (_("Allow"), licence_columns.OTHER_WORDS),
    ]


def _shown(request: HttpRequest, delivery: Delivery, visitor: Visitor) -> dict[str, Any]:
    """A delivery with its files by picture, and what stands in the way of fetching it."""
    why = ""
    try:
        offer.check_fetch(delivery, visitor, passcode_given=unlocked(request, delivery))
    except Refused as error:
        why = str(error)
    fetches = {
        one.name: one for one in delivery.receipts.all() if visitor.invite and one.invite_id == visitor.invite.pk
    }
    listed = list(
        files_shown_to(visitor, delivery)
        .select_related("final__frame__look")
        .order_by("size_slug", "final__position", "final", "name")
    )
    order = list(delivery.sizes)
    listed.sort(key=lambda file: order.index(file.size_slug) if file.size_slug in order else len(order))
    return {
        "delivery": delivery,
        "why": why,
        "waits": delivery.is_there,
        "needs_passcode": bool(delivery.passcode_hash)
        and not unlocked(request, delivery)
        and delivery.state == "ready",
        "files": listed,
        "groups": [_group(one, fetches) for one in by_use.bundles(delivery, listed)],
        "receipt": fetches.get(delivery.archive_name),
        "whole": sees_whole(visitor, delivery),
    }


def _group(bundle: Bundle, fetches: dict[str, Receipt]) -> dict[str, Any]:
    """The files for one use, and when this person fetched them."""
    return {
        "bundle": bundle,
        "title": USE_TITLES[bundle.use],
        "receipt": fetches.get(bundle.name),
        "files": [
            {
                "file": file,
                "size": _(bundle.delivery.sizes[file.size_slug].get("title") or file.size_slug),
                "receipt": fetches.get(file.name),
                "picture": file.width > 0 and file.name.endswith((".jpg", ".tif")),
                "photo": file.name.endswith(".jpg"),  # what a phone takes among its photos
            }
            for file in bundle.files
        ],
    }


def unlocked(request: HttpRequest, delivery: Delivery) -> bool:
    return not delivery.passcode_hash or delivery.passcode_hash in request.session.get("passcodes", [])


@invitee_page(Act.ACCEPT_LICENCE)
@require_POST
def accept(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    licence = sitting.licences.filter(number=_number(request.POST.get("licence", ""))).first()
    if licence is None:
        raise Missing(_("There is no such licence in this sitting."))
    ready = list(sitting.deliveries.filter(state="ready").select_related("licence"))
    wanted = _wanted(ready, licences.current(sitting))
    if licence.pk not in {*wanted, *(one.addendum_to_id for one in wanted.values())}:
        raise Conflict(_("The studio replaced this licence meanwhile. The one that holds now stands below; read it."))
    licences.accept(licence, visitor, request.POST.get("name", ""))
    if any(_may_fetch(one, visitor) for one in ready):
        messages.success(request, _("Accepted. You can fetch the files."))
    else:
        messages.success(request, _("Accepted. What can be fetched, and when, stands below."))
    return redirect("delivery", slug=sitting.slug)


def _may_fetch(delivery: Delivery, visitor: Visitor) -> bool:
    try:
        offer.check_fetch(delivery, visitor)
    except Refused:
        return False
    return True


def _number(text: str) -> int:
    return int(text) if text.isdecimal() and len(text) < 9 else 0


@invitee_page(Act.FETCH)
@require_POST
def passcode(request: HttpRequest, visitor: Visitor, sitting: Sitting, delivery_id: int) -> HttpResponseBase:
    delivery = _delivery(visitor, Act.FETCH, sitting, delivery_id)
    # By person, not by address: whoever guesses holds an invite, and may have many addresses.
    count_try(request, f"passcode-{delivery.pk}", f"invite-{visitor.invite.pk}" if visitor.invite else "")
    if not offer.passcode_fits(delivery, request.POST.get("passcode", "")):
        messages.error(request, _("That is not the passcode."))
    else:
        request.session["passcodes"] = [*request.session.get("passcodes", [])[-20:], delivery.passcode_hash]
    return redirect("delivery", slug=sitting.slug)


def _delivery(visitor: Visitor, act: Act, sitting: Sitting, delivery_id: int) -> Delivery:
    delivery = delivery_for(visitor, act, delivery_id)
    if delivery.sitting_id != sitting.pk:
        raise Missing(_("There is no such delivery, or your link does not lead to it."))
    return delivery


@invitee_page(Act.FETCH)
@require_safe
def archive(request: HttpRequest, visitor: Visitor, sitting: Sitting, delivery_id: int) -> HttpResponseBase:
    delivery = _delivery(visitor, Act.FETCH, sitting, delivery_id)
    offer.check_fetch(delivery, visitor, passcode_given=unlocked(request, delivery), whole=True)
    return _fetch(
        request,
        visitor,
        delivery,
        delivery.archive_key,
        delivery.archive_name,
        delivery.archive_sha256,
        delivery.archive_bytes,
    )


@invitee_page(Act.FETCH)
@require_safe
def delivered_file(request: HttpRequest, visitor: Visitor, sitting: Sitting, file_id: int) -> HttpResponseBase:
    file = _file(visitor, sitting, file_id)
    offer.check_fetch(file.delivery, visitor, passcode_given=unlocked(request, file.delivery))
    return _fetch(request, visitor, file.delivery, file.key, file.name, file.sha256, file.bytes)


def _file(visitor: Visitor, sitting: Sitting, file_id: int) -> DeliveredFile:
    file = DeliveredFile.objects.filter(pk=file_id, delivery__sitting=sitting).first()
    if file is None or not files_shown_to(visitor, file.delivery).filter(pk=file.pk).exists():
        raise Missing(_("There is no such file in this delivery."))
    file.delivery = _delivery(visitor, Act.FETCH, sitting, file.delivery_id)
    return file


def _fetch(
    request: HttpRequest, visitor: Visitor, delivery: Delivery, key: str, name: str, sha256: str, size: int
) -> HttpResponseBase:
    """Send a file and note how far it went: the receipt counts the bytes that left, not those asked for."""
    kind = TYPES.get(name.rsplit(".", 1)[-1], "application/octet-stream")
    response = send(request, storage.private(), key, content_type=kind, name=name, etag=sha256)
    return _with_receipt(request, response, visitor, delivery, name, sha256, size)


def _with_receipt(
    request: HttpRequest,
    response: HttpResponseBase,
    visitor: Visitor,
    delivery: Delivery,
    name: str,
    sha256: str,
    size: int,
) -> HttpResponseBase:
    def note(last: int, start: bool) -> None:
        receipts.record(delivery, visitor.invite, visitor.name, name, max(0, last), start=start)

    return counted(request, response, size, sha256, note)


@invitee_page(Act.FETCH)
@require_safe
def for_use(request: HttpRequest, visitor: Visitor, sitting: Sitting, delivery_id: int, use: str) -> HttpResponseBase:
    """All files for one use as one archive, made while it is sent. As closed as the files themselves."""
    delivery = _delivery(visitor, Act.FETCH, sitting, delivery_id)
    offer.check_fetch(delivery, visitor, passcode_given=unlocked(request, delivery))
    bundle = by_use.bundle(delivery, use, visitor)
    try:
        response = stream(
            request, bundle.size, bundle.pieces, content_type=TYPES["zip"], name=bundle.name, etag=bundle.sha256
        )
    except FileNotFoundError:
        raise Missing(_("The file is not in the store. Tell the studio.")) from None
    return _with_receipt(request, response, visitor, delivery, bundle.name, bundle.sha256, bundle.size)


@invitee_page(Act.FETCH)
@require_safe
def file_picture(request: HttpRequest, visitor: Visitor, sitting: Sitting, file_id: int) -> HttpResponseBase:
    """A small picture of a delivered file, so that people see what they fetch. As closed as the file itself."""
    file = _file(visitor, sitting, file_id)
    offer.check_fetch(file.delivery, visitor, passcode_given=unlocked(request, file.delivery))
    store, key = derived.view(sitting, file.key, file.sha256, PICTURE_SIDE)
    return send(request, store, key, content_type="image/jpeg", etag=f"{file.sha256}-small", cache=FOREVER)


@invitee_page(Act.ASK_USE)
@require_http_methods(["POST"])
def ask_use(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    use = request.POST.get("use", "")
    usage.ask(
        sitting, visitor, use if use != "other" else request.POST.get("other", ""), request.POST.get("details", "")
    )
    messages.success(request, _("Asked. The answer comes by letter and stands here."))
    return redirect("delivery", slug=sitting.slug)
