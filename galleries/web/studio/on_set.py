"""The page on set: the newest frame large, the look that is being shot, 'new look starts here'."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from galleries.access import Visitor
from galleries.models import Proof, Sitting
from galleries.sorting.eyes import Usual
from galleries.steps.sorting import looks, loupe
from galleries.web.addresses import view_picture
from galleries.web.doors import studio_page
from galleries.web.news import news
from galleries.web.studio.desk_data import flag_words, flags, picture
from galleries.web.studio.forms import whole
from galleries.web.studio.sittings import look_of

LATEST = 12


@studio_page()
@require_safe
def on_set(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    planned = sitting.looks.exclude(pk=sitting.current_look_id or 0)
    context = {
        "sitting": sitting,
        "page": "studio-set",
        "now": newest(sitting),
        "planned": planned,
        "current": sitting.current_look,
        "watching": watching(sitting),
    }
    return render(request, "galleries/studio/set.html", context)


def watching(sitting: Sitting) -> str:
    """The line that watches a folder for this sitting, for a shell on the site's own machine, as it stands.

    The folder is the sitting's own and is made when it is missing; it is the shell that knows whose `~` is.
    """
    base = Path(settings.BASE_DIR)
    words = [sys.executable, str(base / "manage.py"), "watch"]
    site = [] if base / ".site" == Path(settings.SITE_DIR) else [f"PORTAL_HOME={shlex.quote(str(settings.SITE_DIR))}"]
    line = [*site, *map(shlex.quote, words), f"~/tether/{sitting.slug}", "--make-folder", "--sitting", sitting.slug]
    return " ".join(line)


def newest(sitting: Sitting) -> dict[str, Any]:
    """The last frames that came, newest first, as plain data."""
    frames = list(sitting.frames.select_related("look").order_by("-pk")[:LATEST])
    proofs = Proof.objects.newest_of(frame.pk for frame in frames)
    words = flag_words()
    rows = []
    for frame in frames:
        proof = proofs.get(frame.pk)
        rows.append(
            {
                "id": frame.pk,
                "label": frame.label,
                "name": frame.name,
                "look": frame.look.title if frame.look else "",
                # The studio judges without the stamp.
                "large": view_picture(frame.pk) if proof else "",
                "eyes": reverse("studio-eyes", args=[sitting.slug, frame.pk]) if frame.reading else "",
                "sensor": loupe.from_sensor(frame),
                "pupils": loupe.pupils(frame) if frame.reading else [],
                "small": picture(proof),
                "w": proof.large_width if proof else frame.width,
                "h": proof.large_height if proof else frame.height,
                "flags": [words[flag] for flag in flags(frame, Usual())],
            }
        )
    current = sitting.current_look
    return {
        "change": sitting.change,
        "frames": rows,
        "count": sitting.frames.count(),
        "look": current.title if current else "",
        "refused": sitting.refusals.count(),
    }


@studio_page()
@require_safe
def set_news(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """204 while nothing changed since `?since=`."""
    return news(request, sitting, lambda: newest(sitting))


@studio_page()
@require_POST
def start_look(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """Frames that come from now on go to a new look, or to a planned one; 'end' leaves it to the program again."""
    if request.POST.get("do") == "end":
        looks.end_look_on_set(sitting, visitor)
    else:
        wanted = request.POST.get("look", "")
        chosen = look_of(sitting, whole(wanted, _("look"))) if wanted else None
        looks.start_look_on_set(sitting, request.POST.get("title", ""), visitor, chosen)
    return redirect("studio-set", slug=sitting.slug)
