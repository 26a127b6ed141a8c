"""The file of a copy for the subject as an answer, for whoever may have it."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponseBase
from django.utils.translation import gettext as _

from galleries import storage
from galleries.access import Act, Visitor, own_copy_for
from galleries.errors import Missing
from galleries.models import OwnCopy, Sitting
from galleries.web.files import send


def copy_of(visitor: Visitor, act: Act, sitting: Sitting, copy_id: int) -> OwnCopy:
    """A copy of this sitting. Raises as `own_copy_for`."""
    found = own_copy_for(visitor, act, copy_id)
    if found.sitting_id != sitting.pk:
        raise Missing(_("There is no such copy, or your link does not lead to it."))
    return found


def archive_answer(request: HttpRequest, copy: OwnCopy) -> HttpResponseBase:
    if not copy.archive_key:
        raise Missing(_("This copy has no file (any more)."))
    key, kind = copy.archive_key, "application/zip"
    return send(request, storage.private(), key, content_type=kind, name=copy.archive_name, etag=copy.archive_sha256)
