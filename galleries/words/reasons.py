"""Why the proposal takes a frame, or leaves it."""

from __future__ import annotations

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from galleries.sorting.shortlist import Reason

WORDS = {
    "both": _("both of you picked it"),
    "subject": _("the subject picked it"),
    "representation": _("the representation picked it"),
    "alternate": _("an alternate, and there is room"),
    "first_subject": _("first in the subject's order"),
    "first_representation": _("first in the representation's order"),
    "only_look": _("the only one of its look"),
    "only_purpose": _("the only one for its purpose"),
    "only_serious": _("the only serious one, as far as a reading can tell"),
    "only_slight": _("the only slight smile, as far as a reading can tell"),
    "only_smiling": _("the only smiling one, as far as a reading can tell"),
    "only_open": _("the only open one, as far as a reading can tell"),
    "only_intense": _("the only intense one, as far as a reading can tell"),
    "allowance": _("left out: more than the allowance"),
}
OF_ANOTHER = {
    "unlike": _("another expression than %s"),
    "same_run": _("left out: nearly the same as %s"),
    "alike": _("left out: the expression is much like %s"),
}


def reason_words(reason: Reason, labels: dict[int, str]) -> str:
    """A reason as half a sentence; `labels` by frame, for the other frame it speaks of."""
    if reason.code in OF_ANOTHER:
        return gettext(OF_ANOTHER[reason.code]) % labels.get(reason.other or 0, "")
    return gettext(WORDS[reason.code])
