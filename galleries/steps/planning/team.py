"""Who of the studio works on a sitting, beside its photographer."""

from __future__ import annotations

from collections.abc import Sequence

from django.contrib.auth.models import User
from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from galleries import stages
from galleries.access import Act, Visitor, require
from galleries.errors import BadInput, Conflict
from galleries.models import JournalLine, Sitting, Verb


def could_work_on(sitting: Sitting) -> QuerySet[User]:
    """The studio's open accounts but its photographer's and the operator's, by name."""
    accounts = User.objects.filter(is_active=True, is_superuser=False).exclude(pk=sitting.photographer_id)
    return accounts.order_by("first_name", "last_name", "pk")


def set_team(sitting: Sitting, by: Visitor, account_ids: Sequence[int]) -> None:
    """These colleagues work on the sitting, and no others; again with the ones of before takes it back.

    Raises:
        Refused: not this person's to do.
        BadInput: somebody who has no open account here.
        Conflict: whoever asks would shut themselves out.
    """
    require(by, Act.RUN, sitting, _("Who works on a sitting is said by whoever does."))
    wanted = set(account_ids)
    people = list(could_work_on(sitting).filter(pk__in=wanted))
    if len(people) != len(wanted):
        raise BadInput(_("One of them has no open account in this studio any more. Load the page again."))
    if by.user is not None and by.user.pk != sitting.photographer_id and by.user.pk not in wanted:
        raise Conflict(_("You would shut yourself out; a colleague can take you off."))
    with transaction.atomic():
        before = set(sitting.colleagues.values_list("pk", flat=True))
        if before == wanted:
            return
        sitting.colleagues.set(people)
        stages.touch(sitting)
        names = ", ".join(Visitor(user=one).name for one in people)
        JournalLine.write(sitting, by.who, Verb.TEAM_CHANGED, names[:120], added=sorted(wanted - before),
                          gone=sorted(before - wanted))  # fmt: skip
