"""Finals in the studio: retouches come in, strays are settled, briefs written, notes ticked off."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.contrib import messages
from django.db.models import prefetch_related_objects
from django.http import HttpRequest, HttpResponseBase, JsonResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from galleries import access, storage
from galleries.access import Act, Visitor
from galleries.errors import BadInput, Missing
from galleries.models import DeliverySize, Final, Invite, PinnedNote, Proof, Sitting, StrayRetouch, Verb, Version
from galleries.steps import arrivals
from galleries.steps.agreeing import agree
from galleries.steps.delivering import pixels, sizes
from galleries.steps.finishing import approvals, batch, description, notes, sending, source_type, versions
from galleries.steps.ingesting import ingest
from galleries.steps.people import asked
from galleries.web.addresses import view_picture
from galleries.web.doors import studio_page
from galleries.web.files import FOREVER, noted, send
from galleries.web.studio import compared, letter_words, pixel_words, retouch_body, retoucher_words
from galleries.web.studio.desk_data import picture
from galleries.web.studio.forms import whole

FINISHING = (Sitting.Stage.FINISHING, Sitting.Stage.DELIVERED)


@studio_page()
@require_safe
def finals(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    listed = agree.listed(sitting)
    prefetch_related_objects(listed, "versions__approvals__invite", "pinned_notes")
    proofs = Proof.objects.newest_of(final.frame_id for final in listed)
    chosen = [size for size in sizes.offered() if size.chosen_first]
    rows = _with_waits([_row(final, proofs, chosen) for final in listed], sitting)
    context = {
        "sitting": sitting,
        "page": "studio-finals",
        "rows": rows,
        "ready": sum(final.is_ready for final in listed),
        "has_versions": any(row["version"] for row in rows),
        "strays": _strays(sitting, listed, proofs),
        "kinds": Version.Kind.choices,
        "open": sitting.stage in FINISHING,
        "unsent": sending.waiting(sitting),
        "companions": " ".join(sorted(ingest.COMPANIONS)),
        "raw": " ".join(sorted(ingest.RAW)),
        "most_bytes": settings.MAX_FRAME_BYTES,
        "by_parts": arrivals.are_taken(),
        "not_taken": arrivals.refused_retouches(sitting, visitor),
        "retries": 6,
    }
    return render(request, "galleries/studio/finals.html", context)


@studio_page()
@require_safe
def final_page(request: HttpRequest, visitor: Visitor, sitting: Sitting, final_id: int) -> HttpResponseBase:
    """One final, large: frame against version or two versions, the eyes at one place; and all that was said of it."""
    wanted = final_of(visitor, sitting, final_id)
    listed = agree.listed(sitting)
    at = next((place for place, one in enumerate(listed) if one.pk == wanted.pk), None)
    final = listed[at] if at is not None else wanted
    prefetch_related_objects([final], "versions__approvals__invite", "versions__invite", "pinned_notes")
    chosen = [one for one in sizes.offered() if one.chosen_first]
    (row,) = _with_waits([_row(final, Proof.objects.newest_of([final.frame_id]), chosen)], sitting)
    context = {
        "sitting": sitting,
        "page": "studio-finals",
        "row": row,
        "pictures": compared.pictures(sitting, final, row["versions"], [note for note, _number in row["notes"]]),
        "kinds": Version.Kind.choices,
        "open": sitting.stage in FINISHING,
        "before": listed[at - 1] if at else None,
        "after": listed[at + 1] if at is not None and at + 1 < len(listed) else None,
    }
    return render(request, "galleries/studio/final.html", context)


def _with_waits(rows: list[dict[str, Any]], sitting: Sitting) -> list[dict[str, Any]]:
    people, retouchers = [one for one in sitting.invites.sides() if one.holds()], retoucher_words.at_work(sitting)
    return [{**row, "waits": _waits_for(row, sitting, people, retouchers)} for row in rows]


def _waits_for(row: dict[str, Any], sitting: Sitting, people: list[Invite], retouchers: list[Invite]) -> str:
    """Whose word or work a final waits for, by name; '' where it is ready."""
    final, version = row["final"], row["version"]
    if final.is_ready:
        return ""
    if version is not None and not version.sent_at:
        return _("you: look, then send")
    if final.state != Final.State.SHOWN:
        return retoucher_words.waits_for(final, retouchers)
    roles = {Invite.Role.SUBJECT}
    if sitting.representation_approves and not final.frame.is_kept_back:
        roles.add(Invite.Role.REPRESENTATION)
    names = [one.name for one in people if one.role in roles and one.role not in row["decisions"]]
    return ", ".join(names)


@studio_page()
@require_POST
def act_on_several(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """do = as-it-is, undo or made (with kind), on the finals chosen."""
    ids, do = [whole(pk, _("final")) for pk in request.POST.getlist("final")], request.POST.get("do")
    if do == "as-it-is":
        count = batch.deliver_as_it_is(sitting, ids, visitor)
        sentence = ngettext(
            "%d final goes out as it was taken. Undo takes it back.",
            "%d finals go out as they were taken. Undo takes it back.",
            count,
        )
    elif do == "undo":
        count = batch.undo(sitting, ids, visitor)
        sentence = ngettext("%d final is as it was before.", "%d finals are as they were before.", count)
    elif do == "made":
        count = batch.declare(sitting, ids, visitor, request.POST.get("kind", ""))
        sentence = ngettext("Said of %d retouch.", "Said of %d retouches.", count)
    else:
        raise BadInput(_("Finals go out as they are, are set back by undo, or are said how they were made."))
    messages.success(request, sentence % count)
    return redirect("studio-finals", slug=sitting.slug)


def _strays(sitting: Sitting, listed: list[Final], proofs: dict[int, Proof]) -> list[dict[str, Any]]:
    """Each file that waits for a choice: the frames it is likely to be of, large, and all others, small."""
    rows = []
    for stray in sitting.strays.prefetch_related("candidates__frame"):
        likely = list(stray.candidates.all())
        known = {final.pk for final in likely}
        rows.append(
            {
                "stray": stray,
                "likely": [(final, view_picture(final.frame_id)) for final in likely],
                "others": [(final, picture(proofs.get(final.frame_id))) for final in listed if final.pk not in known],
            }
        )
    return rows


def _few_pixels(version: Version | None, chosen: list[DeliverySize]) -> str:
    """What a version is too small for, of the sizes that are chosen first, at best; nothing without a version."""
    return pixel_words.line(pixels.of_picture(version.width, version.height, chosen)) if version else ""


def _row(final: Final, proofs: dict[int, Any], chosen: list[DeliverySize]) -> dict[str, Any]:
    kept, proof = list(final.versions.all()), proofs.get(final.frame_id)
    version = kept[-1] if kept else None
    notes = sorted(final.pinned_notes.all(), key=lambda note: (note.done, note.pk))
    numbers: dict[int | None, int] = {one.pk: one.number for one in kept}
    size = (proof.small_width, proof.small_height) if proof else (320, 480)
    to_send = version is not None and not version.sent_at and not final.is_ready
    return {
        "final": final,
        "description": description.proposed(final),
        "small": picture(proof),
        "w": size[0],
        "h": size[1],
        "version": version,
        "versions": kept,
        "few_pixels": _few_pixels(version, chosen) if final.state != Final.State.AS_IT_IS else "",
        "decisions": approvals.last_words(version.approvals.all()) if version else {},
        "notes": [(note, numbers.get(note.version_id)) for note in notes],
        "state": "" if to_send else final.get_state_display(),  # it waits for no retouch any more
        "as_it_is": final.state == Final.State.AS_IT_IS,
        "approved": final.state == Final.State.APPROVED,
    }


@studio_page()
@require_http_methods(["PUT"])
def put_retouch(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """One retouched file as the body; answered in the words of the uploader."""
    came = retouch_body.take(request, visitor, sitting)
    if isinstance(came, JsonResponse):
        return came
    name, outcome = came
    label = outcome.final.frame.label if outcome.final else ""
    state = {"matched": "new", "stray": "stray", "same": "same", "refused": "refused"}[outcome.kind]
    return JsonResponse({"state": state, "name": name, "reason": outcome.reason, "label": label})


@studio_page()
@require_POST
def known_retouches(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """{digests: [...]} → {known: [...]}: versions and strays that need not be sent again."""
    return retouch_body.known(request, sitting)


def final_of(visitor: Visitor, sitting: Sitting, final_id: int) -> Final:
    final = access.final_for(visitor, Act.RUN, final_id)
    if final.sitting_id != sitting.pk:
        raise Missing(_("There is no such final in this sitting."))
    return final


def _stray(sitting: Sitting, stray_id: int) -> StrayRetouch:
    stray = sitting.strays.select_related("sitting").filter(pk=stray_id).first()
    if stray is None:
        raise Missing(_("There is no such file waiting for a choice."))
    return stray


@studio_page()
@require_POST
def settle_stray(request: HttpRequest, visitor: Visitor, sitting: Sitting, stray_id: int) -> HttpResponseBase:
    stray = _stray(sitting, stray_id)
    final = final_of(visitor, sitting, whole(request.POST.get("final"), _("final")))
    versions.settle_stray(stray, final, visitor)
    messages.success(request, _("“%(file)s” is a retouch of %(frame)s.") % {"file": stray.name, "frame": final.frame})
    return redirect("studio-finals", slug=sitting.slug)


@studio_page()
@require_safe
def stray_picture(request: HttpRequest, visitor: Visitor, sitting: Sitting, stray_id: int) -> HttpResponseBase:
    """A file that waits for a choice, unstamped, for the studio alone."""
    stray = _stray(sitting, stray_id)
    return send(request, *versions.stray_view(stray), content_type="image/jpeg", cache=FOREVER)


@studio_page()
@require_POST
def drop_stray(request: HttpRequest, visitor: Visitor, sitting: Sitting, stray_id: int) -> HttpResponseBase:
    stray = _stray(sitting, stray_id)
    versions.drop_stray(stray, visitor)
    messages.success(request, _("“%s” is dropped.") % stray.name)
    return redirect("studio-finals", slug=sitting.slug)


@studio_page()
@require_POST
def write_brief(request: HttpRequest, visitor: Visitor, sitting: Sitting, final_id: int) -> HttpResponseBase:
    """The brief and the description for people who cannot see the picture."""
    final = final_of(visitor, sitting, final_id)
    if request.POST.get("brief", final.brief) != final.brief:
        notes.set_brief(final, visitor, request.POST["brief"])
    if request.POST.get("alt_text", final.alt_text) != final.alt_text:
        notes.set_alt_text(final, visitor, request.POST["alt_text"])
    messages.success(request, _("The brief of %s is kept.") % final.frame)
    return redirect("studio-final", slug=sitting.slug, final_id=final.pk)


@studio_page()
@require_http_methods(["GET", "HEAD", "POST"])
def as_it_is(request: HttpRequest, visitor: Visitor, sitting: Sitting, final_id: int) -> HttpResponseBase:
    """Asks first of a raw frame, and with what would be lost where a retouch is approved; `do` = back takes it back."""
    final = final_of(visitor, sitting, final_id)
    if request.method != "POST":
        return _asked(request, sitting, final)
    if request.POST.get("do") == "back":
        approvals.take_back(final, visitor)
        messages.success(
            request, _("%(frame)s: %(state)s.") % {"frame": final.frame, "state": final.get_state_display()}
        )
    else:
        meant = request.POST.get("from_camera_picture") == "1"
        aside = request.POST.get("setting_aside", "")
        approvals.deliver_as_it_is(final, visitor, setting_aside=aside, from_camera_picture=meant)
        sentence = (
            _("%s is cut from the camera's picture. Undo takes it back.")
            if final.from_camera_picture
            else _("%s goes out as it was taken. Undo takes it back.")
        )
        messages.success(request, sentence % final.frame)
    return redirect("studio-finals", slug=sitting.slug)


def _asked(request: HttpRequest, sitting: Sitting, final: Final) -> HttpResponseBase:
    version = final.versions.sent().newest()
    context = {
        "sitting": sitting,
        "page": "studio-finals",
        "row": _row(final, Proof.objects.newest_of([final.frame_id]), []),
        "version": version,
        "said": list(approvals.decisions(version).values()) if version else [],
    }
    return render(request, "galleries/studio/as_it_is.html", context)


@studio_page()
@require_http_methods(["GET", "HEAD", "POST"])
def send_retouches(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """The retouches that came in beside their frames, large; those that are ticked go out with one letter."""
    if request.method == "POST":
        chosen = [whole(pk, _("version")) for pk in request.POST.getlist("version")]
        sure = [whole(pk, _("version")) for pk in request.POST.getlist("sure")]
        count = sending.send(sitting, chosen, visitor, setting_aside=sure)
        sentence = ngettext("%d retouch is sent.", "%d retouches are sent.", count) % count
        messages.success(request, sentence)
        letter_words.warn(request)
        return redirect("studio-finals", slug=sitting.slug)
    unsent = sending.waiting(sitting)
    first = [size for size in sizes.offered() if size.chosen_first]
    context = {
        "sitting": sitting,
        "page": "studio-finals",
        "rows": [
            {
                "version": one,
                "before": view_picture(one.final.frame_id),
                "few_pixels": _few_pixels(one, first),
            }
            for one in unsent
        ],
        "people": asked.approvers(sitting),
    }
    return render(request, "galleries/studio/send_retouches.html", context)


@studio_page()
@require_POST
def note_done(request: HttpRequest, visitor: Visitor, sitting: Sitting, note_id: int) -> HttpResponseBase:
    note = PinnedNote.objects.select_related("final__sitting", "final__frame").filter(pk=note_id).first()
    if note is None or note.final.sitting_id != sitting.pk:
        raise Missing(_("There is no such note in this sitting."))
    notes.settle_note(note, visitor, request.POST.get("done") == "1")
    return redirect("studio-final", slug=sitting.slug, final_id=note.final_id)


def _version(sitting: Sitting, version_id: int) -> Version:
    version = Version.objects.select_related("final__sitting").filter(pk=version_id, final__sitting=sitting).first()
    if version is None:
        raise Missing(_("There is no such version in this sitting."))
    return version


@studio_page()
@require_POST
def how_it_was_made(request: HttpRequest, visitor: Visitor, sitting: Sitting, version_id: int) -> HttpResponseBase:
    """How a version was made: by hand, by a program, or with a generative tool."""
    version = _version(sitting, version_id)
    source_type.declare(version, visitor, request.POST.get("kind", ""))
    messages.success(request, _("%(version)s: %(made)s.") % {"version": version, "made": version.get_kind_display()})
    return redirect("studio-final", slug=sitting.slug, final_id=version.final_id)


@studio_page()
@require_safe
def version_picture(request: HttpRequest, visitor: Visitor, sitting: Sitting, version_id: int) -> HttpResponseBase:
    """The stamped preview of a version."""
    version = _version(sitting, version_id)
    if not version.proof_key:
        raise Missing(_("The preview of this version is still being made."))
    etag = version.proof_key.rsplit("/", 1)[-1].split(".")[0]
    return send(request, storage.proofs(), version.proof_key, content_type="image/jpeg", etag=etag, cache=FOREVER)


@studio_page()
@require_safe
def version_view(request: HttpRequest, visitor: Visitor, sitting: Sitting, version_id: int) -> HttpResponseBase:
    """A version unstamped, for the studio alone."""
    version = _version(sitting, version_id)
    return send(request, *versions.view(version), content_type="image/jpeg", cache=FOREVER)


@studio_page()
@require_safe
def version_file(request: HttpRequest, visitor: Visitor, sitting: Sitting, version_id: int) -> HttpResponseBase:
    """The retouched file as it came."""
    version = _version(sitting, version_id)
    response = send(
        request,
        storage.private(),
        version.key,
        content_type="application/octet-stream",
        name=version.name,
        etag=version.sha256,
    )
    return noted(request, response, visitor, sitting, Verb.VERSION_FETCHED, version.name, version.sha256)
