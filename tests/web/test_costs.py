"""What a page asks of the database does not grow with what stands on it: finals, sittings, frames."""

from __future__ import annotations

from datetime import timedelta
from itertools import cycle

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import resolve
from django.utils import timezone

from galleries.models import (
    Approval,
    Final,
    Frame,
    Invite,
    Job,
    JournalLine,
    Letter,
    Look,
    Mark,
    PinnedNote,
    Proof,
    Refusal,
    Remark,
    Sitting,
    StrayRetouch,
    Verb,
    Version,
)
from galleries.steps.delivering import cut, sizes
from galleries.steps.keeping import retention
from galleries.web.invitee import marks_of_all
from tests.cast import Cast, make_cast
from tests.web.test_matrix import INVITEE_PAGES, STUDIO_PAGES

pytestmark = pytest.mark.django_db
STATES = [Final.State.RETURNED, Final.State.SHOWN, Final.State.APPROVED, Final.State.AS_IT_IS, Final.State.AGREED]


def add_frames(sitting: Sitting, invites: list[Invite], start: int, stop: int) -> list[Frame]:
    """Rows without bytes in the store: frames in looks with proofs, marks and remarks."""
    looks = list(sitting.looks.all()) or Look.objects.bulk_create(
        Look(sitting=sitting, title=f"Look {place}", position=place) for place in range(4)
    )
    now = timezone.now()
    frames = Frame.objects.bulk_create(
        Frame(
            sitting=sitting, look=looks[number % len(looks)], sha256=f"{number:064x}", key=f"originals/{number}.jpg",
            name=f"KAL_{number:04d}.JPG", number=number, bytes=1000, file_format="JPEG", width=4000, height=6000,
            captured_at=now + timedelta(seconds=number),
        )
        for number in range(start, stop)
    )  # fmt: skip
    Proof.objects.bulk_create(
        Proof(
            frame=frame, recipe="1", large_key="large.jpg", large_width=800, large_height=1200,
            small_key="small.jpg", small_width=300, small_height=450,
        )
        for frame in frames
    )  # fmt: skip
    Mark.objects.bulk_create(
        Mark(frame=frame, invite=invite, by=invite, kind=Mark.Kind.PICK, acted_at=now)
        for frame in frames
        for invite in invites
    )
    Refusal.objects.bulk_create(
        Refusal(sitting=sitting, name=f"{frame.number}.txt", reason="Not a picture.") for frame in frames
    )
    Job.objects.bulk_create(
        Job(sitting=sitting, kind="proof", thing=frame.pk, state=state, reason="The disk is full.")
        for frame, state in zip(frames, cycle([Job.State.FAILED, Job.State.WAITING, Job.State.RUNNING]), strict=False)
    )
    JournalLine.objects.bulk_create(
        JournalLine.line(sitting, "Ansa Veld", Verb.MARKED, frame.name, frame=frame.pk) for frame in frames
    )
    Letter.objects.bulk_create(
        Letter(sitting=sitting, invite=invite, kind="proofs", about=f"{frame.name}-{invite.pk}", to=invite.email)
        for frame in frames[:30]
        for invite in invites
    )
    Remark.objects.bulk_create(Remark(frame=frame, who="Ansa Veld", text="This one.") for frame in frames)
    return frames


def add_finals(cast: Cast, frames: list[Frame]) -> None:
    """Finals in every state, each with two versions sent, one more that is not, a word on it and two pins."""
    cast.sitting.rounds.update(objection_until=timezone.now() + timedelta(hours=9))
    base = cast.sitting.finals.count()
    finals = Final.objects.bulk_create(
        Final(
            sitting=cast.sitting, frame=frame, round=cast.sitting.rounds.get(), position=base + place,
            state=STATES[(base + place) % len(STATES)],
        )
        for place, frame in enumerate(frames)
    )  # fmt: skip
    versions = Version.objects.bulk_create(
        Version(
            final=final, number=number, sha256=f"{final.pk:060x}{number:04x}", key="v.tif", name="v.tif", bytes=10,
            width=4000, height=6000, proof_key="v.jpg", sent_at=timezone.now() if number < 3 else None,
        )
        for final in finals
        for number in (1, 2, 3)
    )  # fmt: skip
    Approval.objects.bulk_create(
        Approval(version=version, sha256=version.sha256, decision="approved", who=invite.name, invite=invite)
        for version in versions
        for invite in (cast.subject, cast.representation)
        if version.number < 3 and version.final.state != Final.State.SHOWN
    )
    PinnedNote.objects.bulk_create(
        PinnedNote(final=final, x=0.5, y=0.5, text="Stray hair", who="Ansa Veld") for final in finals for _ in "ab"
    )
    strays = [
        StrayRetouch.objects.create(
            sitting=cast.sitting, sha256=final.frame.sha256, key="s.tif", name="s.tif", bytes=1, reason="Two fit."
        )
        for final in finals
    ]
    for stray, final in zip(strays, finals, strict=True):
        stray.candidates.add(final)


def queries(client: Client, address: str) -> int:
    """Queries of the page's second showing: the first may note that the person was here."""
    assert client.get(address).status_code == 200, address
    with CaptureQueriesContext(connection) as seen:
        assert client.get(address).status_code == 200, address
    return len(seen)


def counted(cast: Cast, who: str, address: str) -> int:
    person = cast.sitting.invites.retouchers().first() or cast.retoucher() if who == "retoucher" else getattr(cast, who)
    return queries(cast.client_of(person), address.format(cast=cast))


STUDIO = "/studio/{cast.sitting.slug}/"
INVITEE = "/s/{cast.sitting.slug}/"
OF_FINALS = [
    ("owner", "/studio/"),
    ("owner", STUDIO),
    *[
        ("owner", STUDIO + page)
        for page in (
            *(
                "finals",
                "finals/{final}",
                "finals/send",
                "finals/{final}/as-it-is",
                "finals/{final}/crops",
                "finals/{final}/crops?all=1",
            ),
            *("delivery", "delivery/licence", "lists", "lists/agreed/csv", "people", "usage", "journal", "keeping"),
        )
    ],
    *[("subject", INVITEE + page) for page in ("finals", "object", "final/{final}", "delivery", "sheet")],
    *[("representation", INVITEE + page) for page in ("finals", "final/{final}", "delivery", "lists")],
    ("retoucher", INVITEE + "retouch"),
]
OF_FRAMES = [
    *[
        ("owner", STUDIO + page)
        for page in (
            *("", "desk", "desk/data", "set", "set/news", "lists", "upload", "upload/refused", "setup", "people"),
            *("settings", "looks/{look}", "journal", "work", "letters", "own-copies"),
        )
    ],
    *[
        ("subject", INVITEE + page)
        for page in ("plan", "sheet", "compare", "as-casting", "kept-back", "marks", "changes", "about-me")
    ],
    *[("representation", INVITEE + page) for page in ("plan", "sheet", "lists", "marks", "pass-on")],
]
# Addresses that show no list that grows with finals or frames, and those with tests of their own.
OF_ONE_THING = {
    *("sitting", "reference", "studio-reference", "version-picture", "studio-version-picture", "studio-version-file"),
    *("studio-version-view", "studio-lists-news"),
    *("proof-picture", "view-picture", "original", "studio-eyes", "studio-crop-source", "studio-crop-preview"),
    *("studio-crop-paper", "archive", "studio-archive", "delivery-paper", "studio-delivery-paper", "file-picture"),
    *("delivered-file", "studio-delivered-file", "studio-delivery-progress", "remarks", "studio-gel", "studio-letter"),
    *("studio-day", "studio-day-frames", "studio-day-slates", "studio-day-slate", "studio-day-list"),  # test_days.py
    *("statement", "statement-file", "studio-extras", "studio-statement-file"),  # of one closing
    *("retouch-archive", "retouch-original", "retouch-picture", "retouch-version"),
    "opinions",  # as many as one person may ask
    *("own-copy-archive", "studio-own-copy-archive", "studio-stray-picture", "deadlines", "for-use", "studio-parts"),
    *("studio-retouch-parts", "retouch-parts"),
}
PAPERS = {"studio-contact", "studio-crop-sheet"}  # drawn: each frame's picture is read


def test_every_page_that_shows_a_list_is_counted() -> None:
    parts = {"slug": "ansa-veld", "final": "1", "look": "1"}
    counted = set()
    for _who, page in [*OF_FINALS, *OF_FRAMES]:
        path = page.replace("{cast.sitting.slug}", "{slug}").format(**parts).partition("?")[0]
        counted.add(resolve(path).url_name)
    pages = {*INVITEE_PAGES, *STUDIO_PAGES}
    shown = {name for name in pages if "get" in (STUDIO_PAGES.get(name) or INVITEE_PAGES[name][0]).split()}
    assert shown - counted == OF_ONE_THING | PAPERS


@pytest.mark.parametrize(("who", "address"), OF_FINALS)
def test_a_page_costs_the_same_with_one_final_and_with_twenty(
    who: str, address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(marks_of_all, "MOMENT", 0.0)  # as below
    sizes.load()
    cast = make_cast(stage=Sitting.Stage.FINISHING)
    Sitting.objects.update(representation_approves=True)
    costs = {}
    for have, want in ((0, 1), (1, 5), (5, 20)):
        add_finals(cast, add_frames(cast.sitting, [cast.subject, cast.representation], have, want))
        final = Final.objects.order_by("pk").first()
        assert final is not None
        costs[want] = counted(cast, who, address.replace("{final}", str(final.pk)))
    assert len(set(costs.values())) == 1, costs


def test_all_sizes_of_a_final_cost_what_the_usual_ones_do() -> None:
    sizes.load()
    cast = make_cast(stage=Sitting.Stage.FINISHING)
    add_finals(cast, add_frames(cast.sitting, [cast.subject, cast.representation], 0, 3))
    for final in Final.objects.all():
        page = f"/studio/{cast.sitting.slug}/finals/{final.pk}/crops"
        usual, every = (queries(cast.client_of(cast.owner), page + more) for more in ("", "?all=1"))
        cut.propose(final, [size for size in sizes.offered() if size.width])
        kept = queries(cast.client_of(cast.owner), page + "?all=1")
        assert usual == every == kept


def test_an_outbox_of_many_marks_costs_what_one_mark_does() -> None:
    cast = make_cast(stage=Sitting.Stage.PROOFING)
    frames = add_frames(cast.sitting, [], 0, 111)
    client, costs = cast.client_of(cast.subject), {}
    client.get(f"/s/{cast.sitting.slug}/sheet")
    for start, stop in ((0, 1), (1, 11), (11, 111)):
        acts = [{"frame": frame.pk, "kind": "pick", "act": str(frame.pk)} for frame in frames[start:stop]]
        with CaptureQueriesContext(connection) as seen:
            answer = client.post(f"/s/{cast.sitting.slug}/marks", acts, content_type="application/json")
        assert [one["kind"] for one in answer.json()["answers"]] == ["pick"] * len(acts)
        costs[len(acts)] = len(seen)
    assert costs[1] == costs[10] <= 20, costs
    assert costs[100] <= costs[1] + 2, costs  # SQLite takes 999 values a statement: some more rows, one more statement


@pytest.mark.parametrize(("who", "address"), OF_FRAMES)
def test_a_page_costs_the_same_with_ten_frames_and_with_three_hundred(
    who: str, address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    # What all marked is else asked for once a second: on a busy machine now and then between two visits.
    monkeypatch.setattr(marks_of_all, "MOMENT", 0.0)
    cast = make_cast(stage=Sitting.Stage.AGREEING)
    Invite.objects.filter(pk=cast.representation.pk).update(may_pass_on=True)
    costs = {}
    for have, want in ((0, 10), (10, 300)):
        add_frames(cast.sitting, [cast.subject, cast.representation], have, want)
        look = Look.objects.order_by("pk").first()
        assert look is not None
        costs[want] = counted(cast, who, address.replace("{look}", str(look.pk)))
    assert costs[10] == costs[300], costs


def more_sittings(cast: Cast, email: str) -> None:
    """Twenty more of the same photographer and agent, in every stage."""
    stages = [one for one in Sitting.Stage if one != Sitting.Stage.ARCHIVED]
    for number in range(20):
        other = Sitting.objects.create(
            slug=f"more-{number}", title=f"More {number}", photographer=cast.owner, subject_given="Ansa",
            stage=stages[number % len(stages)],
        )  # fmt: skip
        round_ = other.rounds.create(number=1)
        expires = timezone.now() + timedelta(days=30)
        people = [
            Invite.objects.create(sitting=other, role=role, name="N.", email=email, expires_at=expires)
            for role in (Invite.Role.SUBJECT, Invite.Role.REPRESENTATION)
        ]
        for frame in add_frames(other, people, 0, 2):
            state = STATES[number % len(STATES)]
            Final.objects.create(sitting=other, frame=frame, round=round_, state=state)


@pytest.mark.parametrize("page", ["/studio/", "/desk"])
def test_a_page_costs_the_same_with_one_sitting_and_with_twenty_one(page: str) -> None:
    cast = make_cast(stage=Sitting.Stage.AGREEING)
    add_frames(cast.sitting, [cast.subject, cast.representation], 0, 2)
    client = cast.client_of(cast.owner if page == "/studio/" else None)
    session = client.session
    session["desk"] = cast.representation.email
    session.save()
    one = queries(client, page)
    more_sittings(cast, cast.representation.email)
    assert queries(client, page) == one


def test_the_list_of_what_is_kept_costs_the_same_for_one_sitting_and_for_twenty_one() -> None:
    cast = make_cast()
    with CaptureQueriesContext(connection) as one:
        retention.keeping()
    more_sittings(cast, cast.representation.email)
    with CaptureQueriesContext(connection) as many:
        assert len(retention.keeping()) == 21
    assert len(many) == len(one)
