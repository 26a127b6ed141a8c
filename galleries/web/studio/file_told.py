"""A file read for the photographer: where it comes from, whether it was changed, what it says of its rights."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

from django.contrib.auth.models import User
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from galleries import access
from galleries.errors import BadInput
from galleries.steps.delivering import offer, stated
from galleries.web.doors import signed_in

MOST_BYTES = 30_000_000  # the proxy lets no larger form in


@signed_in
@require_http_methods(["GET", "HEAD", "POST"])
def file_page(request: HttpRequest, user: User) -> HttpResponseBase:
    """A file is read and not kept. Deliveries are named to those who run their sitting only."""
    context: dict[str, object] = {"page": "studio-own", "most_mb": MOST_BYTES // 10**6}
    if request.method == "POST":
        upload = request.FILES.get("file")
        if not isinstance(upload, UploadedFile) or not 0 < (upload.size or 0) <= MOST_BYTES:
            raise BadInput(_("Choose a file of at most %d MB.") % (MOST_BYTES // 10**6))
        told = _told(upload)
        rows = [row for row in offer.of_file(told.sha256) if access.runs(user, row.delivery.sitting)]
        context |= {"told": told, "rows": rows, "name": upload.name}
    return render(request, "galleries/studio/file_told.html", context)


def _told(upload: UploadedFile[Any]) -> stated.Stated:
    with tempfile.NamedTemporaryFile() as copy:
        for chunk in upload.chunks():
            copy.write(chunk)
        copy.flush()
        return stated.of_file(Path(copy.name))
