"""The lab's own colour profile for a sitting's prints: given, looked at before export, taken back."""

from __future__ import annotations

import hashlib

from django.db import transaction
from django.utils.translation import gettext as _

from galleries import stages, storage
from galleries.access import Act, Visitor, require
from galleries.errors import BadInput
from galleries.imaging.contained import door
from galleries.imaging.errors import BadProfile
from galleries.models import Crop, JournalLine, Sitting, Verb
from galleries.steps.delivering import cut
from galleries.words.told import sentence


def give(sitting: Sitting, by: Visitor, icc: bytes) -> str:
    """Use this profile for every print of the sitting from now on; returns the profile's name.

    Raises:
        Refused: not this person's to do.
        BadInput: no profile, or none for RGB files.
    """
    _photographer(sitting, by)
    try:
        name = door.check_profile(icc)
    except BadProfile as error:
        raise BadInput(error.told) from error
    key = storage.derived_key(sitting.uid, "profile", hashlib.sha256(icc).hexdigest(), "icc")
    storage.put(storage.private(), key, icc)
    with transaction.atomic():
        Sitting.objects.filter(pk=sitting.pk).update(print_profile_key=key, print_profile_name=name[:120])
        stages.touch(sitting)
        JournalLine.write(sitting, by.who, Verb.LAB_PROFILE_GIVEN, name)
    sitting.refresh_from_db()
    return name


def take_back(sitting: Sitting, by: Visitor) -> None:
    """Prints are made in each size's own profile again. The file stays as long as a delivery may need it."""
    _photographer(sitting, by)
    with transaction.atomic():
        Sitting.objects.filter(pk=sitting.pk).update(print_profile_key="", print_profile_name="")
        stages.touch(sitting)
        JournalLine.write(sitting, by.who, Verb.LAB_PROFILE_TAKEN_BACK, sitting.print_profile_name)
    sitting.refresh_from_db()


def view(crop: Crop) -> tuple[bytes, str]:
    """The crop as the lab's paper will show it (JPEG, for the photographer), and a warning sentence or ''.

    Raises:
        BadInput: no profile was given for this sitting.
    """
    key = crop.final.sitting.print_profile_key
    if not key:
        raise BadInput(_("No lab profile was given for this sitting."))
    picture, warning = door.paper_view(cut.preview(crop), storage.get(storage.private(), key))
    return picture, sentence(warning) if warning else ""


def _photographer(sitting: Sitting, by: Visitor) -> None:
    require(by, Act.RUN, sitting, _("The lab's profile is the photographer's to give."))
