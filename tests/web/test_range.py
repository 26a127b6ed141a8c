"""The sheet and the desk in the order of the range, and the range of a list in words."""

from __future__ import annotations

import re

import pytest
from django.urls import reverse

from galleries.imaging.versions import READER_VERSION
from galleries.models import Frame, Job
from galleries.steps.picking import pick
from galleries.web.range_words import range_line
from tests.cast import Cast, make_cast
from tests.steps.sorting.test_ranges import GRAVE, SMILES, read
from tests.web.invitee.sheets import READING, proved

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    return make_cast()


def three(cast: Cast) -> list[Frame]:
    """One that smiles, one that an older release read, one that is serious; as they were taken."""
    look = cast.look()
    return [
        proved(cast, n, look, reading=reading) for n, reading in ((1, read(**SMILES)), (2, READING), (3, read(**GRAVE)))
    ]


def test_the_sheet_puts_each_look_in_order_and_says_that_it_may_err(cast: Cast) -> None:
    one, old, grave = three(cast)
    client, address = cast.client_of(cast.subject), reverse("sheet", args=[cast.sitting.slug])

    def order(query: dict[str, str]) -> list[int]:
        page = client.get(address, query).content.decode()
        assert ("it may err" in page) is (query.get("order") in {"smile", "intensity"})
        return [int(pk) for pk in re.findall(r'<li class="frame" id="f(\d+)"', page)]

    assert order({}) == [one.pk, old.pk, grave.pk]
    assert order({"order": "smile"}) == [grave.pk, one.pk, old.pk]
    assert order({"order": "no such"}) == [one.pk, old.pk, grave.pk]


def test_the_desk_has_the_places_and_none_for_older_readings(cast: Cast) -> None:
    one, old, grave = three(cast)
    answer = cast.client_of(cast.owner).get(reverse("studio-desk-data", args=[cast.sitting.slug]))
    rows = {row["id"]: row.get("range") for row in answer.json()["frames"]}
    assert rows[one.pk]["smile"] == 1
    assert rows[grave.pk]["smile"] < 0.3
    assert rows[old.pk] is None


def test_the_desk_asks_for_older_readings_to_be_read_anew(cast: Cast) -> None:
    three(cast)
    Frame.objects.exclude(number=2).update(reading_version=READER_VERSION)
    address = reverse("studio-desk-act", args=[cast.sitting.slug])
    body = {"data": {"do": "read"}, "content_type": "application/json"}
    for person in (cast.subject, cast.representation, cast.recipient):
        assert cast.client_of(person).post(address, **body).status_code in {302, 403, 404}
    assert not Job.objects.filter(kind="proof").exists()
    assert cast.client_of(cast.owner).post(address, **body).json()["anew"] == [1, 1]


def test_both_pages_of_lists_tell_the_range_of_the_proposal(cast: Cast) -> None:
    for frame in three(cast):
        pick.set_mark(cast.as_subject, frame.pk, kind="pick")
    line = (
        "serious 1, slight smile 0, smiling 1; open 0, intense 0. A reading of mouth, brows and lids, and it may err."
    )
    for person, page in ((cast.representation, "lists"), (cast.owner, "studio-lists")):
        text = cast.client_of(person).get(reverse(page, args=[cast.sitting.slug])).content.decode()
        assert line in text
        assert "Not read yet, or no face: 1." in text
        assert "the only serious one, as far as a reading can tell" in text.lower()
    assert range_line({}) == ""
