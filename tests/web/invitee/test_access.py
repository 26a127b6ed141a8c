"""Who gets which page: every address below /s/ for every person, at every stage, and after the door is shut."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from galleries.models import Invite, Sitting, Studio
from tests.cast import Cast, make_cast
from tests.web.invitee.sheets import filled, proved

pytestmark = pytest.mark.django_db
Stage = Sitting.Stage
PAGES = ("plan", "sheet", "lists", "finals", "delivery")
# role -> page -> the stages in which it is theirs
OPEN = {
    "subject": {
        "plan": {"planning", "proofing", "agreeing", "finishing", "delivered"},
        "sheet": {"proofing", "agreeing", "finishing", "delivered"},
        "lists": set(),
        "finals": {"finishing", "delivered"},
        "delivery": {"finishing", "delivered"},
    },
    "representation": {
        "plan": {"planning", "proofing", "agreeing", "finishing", "delivered"},
        "sheet": {"proofing", "agreeing", "finishing", "delivered"},
        "lists": {"proofing", "agreeing", "finishing", "delivered"},
        "finals": {"finishing", "delivered"},
        "delivery": {"finishing", "delivered"},
    },
    "recipient": {
        "plan": set(),
        "sheet": set(),
        "lists": set(),
        "finals": set(),
        "delivery": {"finishing", "delivered"},
    },
}


@pytest.fixture
def cast() -> Cast:
    return make_cast()


@pytest.mark.parametrize("stage", Stage.values)
@pytest.mark.parametrize("role", OPEN)
def test_each_page_opens_for_its_people_at_its_stages(cast: Cast, role: str, stage: str) -> None:
    filled(cast, 1, 1)
    Sitting.objects.update(stage=stage)
    client = cast.client_of(getattr(cast, role))
    for page in PAGES:
        answer = client.get(reverse(page, args=[cast.sitting.slug]))
        want = 200 if stage in OPEN[role][page] else 403
        assert answer.status_code == want, f"{role} on {page} while {stage}: {answer.status_code}"
        assert b"</main>" in answer.content


def gone(client: object, slug: str) -> None:
    for page in (*PAGES, "marks", "changes", "compare"):
        assert client.get(reverse(page, args=[slug])).status_code == 404, page  # type: ignore[attr-defined]


def test_nobody_else_learns_that_the_sitting_exists(cast: Cast) -> None:
    filled(cast, 1, 1)
    other = make_cast("other-sitting")
    slug = cast.sitting.slug
    for person in (None, cast.stranger, other.subject, other.representation, other.owner):
        gone(cast.client_of(person), slug)
        assert cast.client_of(person).get(reverse("sitting", args=[slug])).status_code == 404
    assert cast.client_of(cast.subject).get(reverse("sheet", args=["no-such-sitting"])).status_code == 404


@pytest.mark.parametrize("how", ["revoked", "expired"])
def test_a_shut_invite_is_a_closed_door_at_the_next_request(cast: Cast, how: str) -> None:
    filled(cast, 1, 1)
    client = cast.client_of(cast.subject)
    assert client.get(reverse("sheet", args=[cast.sitting.slug])).status_code == 200
    past = timezone.now() - timedelta(minutes=1)
    Invite.objects.update(**({"revoked_at": past} if how == "revoked" else {"expires_at": past}))
    gone(client, cast.sitting.slug)


def test_revoking_shuts_those_it_was_passed_on_to(cast: Cast) -> None:
    filled(cast, 1, 1)
    colleague = Invite.objects.create(
        sitting=cast.sitting, role="representation", name="Ida", email="ida@achterberg.example",
        expires_at=cast.representation.expires_at, passed_from=cast.representation,
    )  # fmt: skip
    client = cast.client_of(colleague)
    assert client.get(reverse("sheet", args=[cast.sitting.slug])).status_code == 200
    Invite.objects.filter(pk=cast.representation.pk).update(revoked_at=timezone.now())
    gone(client, cast.sitting.slug)


@pytest.mark.parametrize(
    ("stage", "person", "page"),
    [
        ("planning", "subject", "plan"),
        ("proofing", "subject", "sheet"),
        ("agreeing", "representation", "sheet"),
        ("finishing", "subject", "finals"),
        ("delivered", "subject", "delivery"),
        ("finishing", "recipient", "delivery"),
    ],
)
def test_the_link_leads_to_where_the_sitting_stands(cast: Cast, stage: str, person: str, page: str) -> None:
    Sitting.objects.update(stage=stage)
    answer = cast.client_of(getattr(cast, person)).get(reverse("sitting", args=[cast.sitting.slug]))
    assert answer.status_code == 302
    assert answer["Location"] == reverse(page, args=[cast.sitting.slug])


def test_an_archived_sitting_says_so(cast: Cast) -> None:
    Sitting.objects.update(stage="archived")
    answer = cast.client_of(cast.subject).get(reverse("sitting", args=[cast.sitting.slug]))
    assert answer.status_code == 403
    assert "archived" in answer.content.decode()


def test_hidden_frames_are_on_no_page_and_behind_no_address(cast: Cast) -> None:
    filled(cast, 1, 2)
    hidden = proved(cast, 90, cast.sitting.looks.first(), hidden=True)
    client, slug = cast.client_of(cast.subject), cast.sitting.slug
    page = client.get(reverse("sheet", args=[slug])).content.decode()
    assert f'id="f{hidden.pk}"' not in page
    assert "0090" not in page
    assert hidden.pk not in client.get(reverse("marks", args=[slug])).json()["frames"]
    assert client.get(reverse("remarks", args=[slug, hidden.pk])).status_code == 404
    sent = client.post(
        reverse("marks", args=[slug]), [{"frame": hidden.pk, "kind": "pick", "act": "a"}], "application/json"
    )
    assert sent.json()["answers"][0]["kind_of_error"] == "Missing"
    assert "0090" not in client.get(reverse("compare", args=[slug]), {"frames": f"{hidden.pk}"}).content.decode()


def test_a_frame_of_another_sitting_is_not_reached_through_ones_own(cast: Cast) -> None:
    other = make_cast("other-sitting")
    theirs = proved(other, 5)
    client, slug = cast.client_of(cast.subject), cast.sitting.slug
    assert client.get(reverse("remarks", args=[slug, theirs.pk])).status_code == 404
    sent = client.post(
        reverse("marks", args=[slug]), [{"frame": theirs.pk, "kind": "pick", "act": "a"}], "application/json"
    )
    assert sent.json()["answers"][0]["kind_of_error"] == "Missing"
    assert not theirs.marks.exists()
    # also for somebody who holds invites to both
    session = client.session
    session["invites"] = {**session["invites"], str(other.sitting.pk): other.subject.pk}
    session.save()
    sent = client.post(
        reverse("marks", args=[slug]), [{"frame": theirs.pk, "kind": "pick", "act": "b"}], "application/json"
    )
    assert sent.json()["answers"][0]["kind_of_error"] == "Missing"
    assert not theirs.marks.exists()


def test_a_struck_or_kept_back_frame_is_hidden_from_the_representation_only(cast: Cast) -> None:
    frames = filled(cast, 2, 2)
    Sitting.objects.update(strikes_hide=True)
    cast.subject.marks.create(frame=frames[0], kind="strike", acted_at=timezone.now())
    frames[2].look.kept_from_representation = True  # type: ignore[union-attr]
    frames[2].look.save()  # type: ignore[union-attr]
    slug = cast.sitting.slug
    subject = cast.client_of(cast.subject).get(reverse("marks", args=[slug])).json()
    agent = cast.client_of(cast.representation).get(reverse("marks", args=[slug])).json()
    assert set(subject["frames"]) == {frame.pk for frame in frames}
    assert agent["frames"] == [frames[1].pk]
    assert str(frames[0].pk) not in agent["theirs"]


def test_the_photographer_sees_the_sheet_and_gives_no_marks(cast: Cast) -> None:
    frames = filled(cast, 1, 1)
    client, slug = cast.client_of(cast.owner), cast.sitting.slug
    page = client.get(reverse("sheet", args=[slug])).content.decode()
    assert "0001" in page
    assert 'name="mark"' not in page
    sent = client.post(
        reverse("marks", args=[slug]), [{"frame": frames[0].pk, "kind": "pick", "act": "a"}], "application/json"
    )
    assert sent.json()["answers"][0]["kind_of_error"] == "Refused"


def test_no_page_says_a_token_or_an_original(cast: Cast) -> None:
    frames = filled(cast, 1, 2)
    for person in (cast.subject, cast.representation):
        page = cast.client_of(person).get(reverse("sheet", args=[cast.sitting.slug])).content.decode()
        assert "/files/original/" not in page
        assert "/files/view/" not in page
        assert frames[0].key not in page
        assert Studio.current().name in page


def test_who_comes_too_early_reads_what_they_wait_for_and_is_sent_in_no_circle(cast: Cast) -> None:
    """A recipient's only page is the delivery: before it there is neither a start to go back to nor another link."""
    slug = cast.sitting.slug
    Sitting.objects.update(stage="proofing")
    answer = cast.client_of(cast.recipient).get(reverse("delivery", args=[slug]))
    page = answer.content.decode()
    assert answer.status_code == 403
    assert "<h1>" in page
    assert "Not yet" in page
    assert "You will get a letter as soon as they can be fetched." in page
    assert f'href="{reverse("front")}"' not in page.split("<main")[1].split("</main>")[0]
    assert reverse("ask-link") not in page
    # What never comes to a role is no matter of waiting.
    never = cast.client_of(cast.recipient).get(reverse("sheet", args=[slug])).content.decode()
    assert "Not now, or not yours" in never
