"""The range of a sitting from stored readings, old ones among them; reading anew."""

from __future__ import annotations

import pytest
from django.core.management import call_command

from galleries.access import Visitor
from galleries.errors import Missing, Refused
from galleries.imaging.versions import READER_VERSION
from galleries.management.commands.proofs import Command
from galleries.models import Frame, Job, JournalLine, Proof
from galleries.steps import derived
from galleries.steps.agreeing import agree, proposals
from galleries.steps.ingesting import proof, reading_anew
from galleries.steps.picking import pick
from galleries.steps.sorting import ranges
from tests.cast import Cast, make_cast
from tests.web.invitee.sheets import READING, proved

pytestmark = pytest.mark.django_db
FACE = READING["face"]
SMILES = {"features": [0.76, 0.09, 0.28]}
GRAVE = {"features": [0.56, 0.0, 0.28]}


@pytest.fixture
def cast() -> Cast:
    return make_cast()


def read(**face: object) -> dict[str, object]:
    return {**READING, "face": {**FACE, **face}}  # type: ignore[dict-item]


def test_stored_readings_have_places_and_older_ones_none(cast: Cast) -> None:
    one, two, three, four = (
        proved(cast, n, reading=reading) for n, reading in enumerate((read(**SMILES), read(**GRAVE), READING, None), 1)
    )
    told = ranges.places_of(cast.sitting)
    assert [told[frame.pk].smile_band for frame in (one, two, three, four)] == ["smiling", "serious", "", ""]
    counts = ranges.counted(told, [one.pk, two.pk, three.pk, four.pk])
    assert counts == {"smiling": 1, "serious": 1, "unread": 2}


def test_the_proposal_takes_the_range_in(cast: Cast) -> None:
    frames = [proved(cast, n, reading=read(**(GRAVE if n == 4 else SMILES))) for n in (1, 2, 3, 4)]
    for frame in frames:
        pick.set_mark(cast.as_subject, frame.pk, kind="pick")
        pick.set_mark(cast.as_representation, frame.pk, kind="pick")
    proposal = proposals.propose(agree.tally(cast.sitting, cast.as_owner), cast.sitting)
    assert frames[3].pk in proposal.chosen
    assert "only_serious" in [reason.code for reason in proposal.reasons[frames[3].pk]]


def test_frames_of_an_older_reader_are_read_anew_by_command(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Command, "_make", lambda self, mine, of: None)  # the work itself: tests of proofs
    old, new, unread = (proved(cast, n, reading=None if n == 3 else READING) for n in (1, 2, 3))
    Frame.objects.filter(pk=new.pk).update(reading_version=READER_VERSION)
    Proof.objects.update(recipe=derived.stamp_recipe())
    assert list(proof.read_by_an_older_reader(cast.sitting.frames.all())) == [old]
    call_command("proofs", cast.sitting.slug)
    assert not Job.objects.filter(kind="proof").exists()
    call_command("proofs", cast.sitting.slug, "--again")
    assert list(Job.objects.filter(kind="proof").values_list("thing", flat=True)) == [old.pk]
    assert unread.reading is None


def test_the_photographer_has_older_readings_read_anew_and_nobody_else_does(cast: Cast) -> None:
    for n in (1, 2, 3):
        proved(cast, n, reading=READING)
    Frame.objects.filter(number=3).update(reading_version=READER_VERSION)
    for by in (cast.as_subject, cast.as_representation, cast.as_recipient, Visitor(invite=cast.retoucher()), Visitor()):
        with pytest.raises((Refused, Missing)):
            reading_anew.read_anew(cast.sitting, by)
    assert reading_anew.older_readings(cast.sitting) == (2, 0)
    assert reading_anew.read_anew(cast.sitting, cast.as_owner) == 2
    assert reading_anew.read_anew(cast.sitting, cast.as_owner) == 0, "they are listed already"
    assert reading_anew.older_readings(cast.sitting) == (2, 2)
    assert JournalLine.objects.filter(verb="work asked for again").count() == 1
    Job.objects.update(state=Job.State.FAILED)
    assert reading_anew.older_readings(cast.sitting) == (2, 0), "what failed may be asked for again"
    assert reading_anew.read_anew(cast.sitting, cast.as_owner) == 2
    Frame.objects.update(reading_version=READER_VERSION)
    assert reading_anew.older_readings(cast.sitting) == (0, 0)
    assert reading_anew.read_anew(cast.sitting, cast.as_owner) == 0
