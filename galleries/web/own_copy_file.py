"""The file of a copy for the subject as an answer, for whoever may have it."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponseBase
from django.utils.translation import gettext as _

from galleries import storage
from galleries.access import Act, Visitor, own_copy_for
from galleries.errors import Missing
from galleries.models import OwnCopy, Sitting, Verb
from galleries.web.files import noted, send


def copy_of(visitor: Visitor, act: Act, sitting: Sitting, copy_id: int) -> OwnCopy:
    """A copy of this sitting. Raises as `own_copy_for`."""
    copy = own_copy_for(visitor, act, copy_id)
    if copy.sitting_id != sitting.pk:
        raise Missing(_("There is no such copy, or your link does not lead to it."))
    return copy


def archive_answer(request: HttpRequest, copy: OwnCopy) -> HttpResponseBase:
    if not copy.archive_key:
        raise Missing(_("This copy has no file (any more)."))
    key, kind = copy.archive_key, "application/zip"
    return send(request, storage.private(), key, content_type=kind, name=copy.archive_name, etag=copy.archive_sha256)


def archive_for_the_studio(request: HttpRequest, visitor: Visitor, copy: OwnCopy) -> HttpResponseBase:
    """As `archive_answer`, for the studio's people, and noted as what they fetched."""
    answer, name = archive_answer(request, copy), copy.archive_name
    return noted(request, answer, visitor, copy.sitting, Verb.OWN_COPY_FETCHED, name, copy.archive_sha256)
