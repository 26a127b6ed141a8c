"""What the embedded way keeps of letters goes with the sitting; only its photographer may let it go."""

from __future__ import annotations

from pathlib import Path

import pytest

from galleries.access import Visitor
from galleries.errors import Refused
from galleries.models import Sitting
from galleries.steps.keeping import erase
from tests.cast import make_cast

pytestmark = pytest.mark.django_db


def test_letters_to_people_of_this_sitting_only_are_removed(tmp_path, settings):
    settings.MAIL, settings.EMAIL_FILE_PATH = "folder", str(tmp_path)
    cast, other = make_cast(), make_cast("another")
    other.subject.email = "mira@solen.example"
    other.subject.save()
    for name, to in (
        ("1.log", cast.subject.email),
        ("2.log", cast.representation.email),
        ("3.log", other.subject.email),
    ):
        Path(tmp_path, name).write_text(f"Subject: Proofs\nTo: {to}\n\nLink: http://localhost/i/x\n")
    erase.erase(cast.sitting, cast.as_owner, "on request")
    # The agent has an invite of the other sitting too, so a letter to them may be about that.
    assert sorted(path.name for path in tmp_path.iterdir()) == ["2.log", "3.log"]


def test_a_colleague_may_not_erase():
    cast = make_cast()
    cast.sitting.colleagues.add(cast.colleague)
    with pytest.raises(Refused, match="photographer"):
        erase.erase(cast.sitting, Visitor(user=cast.colleague), "tidying up")
    assert Sitting.objects.filter(pk=cast.sitting.pk).exists()
