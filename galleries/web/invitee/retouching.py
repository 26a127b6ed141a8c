"""The retoucher's page: the terms first, then the finals with their originals, and versions sent back."""

from __future__ import annotations

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase, JsonResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from galleries import storage
from galleries.access import Act, Visitor, final_for, may, require, why_not
from galleries.errors import Missing
from galleries.models import Final, Sitting, Version
from galleries.steps import arrivals, derived
from galleries.steps.finishing import originals, retoucher_terms
from galleries.steps.ingesting import ingest, proof
from galleries.web.doors import invitee_page
from galleries.web.files import counted, send, stream
from galleries.web.invitee import retouching_parts, retouching_rows
from galleries.web.invitee.page import page
from galleries.web.studio import retouch_body

SIDE = 1600  # of a picture on the page; the file itself is fetched


@invitee_page(Act.SEE_RETOUCHING)
@require_safe
def retouching(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    terms, person = retoucher_terms.terms_of(sitting), visitor.invite
    accepted = retoucher_terms.accepted(person, sitting) if person is not None else None
    open_to_them = person is None or accepted is not None
    finals = originals.finals_for(visitor, sitting)
    rows = retouching_rows.rows(finals, person) if open_to_them else []
    fetches = may(visitor, Act.FETCH_ORIGINALS, sitting)
    return page(
        request, visitor, sitting, "retouching",
        terms=terms, lines=terms.text.splitlines(), accepted=accepted, open_to_them=open_to_them, rows=rows,
        count=len(finals), to_do=sum(row.to_do for row in rows), fetches=fetches,
        why_not="" if fetches or not open_to_them else why_not(visitor, Act.FETCH_ORIGINALS, sitting),
        bundle=_bundle(rows) if fetches and rows else None, sends=may(visitor, Act.SEND_VERSION, sitting),
        receipts=sitting.retoucher_receipts.filter(invite=person) if person is not None else [],
        strays=sitting.strays.filter(invite=person) if person is not None else [],
        companions=" ".join(sorted(ingest.COMPANIONS)), raw=" ".join(sorted(ingest.RAW)),
        most_bytes=settings.MAX_FRAME_BYTES, retries=6, by_parts=arrivals.are_taken(),
        not_taken=arrivals.refused_retouches(sitting, visitor) if open_to_them else [],
    )  # fmt: skip


def _bundle(rows: list[retouching_rows.Row]) -> dict[str, int]:
    files = [file for row in rows for file in row.files]
    return {"files": len(files), "bytes": sum(file.bytes for file in files)}


@invitee_page(Act.ACCEPT_TERMS)
@require_POST
def accept(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    retoucher_terms.accept(sitting, visitor, request.POST.get("name", ""), request.POST.get("wording", ""))
    messages.success(request, _("Accepted. The work is here."))
    return redirect("retouching", slug=sitting.slug)


@invitee_page(Act.SEE_RETOUCHING)
@require_safe
def archive(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """All files and what is wanted of them, made while it is sent."""
    require(visitor, Act.FETCH_ORIGINALS, sitting)
    rows = retouching_rows.rows(originals.finals_for(visitor, sitting), visitor.invite)
    material = originals.material(sitting, visitor, retouching_rows.as_text(rows))
    try:
        response = stream(
            request, material.size, material.pieces, content_type="application/zip", name=material.name,
            etag=material.sha256,
        )  # fmt: skip
    except FileNotFoundError:
        raise Missing(_("The file is not in the store. Tell the studio.")) from None
    names = [one.name for one in material.files]
    return _noted(request, response, visitor, sitting, (material.name, material.sha256, material.size), names)


@invitee_page(Act.SEE_RETOUCHING)
@require_safe
def original(
    request: HttpRequest, visitor: Visitor, sitting: Sitting, final_id: int, which: str = "picture"
) -> HttpResponseBase:
    """One file as the camera wrote it: which = picture or raw."""
    _final(visitor, sitting, final_id)
    if which not in {"picture", "raw"}:
        raise Missing(_("There is no such file among the finals."))
    file = originals.original(sitting, visitor, final_id, raw=which == "raw")
    response = send(
        request, storage.private(), file.key, content_type="application/octet-stream", name=file.name, etag=file.sha256
    )
    return _noted(request, response, visitor, sitting, (file.name, file.sha256, file.bytes), [file.name])


def _noted(
    request: HttpRequest, response: HttpResponseBase, visitor: Visitor, sitting: Sitting, file: tuple[str, str, int],
    holds: list[str],
) -> HttpResponseBase:  # fmt: skip
    name, sha256, size = file

    def note(last: int, start: bool) -> None:
        originals.record(sitting, visitor, name, sha256, size, holds, last, start=start)

    return counted(request, response, size, sha256, note)


def _final(visitor: Visitor, sitting: Sitting, final_id: int) -> Final:
    final = final_for(visitor, Act.FETCH_ORIGINALS, final_id)
    if final.sitting_id != sitting.pk:
        raise Missing(_("There is no such final, or your link does not lead to it."))
    return final


@invitee_page(Act.SEE_RETOUCHING)
@require_safe
def picture(request: HttpRequest, visitor: Visitor, sitting: Sitting, final_id: int) -> HttpResponseBase:
    """A final's frame unstamped, to see what the notes speak of. As closed as the file itself."""
    frame = _final(visitor, sitting, final_id).frame
    store, key = proof.view(frame, SIDE)
    return send(request, store, key, content_type="image/jpeg", etag=f"{frame.sha256}-retouch")


@invitee_page(Act.SEE_RETOUCHING)
@require_safe
def version_picture(request: HttpRequest, visitor: Visitor, sitting: Sitting, version_id: int) -> HttpResponseBase:
    """A version that this retoucher sent in, as they sent it; of others' there is none here."""
    own = Version.objects.filter(pk=version_id, final__sitting=sitting).select_related("final")
    if visitor.invite is not None:
        own = own.filter(invite=visitor.invite)
    version = own.first()
    if version is None:
        raise Missing(_("There is no such version of this final."))
    _final(visitor, sitting, version.final_id)
    store, key = derived.view(sitting, version.key, version.sha256, SIDE)
    return send(request, store, key, content_type="image/jpeg", etag=f"{version.sha256}-retouch")


@invitee_page(Act.SEND_VERSION)
@require_POST
def known(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """{digests: [...]} → {known: [...]}: files that this person sent before; of no others it is told."""
    return retouch_body.known(request, sitting, invite=visitor.invite)


@invitee_page(Act.SEND_VERSION)
@require_http_methods(["PUT"])
def put_version(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """One version as the body, its name in a header. The door has asked who it is before a byte is read."""
    came = retouch_body.take(request, visitor, sitting)
    if isinstance(came, JsonResponse):
        return came
    name, outcome = came
    if outcome.kind == "stray":  # which other frames it resembles is the studio's to know
        return JsonResponse({"state": "stray", "name": name, "reason": retouching_parts.stray_reason()})
    state = {"matched": "new", "same": "same", "refused": "refused"}[outcome.kind]
    return JsonResponse({"state": state, "name": name, "reason": outcome.reason})
