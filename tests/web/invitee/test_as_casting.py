"""The picks at the size of a casting list: whose, which pixels, what is said, and who may look."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.urls import reverse

from galleries import storage
from galleries.models import Frame, Invite, Look, Proof
from galleries.painter import neighbours
from galleries.steps import derived
from galleries.steps.delivering import sizes
from galleries.steps.picking import list_size, pick
from galleries.web.invitee import as_casting
from tests.cast import Cast, make_cast
from tests.web.invitee.sheets import READING, filled, picture, proved

pytestmark = pytest.mark.django_db
COLOURS = {"face_l": 70.0, "skin_ab": [14.0, 16.0], "backdrop_lab": [20.0, 0.0, 0.0]}


@pytest.fixture
def cast() -> Cast:
    return make_cast()


def page_of(cast: Cast, person: Any, **query: str) -> str:
    answer = cast.client_of(person).get(reverse("as-casting", args=[cast.sitting.slug]), query)
    assert answer.status_code == 200
    return str(answer.content.decode())


def tiles(page: str, kind: str) -> list[int]:
    return [int(pk) for pk in re.findall(rf'<li class="{kind}">\s*<a[^>]*?data-frame="(\d+)"', page)]


def seen_without_stamp(cast: Cast, frame: Frame, shade: int) -> None:
    """The desk's own small picture, as the worker leaves it."""
    place = derived.view_place(cast.sitting, frame.sha256, derived.DESK_SIDE)
    storage.put(place.store, place.key, picture(240, 360, shade))


def test_ones_picks_stand_among_others_in_the_casting_crop(cast: Cast) -> None:
    sizes.load()
    frames = filled(cast, 2, 4)
    for frame in frames[:2]:
        pick.set_mark(cast.as_subject, frame.pk, kind="pick")
    pick.set_mark(cast.as_subject, frames[7].pk, kind="strike")
    page = page_of(cast, cast.subject)
    assert set(tiles(page, "mine")) == {frame.pk for frame in frames[:2]}
    assert set(tiles(page, "of-sitting")) == {frame.pk for frame in frames[2:7]}
    assert page.count('<li class="stranger"') == as_casting.PEOPLE
    # The window is the crop that the program proposes for a 4:5 upload, in the pixels of the small proof (80 × 120).
    x, y, width, height = list_size.list_crop(Frame.objects.get(pk=frames[0].pk), list_size.UPRIGHT).part
    box = f'viewBox="{x * 80:.2f} {y * 120:.2f} {width * 80:.2f} {height * 120:.2f}"'
    assert page.count(box) == 2 + 5 + 2
    assert (width * 80) / (height * 120) == pytest.approx(0.8, abs=0.01)
    square = page_of(cast, cast.subject, shape="casting-square")
    assert box not in square
    assert re.search(r'href="\?of=own&amp;shape=casting-square"\s+aria-current="true"', square)


def test_no_pixel_without_a_stamp_is_named(cast: Cast) -> None:
    frames = filled(cast, 1, 3)
    pick.set_mark(cast.as_subject, frames[0].pk, kind="pick")
    page = page_of(cast, cast.subject)
    small = {f"/files/proof/{proof.frame_id}/small/{proof.pk}.jpg" for proof in Proof.objects.all()}
    assert {*re.findall(r'<image\s+href="([^"]+)"', page)} - small == {"/static/galleries/neighbours.jpg"}
    assert "/view" not in page.replace("viewBox", "")
    assert "/original" not in page


def test_the_numbers_are_told(cast: Cast) -> None:
    look = cast.look()
    read = {**READING, **COLOURS}
    one, two, three, four = (proved(cast, n, look, reading=read) for n in (1, 2, 3, 4))
    for frame, shade in ((one, 60), (two, 61), (three, 200)):
        seen_without_stamp(cast, frame, shade)
    Frame.objects.filter(pk=four.pk).update(reading=None)
    for frame in (one, two, three, four):
        pick.set_mark(cast.as_subject, frame.pk, kind="pick")
    page = page_of(cast, cast.subject)
    # L* 70 is Y 0.407, L* 20 is Y 0.030: (0.407 + 0.05) / (0.030 + 0.05) = 5.7.
    assert "Face against backdrop 5.7 : 1, colour difference 50: it stands out." in page
    assert "On a dark page the picture has hardly an edge (1.3 : 1)." in page
    assert "On a white page" not in page
    assert "Hard to tell from 0002" in page
    assert "Hard to tell from 0001" in page
    assert re.search(r"Nearest: 000[12] \(difference \d\d", page)
    # Not read, and its picture cannot be made again (there is no original): said, and no error.
    assert "Not read yet." in page
    assert "How different it is from the others is not measured yet." in page


def test_an_old_frame_is_measured_a_few_at_a_time(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[int] = []
    monkeypatch.setattr(list_size.proof, "view", lambda frame, side: asked.append(frame.pk))
    frames = filled(cast, 1, 6)
    rows = [(frame, list_size.list_crop(frame, list_size.UPRIGHT)) for frame in frames]
    list_size._at_hand(rows)
    assert asked == [frame.pk for frame in frames[: list_size.MOST_MADE]]


def test_whose_picks_are_shown_can_be_chosen_where_there_are_any(cast: Cast) -> None:
    one, two, *_rest = filled(cast)
    pick.set_mark(cast.as_subject, one.pk, kind="pick")
    pick.set_mark(cast.as_representation, two.pk, kind="pick")
    assert tiles(page_of(cast, cast.representation), "mine") == [two.pk]
    assert tiles(page_of(cast, cast.representation, of="subject"), "mine") == [one.pk]
    assert tiles(page_of(cast, cast.owner), "mine") == [one.pk]
    assert tiles(page_of(cast, cast.owner, of="representation"), "mine") == [two.pk]
    assert tiles(page_of(cast, cast.owner, of="no such"), "mine") == [one.pk]


def test_who_picked_nothing_reads_what_to_do(cast: Cast) -> None:
    filled(cast)
    assert "You have picked nothing yet." in page_of(cast, cast.subject)
    assert "Nobody has picked anything yet." in page_of(cast, cast.owner)


def test_what_is_kept_from_the_representation_is_not_among_the_others(cast: Cast) -> None:
    one, two, three = filled(cast, 1, 3)
    Frame.objects.filter(pk=two.pk).update(kept_by_subject=True)
    Frame.objects.filter(pk=three.pk).update(hidden=True)
    pick.set_mark(cast.as_subject, one.pk, kind="pick")
    pick.set_mark(cast.as_subject, two.pk, kind="pick")
    page = page_of(cast, cast.representation, of="subject")
    assert tiles(page, "mine") == [one.pk]
    assert f"/files/proof/{two.pk}/" not in page
    assert f"/files/proof/{three.pk}/" not in page


@pytest.mark.parametrize("who", ["recipient", "stranger", None])
def test_nobody_else_may_look(cast: Cast, who: str | None) -> None:
    filled(cast, 1, 1)
    person = getattr(cast, who) if who else None
    answer = cast.client_of(person).get(reverse("as-casting", args=[cast.sitting.slug]))
    assert answer.status_code in {403, 404}
    other = make_cast("other-sitting")
    assert cast.client_of(other.subject).get(reverse("as-casting", args=[cast.sitting.slug])).status_code == 404


def test_an_ended_invite_and_another_method_are_refused(cast: Cast) -> None:
    client, address = cast.client_of(cast.subject), reverse("as-casting", args=[cast.sitting.slug])
    assert client.post(address).status_code == 405
    Invite.objects.filter(pk=cast.subject.pk).update(revoked_at=cast.sitting.created_at)
    assert client.get(address).status_code in {403, 404}


def test_the_strangers_are_laid_as_they_were_painted() -> None:
    assert (as_casting.PEOPLE, as_casting.ACROSS, as_casting.TILE) == (
        neighbours.PEOPLE, neighbours.ACROSS, neighbours.TILE,
    )  # fmt: skip


def test_a_look_without_a_title_and_a_frame_without_a_look_are_shown(cast: Cast) -> None:
    frame = proved(cast, 1)
    assert not Look.objects.exists()
    pick.set_mark(cast.as_subject, frame.pk, kind="pick")
    assert tiles(page_of(cast, cast.subject), "mine") == [frame.pk]
