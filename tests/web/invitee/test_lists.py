"""Both lists: what the page says, what it proposes, asking before closing, and who may."""

from __future__ import annotations

import re

import pytest
from django.urls import reverse

from galleries.models import Final, JournalLine, Letter, Round
from galleries.steps.picking import pick
from galleries.web.invitee.compare import merged
from tests.cast import Cast, make_cast
from tests.web.invitee.sheets import filled

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    return make_cast()


def ticked(page: str) -> list[int]:
    return [int(pk) for pk in re.findall(r'name="frame"\s+value="(\d+)"\s+checked', page)]


def test_the_lists_stand_side_by_side_with_reasons(cast: Cast) -> None:
    one, two, three, four, *_rest = filled(cast)
    for frame in (one, two):
        pick.set_mark(cast.as_subject, frame.pk, kind="pick", note="for the website" if frame == one else None)
    pick.set_mark(cast.as_representation, one.pk, kind="pick")
    pick.set_mark(cast.as_representation, four.pk, kind="pick")
    pick.set_mark(cast.as_representation, three.pk, kind="strike")
    pick.remark(cast.as_owner, one.pk, "The light is best here.")
    page = cast.client_of(cast.representation).get(reverse("lists", args=[cast.sitting.slug])).content.decode()
    assert '<ul class="tray-film" tabindex="0" aria-label=' in page, "what scrolls is reached by the keyboard (axe)"
    assert "1 agreed of 3 included." in page
    assert "The light is best here." in page
    for title in ("Both picked", "Only the subject picked", "Only your side picked"):
        assert title in page
    assert "Only the representation picked" not in page, "nobody reads of their own side as of somebody else's"
    assert "for the website" in page
    assert "both of you picked it" in page
    assert "the only one for its purpose" in page
    assert set(ticked(page)) == {one.pk, two.pk, four.pk}
    assert "No other list is better by these measures." in page


def test_what_the_picks_do_not_cover_is_said(cast: Cast) -> None:
    one, *_rest = filled(cast)
    pick.set_mark(cast.as_subject, one.pk, kind="pick")
    page = cast.client_of(cast.representation).get(reverse("lists", args=[cast.sitting.slug])).content.decode()
    assert "No pick of either side in “Look of wool”." in page
    assert "No pick for portfolio among them." in page


def test_where_nobody_marked_anything_only_that_is_said(cast: Cast) -> None:
    filled(cast)
    for person, name in ((cast.representation, "lists"), (cast.owner, "studio-lists")):
        page = cast.client_of(person).get(reverse(name, args=[cast.sitting.slug])).content.decode()
        assert "No pick" not in page


def test_nearly_the_same_frames_are_not_both_proposed_and_the_reason_is_given(cast: Cast) -> None:
    one, two, three, *_rest = filled(cast, 1, 4)
    type(one).objects.filter(pk__in=[one.pk, two.pk]).update(run=7)
    for frame in (one, two, three):
        pick.set_mark(cast.as_subject, frame.pk, kind="pick")
        pick.set_mark(cast.as_representation, frame.pk, kind="pick")
    page = cast.client_of(cast.representation).get(reverse("lists", args=[cast.sitting.slug])).content.decode()
    assert len({one.pk, two.pk} & set(ticked(page))) == 1
    assert re.search(r"left out: nearly the same as 000[12]", page)


def test_closing_asks_once_and_says_what_is_over(cast: Cast) -> None:
    frames = filled(cast)
    client, address = cast.client_of(cast.representation), reverse("lists", args=[cast.sitting.slug])
    for frame in frames[:5]:
        pick.set_mark(cast.as_subject, frame.pk, kind="pick")
    wanted = [frame.pk for frame in frames[:4]]
    page = client.post(address, {"frame": wanted}).content.decode()
    assert "Close the list with 4 finals?" in page
    assert "That is 1 more than included." in page
    assert "is on the list." not in page
    assert "Nothing of “Look of wool” is on the list." in client.post(address, {"frame": wanted[:1]}).content.decode()
    assert not Final.objects.exists()
    assert client.post(address, {"frame": wanted, "sure": "1"}).status_code == 302
    cast.sitting.refresh_from_db()
    assert cast.sitting.stage == "finishing"
    assert list(Final.objects.values_list("frame_id", flat=True)) == wanted
    assert Round.objects.get().closed_by == "Ruben Achterberg"
    assert JournalLine.objects.filter(verb="list closed", who__contains="Ruben").exists()
    assert sorted(Letter.objects.filter(kind="closed").values_list("to", flat=True)) == [
        "ansa@veld.example",
        "ruben@achterberg.example",
        "tamsin@northlight.example",
    ]
    page = client.get(address).content.decode()
    assert "The list was closed by Ruben Achterberg" in page
    assert 'name="frame"' not in page
    assert client.post(address, {"frame": wanted, "sure": "1"}).status_code == 403


def test_before_the_button_it_is_said_who_still_marks_and_which_picks_are_left_out(cast: Cast) -> None:
    one, two, three, four, *_rest = filled(cast)
    for frame in (one, two):
        pick.set_mark(cast.as_subject, frame.pk, kind="pick")
    for frame in (one, three):
        pick.set_mark(cast.as_representation, frame.pk, kind="pick")
    client, address = cast.client_of(cast.representation), reverse("lists", args=[cast.sitting.slug])
    before = client.post(address, {"frame": [one.pk, four.pk]}).content.decode().split('name="sure"')[0]
    left_out = "".join(re.findall(r'<ul class="small-film left-out">.*?</ul>', before, re.DOTALL))
    assert re.findall(r'class="typed">(\w+)<', left_out) == [two.label, three.label]
    assert left_out.count("<img") == 2
    assert "Ansa Veld has not said “I am through” yet." in before
    assert "You have not said “I am through” yet." in before  # nobody reads of herself by name
    assert f"{cast.representation.name} has not said" not in before
    pick.say_done(cast.as_subject, cast.sitting)
    after = client.post(address, {"frame": [one.pk, two.pk, three.pk]}).content.decode()
    assert "Ansa Veld has not said" not in after
    assert "left-out" not in after


def test_an_empty_list_and_a_foreign_frame_are_refused(cast: Cast) -> None:
    frames = filled(cast, 1, 2)
    other = make_cast("other-sitting").frame(50)
    pick.set_mark(cast.as_subject, frames[0].pk, kind="pick")
    client, address = cast.client_of(cast.representation), reverse("lists", args=[cast.sitting.slug])
    assert client.post(address, {}).status_code == 400
    assert client.post(address, {"frame": [frames[0].pk, other.pk], "sure": "1"}).status_code == 400
    assert client.post(address, {"frame": ["x"], "sure": "1"}).status_code == 400
    assert not Final.objects.exists()
    assert cast.client_of(cast.subject).post(address, {"frame": [frames[0].pk], "sure": "1"}).status_code == 403


@pytest.mark.parametrize(
    ("ranking", "fresh", "want"),
    [
        ([], [3, 1], [3, 1]),
        ([1, 2, 3, 4], [3, 1], [3, 2, 1, 4]),
        ([1, 2, 3], [3, 9, 1], [3, 2, 9, 1]),
        ([1, 2], [5, 6], [1, 2, 5, 6]),
        ([5, 6], [6, 5], [6, 5]),
    ],
)
def test_a_new_order_moves_only_what_it_names(ranking: list[int], fresh: list[int], want: list[int]) -> None:
    assert merged(ranking, fresh) == want


def test_an_order_is_ones_own_and_of_ones_own_frames(cast: Cast) -> None:
    frames = filled(cast)
    client, address = cast.client_of(cast.subject), reverse("compare", args=[cast.sitting.slug])
    order = [frames[1].pk, frames[0].pk]
    said = client.post(address, {"order": order}, "application/json", headers={"accept": "application/json"})
    assert said.json() == {"order": order}
    assert list(cast.subject.standings.values_list("frame_id", flat=True)) == order
    assert not cast.representation.standings.exists()
    for body in ({"order": "x"}, {"nothing": 1}, [1], {"order": [10**9]}, {"order": [order[0], order[0]]}):
        answer = client.post(address, body, "application/json", headers={"accept": "application/json"})
        assert answer.status_code == 400, body
    assert cast.client_of(cast.owner).post(address, {"order": order}, "application/json").status_code == 403
