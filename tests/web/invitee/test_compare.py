"""Side by side: which frames of a look stand there, and that it is said when they are not all."""

from __future__ import annotations

import json
import re

import pytest

from galleries.steps.picking import pick
from tests.cast import Cast, make_cast
from tests.web.invitee.sheets import filled

pytestmark = pytest.mark.django_db
LIKED = "These are your picks and alternates of this look."


@pytest.fixture
def cast() -> Cast:
    return make_cast()


def compared(cast: Cast, query: str) -> tuple[str, list[int]]:
    """The page, and the frames that its script lays side by side."""
    page = cast.client_of(cast.subject).get(f"/s/{cast.sitting.slug}/compare?{query}").content.decode()
    block = re.search(r'<script id="frames"[^>]*>(.*?)</script>', page, re.DOTALL)
    assert block
    return page, [row[0] for row in json.loads(block[1])]


def test_of_a_look_what_they_like_stands_there_and_the_rest_is_a_press_away(cast: Cast) -> None:
    frames = [one for one in filled(cast, 1, 5) if one.look_id]
    look = frames[0].look_id
    for frame, kind in ((frames[0], "pick"), (frames[1], "alternate"), (frames[4], "strike")):
        pick.set_mark(cast.as_subject, frame.pk, kind=kind)
    page, pks = compared(cast, f"look={look}")
    assert pks == [frames[0].pk, frames[1].pk]
    assert LIKED in page
    assert "All 4 that you did not strike" in page
    assert f"?look={look}&amp;whole=1" in page
    whole, pks = compared(cast, f"look={look}&whole=1")
    assert LIKED not in whole
    assert pks == [frame.pk for frame in frames[:4]]
    pick.set_mark(cast.as_subject, frames[1].pk, kind="")
    assert LIKED not in compared(cast, f"look={look}")[0], "with one alone all are compared anyway"
    assert LIKED not in compared(cast, f"frames={frames[0].pk},{frames[2].pk}")[0]
