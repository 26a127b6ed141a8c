"""Unstamped files that the studio's people fetched, in the journal: what, by whom, each fetch a line.

A fetch is a file handed over as it lies in the store: an original, a retouched file, a delivered file, an archive, a
copy for the subject. What the desk, the crop editor and the other pages show while the studio works (smaller
renditions, the eyes at 100 %, previews) is looking at pictures and no download: a line for each would bury those that
matter. Those invited get no retouched file at all, and no original but a retoucher those of the finals; what they fetch
of these, of a delivery and of their own copy is noted with its receipt (`finishing/originals`, `delivering/receipts`,
`keeping/own_copy`), each fetch a line too. A file fetched in ranges
is one fetch.
"""

from __future__ import annotations

from datetime import timedelta

from django.utils import timezone

from galleries.access import Act, Visitor, require
from galleries.models import JournalLine, Sitting, Verb

ONE_FETCH = timedelta(days=1)  # ranges of the same file by the same person within it are one; own choice


def note(sitting: Sitting, by: Visitor, verb: Verb, name: str, sha256: str, *, ranged: bool) -> None:
    """Somebody of the studio fetches the file `name` of the sitting, or (`ranged`) a piece of it."""
    require(by, Act.SEE_ORIGINAL, sitting)
    if ranged:
        since = timezone.now() - ONE_FETCH
        noted = JournalLine.objects.filter(sitting=sitting, who=by.who, verb=verb, at__gt=since, detail__sha256=sha256)
        if noted.exists():
            return
    JournalLine.write(sitting, by.who, verb, name, sha256=sha256)
