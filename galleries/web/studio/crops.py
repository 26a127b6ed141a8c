"""All sizes of one final: the proposal, the correction by hand, what to know before it is cut."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from django.db.models import prefetch_related_objects
from django.http import HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from galleries.access import Visitor
from galleries.errors import BadInput, Missing
from galleries.imaging.drawing.border import insets
from galleries.imaging.face.places import from_corner
from galleries.models import Crop, DeliverySize, Final, Sitting
from galleries.steps import derived
from galleries.steps.agreeing import agree
from galleries.steps.delivering import cut, lab_profile, sizes
from galleries.web.doors import studio_page
from galleries.web.files import FOREVER, send
from galleries.web.studio.finals import final_of
from galleries.web.studio.forms import whole
from galleries.web.studio.upload import body_json

SHOWN_SIDE = 1600
MOST_SIZES = 500


@studio_page()
@require_safe
def crops(request: HttpRequest, visitor: Visitor, sitting: Sitting, final_id: int) -> HttpResponseBase:
    """Looked at, nothing is written: a proposal becomes a row when somebody keeps it, or with the delivery."""
    final = _final(visitor, sitting, final_id)
    row = cut.shown(final, chosen_sizes(request))
    finals = agree.listed(sitting)
    place = next((index for index, one in enumerate(finals) if one.pk == final.pk), 0)
    context = {
        "sitting": sitting,
        "page": "studio-delivery",
        "final": final,
        "sizes": [crop.size for crop in row],
        "data": editor_data(sitting, final, row),
        "before": finals[place - 1] if place else None,
        "after": finals[place + 1] if place + 1 < len(finals) else None,
        "all": request.GET.get("all") == "1",
    }
    return render(request, "galleries/studio/crops.html", context)


def chosen_sizes(request: HttpRequest) -> list[DeliverySize]:
    """The sizes a new delivery starts with, or all with ?all=1; the full frame has nothing to set."""
    offered = [size for size in sizes.offered() if size.width]
    usual = [size for size in offered if size.chosen_first]
    return offered if request.GET.get("all") == "1" or not usual else usual


def editor_data(sitting: Sitting, final: Final, row: list[Crop]) -> dict[str, Any]:
    """What the editor's script needs; pixels of the upright picture that is cut, counted from its corner."""
    source = cut.source_of(final)
    face = source.face
    return {
        "picture": reverse("studio-crop-source", args=[sitting.slug, final.pk]) + f"?v={source.sha256[:12]}",
        "width": source.width,
        "height": source.height,
        "face": None
        if face is None
        else {
            "eyes": [*from_corner(face.right_eye), *from_corner(face.left_eye)],
            "crown": from_corner((0.0, face.crown_y))[1],
            "chin": list(from_corner(face.menton)),
        },
        "crops": [crop_data(sitting, crop) for crop in row],
    }


def crop_data(sitting: Sitting, crop: Crop) -> dict[str, Any]:
    spec = sizes.spec(crop.size)
    left, top, right, bottom = insets(spec)
    ratio, at = spec.ratio, [sitting.slug, crop.final_id, crop.size.slug]
    return {
        "size": crop.size.slug,
        "title": crop.size.shown_title,
        "x": crop.x,
        "y": crop.y,
        "width": crop.width,
        "height": crop.height,
        "tilt": crop.tilt,
        "ratio": [ratio.width, ratio.height] if ratio else None,
        "out": [spec.out_width, spec.out_height],
        "bleed": spec.bleed_px / 2,
        "safe": spec.safe,
        "covered": [left, top, right, bottom],
        "byHand": crop.by_hand,
        "warnings": cut.warnings(crop),
        "reasons": crop.why,
        "address": reverse("studio-crop-set", args=at),
        "preview": reverse("studio-crop-preview", args=at),
        "paper": reverse("studio-crop-paper", args=at)
        if sitting.print_profile_key and crop.size.use == DeliverySize.Use.PRINT
        else "",
    }


def _final(visitor: Visitor, sitting: Sitting, final_id: int) -> Final:
    """The final with what its crops are told from, so that many sizes ask no more than one."""
    final = final_of(visitor, sitting, final_id)
    prefetch_related_objects([final], "crops", "versions__approvals")
    return final


def _crop(visitor: Visitor, sitting: Sitting, final_id: int, size: str) -> Crop:
    """The crop of a final in one size, kept or only proposed."""
    wanted = DeliverySize.objects.filter(slug=size).first()
    if wanted is None:
        raise Missing(_("There is no such crop in this sitting."))
    (crop,) = cut.shown(_final(visitor, sitting, final_id), [wanted])
    return crop


def _sizes_named(body: dict[str, Any]) -> list[DeliverySize]:
    """The sizes that the page shows: what is not on the screen is not changed."""
    named = body.get("sizes")
    if not isinstance(named, list) or len(named) > MOST_SIZES:
        raise BadInput(_("Name up to %d sizes at a time.") % MOST_SIZES)
    return list(DeliverySize.objects.filter(slug__in=[str(one) for one in named]))


def _number(body: dict[str, Any], name: str) -> float:
    try:
        value = float(body[name])
    except (KeyError, TypeError, ValueError):
        raise BadInput(_("The crop needs a number for “%s”.") % name) from None
    if not -1e6 < value < 1e6:
        raise BadInput(_("The crop needs a number for “%s”.") % name)
    return value


@studio_page()
@require_POST
def set_crop(request: HttpRequest, visitor: Visitor, sitting: Sitting, final_id: int, size: str) -> HttpResponseBase:
    """{do: set|adopt|propose, x, y, width, height, tilt, sizes} → the crops that changed, with their warnings."""
    crop, body = _crop(visitor, sitting, final_id, size), body_json(request)
    do = body.get("do")
    if do == "set":
        x, y, width, height = (round(_number(body, name)) for name in ("x", "y", "width", "height"))
        changed = [cut.adjust(crop, visitor, x, y, width, height, _number(body, "tilt"))]
    elif do == "adopt":
        changed = cut.adopt(crop, visitor, _sizes_named(body))
    elif do == "propose":
        changed = [cut.back_to_proposal(crop, visitor)]
    else:
        raise BadInput(_("A crop can be set, taken over, or proposed anew."))
    return JsonResponse({"crops": [crop_data(sitting, one) for one in changed]})


@studio_page()
@require_safe
def source_picture(request: HttpRequest, visitor: Visitor, sitting: Sitting, final_id: int) -> HttpResponseBase:
    """The picture that is cut, unstamped, for the photographer's editor."""
    final = final_of(visitor, sitting, final_id)
    source = cut.source_of(final)
    store, key = derived.view(sitting, source.key, source.sha256, SHOWN_SIDE)
    return send(request, store, key, content_type="image/jpeg", etag=f"{source.sha256}-view{SHOWN_SIDE}", cache=FOREVER)


@studio_page()
@require_safe
def preview(request: HttpRequest, visitor: Visitor, sitting: Sitting, final_id: int, size: str) -> HttpResponseBase:
    """One crop as it will be cut."""
    response = HttpResponse(cut.preview(_crop(visitor, sitting, final_id, size)), content_type="image/jpeg")
    return response


@studio_page()
@require_safe
def paper(request: HttpRequest, visitor: Visitor, sitting: Sitting, final_id: int, size: str) -> HttpResponseBase:
    """One crop as the lab's paper will show it; what the paper cannot hold stands in a header of words."""
    picture, warning = lab_profile.view(_crop(visitor, sitting, final_id, size))
    response = HttpResponse(picture, content_type="image/jpeg")
    response.headers["X-Caution"] = quote(warning)
    return response


@studio_page()
@require_http_methods(["GET", "HEAD", "POST"])
def preview_sheet(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """Every final in every chosen size on one picture, before anything is exported.

    Sent by the form that also holds the passcode, so as a POST: nothing of it stands in an address. It writes nothing.
    """
    wanted_ids = [whole(pk, _("size")) for pk in (request.POST or request.GET).getlist("size")]
    offered = sizes.offered()
    wanted = [size for size in offered if size.pk in wanted_ids] if wanted_ids else chosen_sizes(request)
    response = HttpResponse(cut.preview_sheet(sitting, wanted, visitor), content_type="image/jpeg")
    return response
