"""Finals: the retouch before and after, notes pinned to it, approved or sent back."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.db.models import prefetch_related_objects
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_safe

from galleries import storage
from galleries.access import Act, Visitor, final_for, may
from galleries.errors import BadInput, Missing
from galleries.models import Final, PinnedNote, Proof, Sitting, Version
from galleries.steps.agreeing import agree
from galleries.steps.finishing import approvals, notes
from galleries.steps.ingesting import proof
from galleries.steps.people import asked
from galleries.web.doors import invitee_page
from galleries.web.files import FOREVER, send
from galleries.web.invitee.page import key_in, page

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise

# The fields of a note's place, in per cent of the picture; a point has no width and height.
POINT = ("x", "y")
PLACE: dict[str, _StrPromise] = {
    # xgettext:no-python-format
    "x": gettext_lazy("From the left, %"),
    # xgettext:no-python-format
    "y": gettext_lazy("From the top, %"),
    # xgettext:no-python-format
    "width": gettext_lazy("Width, %"),
    # xgettext:no-python-format
    "height": gettext_lazy("Height, %"),
}


@invitee_page(Act.SEE_FINALS)
@require_safe
def finals(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    rows = _rows(visitor, sitting)
    waiting = [row for row in rows if row["asked"]]
    all_ready = sitting.stage == Sitting.Stage.DELIVERED and all(row["final"].is_ready for row in rows)
    states = set(sitting.deliveries.known_of().values_list("state", flat=True)) if all_ready else set()
    return page(
        request, visitor, sitting, "finals", rows=rows, waiting=waiting, may_approve=may(visitor, Act.APPROVE, sitting),
        gives_word=visitor.invite is not None and asked.gives_word(visitor.invite),
        all_ready=all_ready, withdrawn="withdrawn" in states and "ready" not in states,
        may_object=may(visitor, Act.OBJECT, sitting), objection_until=sitting.objection_until,
        answer_by=asked.answer_by([row["version"] for row in waiting], sitting),
    )  # fmt: skip


def _rows(visitor: Visitor, sitting: Sitting) -> list[dict[str, Any]]:
    """All finals that this person sees, each with what `_row` says of it; the queries are the same for any number."""
    listed = agree.listed_for(visitor, sitting)
    prefetch_related_objects(listed, "versions__approvals__invite")
    proofs = Proof.objects.newest_of(one.frame_id for one in listed)
    # What is kept from this person is not among them, so that one answer holds for every final of the sitting.
    may_approve = may(visitor, Act.APPROVE, sitting)
    return [{**_row(one, visitor, may_approve), "proof": proofs.get(one.frame_id)} for one in listed]


def _row(final: Final, visitor: Visitor, may_approve: bool) -> dict[str, Any]:
    version = shown_version(final)
    words = approvals.last_words(version.approvals.all()) if version else {}
    mine = words.get(visitor.invite.role) if visitor.invite else None
    waits = version is not None and final.state in {Final.State.SHOWN, Final.State.RETURNED}
    return {"final": final, "version": version, "mine": mine, "asked": waits and may_approve and mine is None}


def shown_version(final: Final) -> Version | None:
    """The newest version whose stamped picture is made."""
    shown = [one for one in final.versions.all() if one.sent_at is not None and one.proof_key]
    return shown[-1] if shown else None


def _final(visitor: Visitor, act: Act, sitting: Sitting, final_id: int) -> Final:
    final = final_for(visitor, act, final_id)
    if final.sitting_id != sitting.pk or not final.on_list:
        raise Missing(_("There is no such final, or your link does not lead to it."))
    return final


@invitee_page(Act.SEE_FINALS)
@require_http_methods(["GET", "HEAD", "POST"])
def final(request: HttpRequest, visitor: Visitor, sitting: Sitting, final_id: int) -> HttpResponseBase:
    if request.method == "POST":
        return _say(request, visitor, sitting, final_id)
    shown = _final(visitor, Act.SEE_FINALS, sitting, final_id)
    listed = agree.listed_for(visitor, sitting)
    at = next((i for i, one in enumerate(listed) if one.pk == shown.pk), 0)
    may_approve = may(visitor, Act.APPROVE, shown)
    versions = list(shown.versions.sent().exclude(proof_key="").order_by("-number"))
    wanted = request.GET.get("version", "")
    version = next((one for one in versions if str(one.number) == wanted), versions[0] if versions else None)
    return page(
        request,
        visitor,
        sitting,
        "final",
        final=shown,
        frame_proof=proof.current(shown.frame),
        versions=versions,
        version=version,
        newest=bool(versions) and version is not None and version.pk == versions[0].pk,
        waiting_version=shown.versions.sent().filter(proof_key="").exists(),
        row=_row(shown, visitor, may_approve),
        words=finals_words(),
        places=[(name, words, name in POINT) for name, words in PLACE.items()],
        said=[(role, word) for role, word in approvals.decisions(version).items()] if version else [],
        pins=[
            _pin(note, number, version) for number, note in enumerate(shown.pinned_notes.select_related("version"), 1)
        ],
        changed=version.changed_places() if version else [],
        may_pin=may(visitor, Act.PIN_NOTE, shown),
        may_approve=may_approve,
        before=listed[at - 1] if at > 0 else None,
        after=listed[at + 1] if at + 1 < len(listed) else None,
        position=at + 1,
        total=len(listed),
    )


def finals_words() -> dict[str, str]:
    return {
        "showing_before": _("before"),
        "showing_after": _("after"),
        # xgettext:no-python-format
        "slider": _("Frame to the left, retouch to the right of {n} % of the width"),
        "stage": _("The picture. Draw the line across it, or press B; plus and minus bring it closer."),
        "pin_here": _("Press where the wish belongs, or move the mark with the arrows and press Enter."),
        "holding": _("Let go to write your wish, or draw a box first."),
        # xgettext:no-python-format
        "pin_at": _("{x} % from the left, {y} % from the top"),
        # xgettext:no-python-format
        "scale": _("This proof at {n} % of its own pixels. The finished file holds {m} times as many each way."),
        # xgettext:no-python-format
        "scale_plain": _("This proof at {n} % of its own pixels."),
    }


def _pin(note: PinnedNote, number: int, version: Version | None) -> dict[str, Any]:
    """Drawn over the version it speaks of, and no other; one that speaks of the frame over all."""
    drawn = note.version is None or note.version == version
    return {"number": number, "note": note, "drawn": drawn, "place": [note.x, note.y, note.width, note.height]}


def _say(request: HttpRequest, visitor: Visitor, sitting: Sitting, final_id: int) -> HttpResponseBase:
    """do = approve, send_back or pin."""
    do = request.POST.get("do", "")
    if do == "pin":
        final = _final(visitor, Act.PIN_NOTE, sitting, final_id)
        if not all(request.POST.get(name, "").strip() for name in POINT):
            raise BadInput(
                _("Say where the note belongs: press and hold on the picture, or give its place in numbers.")
            )
        x, y, width, height = (_percent(request, name) for name in PLACE)
        pk = request.POST.get("version", "")
        version = _version(final, pk) if pk else None
        notes.pin_note(final, visitor, x, y, width, height, request.POST.get("text", ""), version)
        messages.success(request, _("The note is pinned."))
    elif do in {"approve", "send_back"}:
        final = _final(visitor, Act.APPROVE, sitting, final_id)
        version = _version(final, request.POST.get("version", ""))
        if do == "approve":
            approvals.approve(version, visitor, request.POST.get("sha256", ""))
            messages.success(request, _("Approved. Thank you."))
        else:
            approvals.send_back(
                version, visitor, request.POST.get("note", ""), for_retoucher=request.POST.get("retoucher") == "yes"
            )
            messages.success(request, _("Sent back with your note. You get a letter when the next version is there."))
        following = next((row for row in _rows(visitor, sitting) if row["asked"]), None)
        if following is not None:
            return redirect("final", slug=sitting.slug, final_id=following["final"].pk)
        return redirect("finals", slug=sitting.slug)
    else:
        raise BadInput(_("A final is approved, sent back, or gets a note."))
    return redirect("final", slug=sitting.slug, final_id=final_id)


def _version(final: Final, pk: str) -> Version:
    version = final.versions.sent().select_related("final__sitting", "final__frame").filter(pk=key_in(pk))
    newest = version.first()
    if newest is None:
        raise Missing(_("There is no such version of this final."))
    return newest


def _percent(request: HttpRequest, name: str) -> float:
    """A field in per cent of the picture, as a fraction; an empty one is 0. A decimal comma is one, too."""
    text = request.POST.get(name, "").strip().replace(",", ".")
    try:
        value = float(text or 0)
    except ValueError:
        raise BadInput(_("“%s” is no number of per cent.") % text) from None
    if not 0 <= value <= 100:
        raise BadInput(_("The note lies outside the picture."))
    return value / 100


@invitee_page(Act.SEE_FINALS)
@require_safe
def version_picture(request: HttpRequest, visitor: Visitor, sitting: Sitting, version_id: int) -> HttpResponseBase:
    """The stamped picture of a version; the row in the address makes it immutable."""
    version = Version.objects.sent().filter(pk=version_id, final__sitting=sitting).select_related("final").first()
    if version is None or not version.proof_key:
        raise Missing(_("There is no such version of this final."))
    _final(visitor, Act.SEE_FINALS, sitting, version.final_id)
    return send(
        request, storage.proofs(), version.proof_key, content_type="image/jpeg",
        etag=f"version-{version.pk}", cache=FOREVER,
    )  # fmt: skip
