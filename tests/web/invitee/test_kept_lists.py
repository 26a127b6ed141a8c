"""What is kept of readings between requests changes nothing of what the lists and the desk show to anybody, whoever
asked before them."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from django.urls import reverse

from galleries.models import Frame, Invite, Look, Mark, Sitting
from galleries.steps.people import invite as invites
from galleries.steps.picking import pick
from galleries.steps.sorting import readings
from tests.cast import Cast, make_cast
from tests.web.invitee.sheets import READING, filled

pytestmark = pytest.mark.django_db
OWN = re.compile(r'name="csrfmiddlewaretoken" value="\w+"')  # of one answer alone
PAGES = ("lists", "studio-lists", "studio-desk-data")
FACE = {**READING["face"], "features": [0.76, 0.09, 0.28]}  # type: ignore[dict-item]
STUDIO, DESK, AGENT = ("owner", "studio-lists"), ("owner", "studio-desk-data"), ("representation", "lists")


@pytest.fixture
def cast() -> Cast:
    cast = make_cast()
    Invite.objects.create(
        sitting=cast.sitting, role="assistant", name="Mira Sand", email="mira@sand.example",
        expires_at=cast.subject.expires_at,
    )  # fmt: skip
    for number, frame in enumerate(filled(cast), 1):
        for who in (cast.as_subject, cast.as_representation):
            pick.set_mark(who, frame.pk, kind="pick" if number < 4 else "alternate")
    Frame.objects.update(reading_version=4, reading={**READING, "face": FACE})
    pick.set_mark(cast.as_subject, first(cast).pk, note="the scar <b>", for_studio=True)
    return cast


def first(cast: Cast) -> Frame:
    return cast.sitting.frames.order_by("pk")[0]


def shown(cast: Cast, *asked: tuple[str, str]) -> dict[tuple[str, str], str]:
    """The pages as these people get them, or the answer's status."""
    people = {
        "owner": cast.owner, "colleague": cast.colleague, "stranger": cast.stranger, "nobody": None,
        **{one.role: one for one in cast.sitting.invites.filter(role__in=("subject", "representation", "assistant"))},
    }  # fmt: skip
    answers = {}
    for who, page in asked or [(who, page) for who in people for page in PAGES]:
        answer = cast.client_of(people[who]).get(reverse(page, args=[cast.sitting.slug]))
        text = OWN.sub("", answer.content.decode())
        answers[who, page] = text if answer.status_code == 200 else f"{answer.status_code}"
    return answers


def speaks_of(text: str, frame: int) -> bool:
    return (
        re.search(rf'#frame-{frame}"|data-frame="{frame}"|data-large="{frame}"|"id":{frame},"label', text) is not None
    )


# What happens, and the pages from which the first frame goes.
CHANGES: dict[str, tuple[Callable[[Cast], object], set[tuple[str, str]]]] = {
    "hidden": (lambda cast: Frame.objects.filter(pk=first(cast).pk).update(hidden=True), {AGENT}),
    "look hidden": (lambda cast: Look.objects.filter(frames=first(cast)).update(hidden=True), {AGENT}),
    "kept": (lambda cast: Frame.objects.filter(pk=first(cast).pk).update(kept_by_subject=True), {AGENT}),
    "look kept": (
        lambda cast: Look.objects.filter(frames=first(cast)).update(kept_from_representation=True), {AGENT},
    ),
    "struck": (
        lambda cast: (
            Sitting.objects.update(strikes_hide=True),
            pick.set_mark(cast.as_subject, first(cast).pk, kind="strike"),
        ),
        {AGENT},
    ),
    "no mark": (
        lambda cast: Mark.objects.filter(frame=first(cast)).delete(), {AGENT, STUDIO},
    ),
    "taken off": (lambda cast: first(cast).delete(), {AGENT, STUDIO, DESK}),
    "revoked": (lambda cast: invites.revoke(cast.representation, cast.as_owner), {AGENT}),
    "list closed": (lambda cast: Sitting.objects.update(stage=Sitting.Stage.FINISHING), set()),
    "read anew": (
        lambda cast: Frame.objects.filter(pk=first(cast).pk).update(
            reading_version=5, reading={**READING, "face": {**FACE, "right_openness": 0.1}}
        ),
        set(),
    ),
}  # fmt: skip


@pytest.mark.parametrize("change", CHANGES)
def test_nothing_is_shown_to_somebody_else_nor_what_was_before(cast: Cast, change: str) -> None:
    pk, (happen, gone) = first(cast).pk, CHANGES[change]
    readings._kept.clear()
    before = shown(cast, DESK, STUDIO, AGENT)
    assert all(speaks_of(text, pk) for text in before.values())
    happen(cast)
    after = shown(cast, AGENT, STUDIO, DESK)
    assert {key for key, text in after.items() if not speaks_of(text, pk)} == gone
    assert (after[AGENT] == "404") == (change == "revoked")
    readings._kept.clear()
    assert after == shown(cast, AGENT, STUDIO, DESK)
    assert after != before


def test_who_sees_lists_and_desk_is_who_may(cast: Cast) -> None:
    for _time in range(2):  # from nothing, and after everybody's
        pages = shown(cast)
        seen = {key for key, text in pages.items() if len(text) > 3}
        assert {key for key in seen if key[0] not in ("owner", "colleague")} == {AGENT}
        assert "the scar" not in pages[AGENT]
        assert "the scar &lt;b&gt;" in pages[STUDIO]
