"""A frame the subject keeps back, tried by the representation at every address; and the page that lets it go."""

from __future__ import annotations

import pytest
from django.core import mail
from django.urls import reverse

from galleries.access import Visitor, files_shown_to
from galleries.models import DeliverySize, Final, Frame, Invite, JournalLine, Letter, Sitting
from galleries.steps import jobs
from galleries.steps.agreeing import agree
from galleries.steps.delivering import licences, package, sizes
from galleries.steps.people import asked
from galleries.steps.picking import kept, pick
from galleries.steps.sorting import contact, looks
from tests.cast import Cast, body_of, make_cast
from tests.web.invitee.sheets import filled
from tests.web.invitee.test_finals_delivery import delivered, version

pytestmark = pytest.mark.django_db
LABEL, TITLE = "0001", "Look of linen"


@pytest.fixture
def cast() -> Cast:
    """Frame 1 is kept back by the subject and lies in a look that everybody sees; frame 4 is as open as any."""
    cast = make_cast()
    Sitting.objects.update(subject_chooses_looks=True, representation_approves=True)
    cast.sitting.refresh_from_db()
    frames = filled(cast, 2, 3)
    pick.set_mark(cast.as_subject, frames[0].pk, kind="pick", note="between us")
    first, second = cast.sitting.looks.all()
    kept.keep_look(cast.as_subject, first)
    looks.merge(first, second, cast.as_owner)
    return cast


def finished(cast: Cast) -> dict[str, int]:
    """A list that was closed with the frame before this was refused: its final, version, delivery and files."""
    frames = {frame.number: frame for frame in cast.sitting.frames.all()}
    ids = {}
    for number in (1, 4):
        final = Final.objects.create(
            sitting=cast.sitting, frame=frames[number], round=cast.sitting.rounds.get(), state="shown"
        )
        ids[f"final {number}"], ids[f"version {number}"] = final.pk, version(cast, number, final).pk
    Sitting.objects.update(stage="delivered")
    cast.sitting.refresh_from_db()
    made = delivered(cast)
    (file,) = made.files.all()
    for number in (1, 4):
        file.pk, file.final_id, file.name = None, ids[f"final {number}"], f"veld-ansa_{number:04d}.jpg"
        file.save(force_insert=True)
        ids[f"file {number}"] = file.pk
    made.files.filter(final=None).delete()
    for person in (cast.subject, cast.representation, cast.recipient):
        licences.accept(made.licence, type(cast.as_subject)(invite=person), person.name)
    return {**ids, "delivery": made.pk}


@pytest.mark.parametrize("role", ["representation", "recipient"])
@pytest.mark.parametrize("stage", ["proofing", "finishing", "delivered"])
def test_no_address_shows_it(cast: Cast, role: str, stage: str) -> None:
    ids = finished(cast)
    Sitting.objects.update(stage=stage)
    client, slug = cast.client_of(getattr(cast, role)), cast.sitting.slug
    frame = Frame.objects.get(number=1)
    proof = frame.proofs.get()
    pages = ["plan", "sheet", "marks", "changes", "compare", "lists", "finals", "delivery", "sitting"]
    texts = [client.get(reverse(name, args=[slug]), {"cursor": 0}, follow=True).content.decode() for name in pages]
    texts.append(client.get(reverse("compare", args=[slug]), {"frames": str(frame.pk)}).content.decode())
    for text in texts:
        assert LABEL not in text
        assert TITLE not in text
        assert "between us" not in text
        assert f"/proof/{frame.pk}/" not in text
    closed = [
        reverse("proof-picture", args=[frame.pk, "large", proof.pk]),
        reverse("proof-picture", args=[frame.pk, "small", proof.pk]),
        reverse("view-picture", args=[frame.pk]),
        reverse("original", args=[frame.pk]),
        reverse("remarks", args=[slug, frame.pk]),
        reverse("final", args=[slug, ids["final 1"]]),
        reverse("version-picture", args=[slug, ids["version 1"]]),
        reverse("delivered-file", args=[slug, ids["file 1"]]),
        reverse("file-picture", args=[slug, ids["file 1"]]),
        reverse("archive", args=[slug, ids["delivery"]]),
    ]
    for address in closed:
        answer = client.get(address)
        assert answer.status_code in {403, 404}, address
        assert LABEL not in answer.content.decode()
    for do in ("approve", "send_back", "pin"):
        said = {"do": do, "version": ids["version 1"], "note": "x", "text": "x", "sha256": f"{1:064x}"}
        assert client.post(reverse("final", args=[slug, ids["final 1"]]), said).status_code in {403, 404}
    assert client.get(reverse("kept-back", args=[slug])).status_code == 403
    assert client.post(reverse("kept-back", args=[slug]), {"frame": frame.pk}).status_code == 403
    assert Frame.objects.get(pk=frame.pk).kept_by_subject


def test_what_is_open_stays_open_beside_it(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    ids = finished(cast)
    client, slug = cast.client_of(cast.representation), cast.sitting.slug
    assert "0004" in client.get(reverse("finals", args=[slug])).content.decode()
    assert client.get(reverse("final", args=[slug, ids["final 4"]])).status_code == 200
    assert client.get(reverse("version-picture", args=[slug, ids["version 4"]])).status_code == 200
    assert client.get(reverse("delivered-file", args=[slug, ids["file 4"]])).status_code == 200
    page = client.get(reverse("delivery", args=[slug])).content.decode()
    assert "veld-ansa_0004.jpg" in page
    assert "archive" not in page.split("<main", 1)[1]
    sizes.load()
    numbers = sizes.numbers(DeliverySize.objects.get(slug="casting-square"))
    cast.sitting.deliveries.update(sizes={"casting-square": numbers})
    named: list[str] = []
    paper = package.licence_sheet_pdf
    monkeypatch.setattr(
        package,
        "licence_sheet_pdf",
        lambda terms, entries, accepted: named.extend(one.name for one in entries) or paper(terms, entries, accepted),
    )
    assert client.get(reverse("delivery-paper", args=[slug, ids["delivery"], "licence.pdf"])).status_code == 200
    assert named == ["veld-ansa_0004.jpg"]
    subject = cast.client_of(cast.subject)
    assert subject.get(reverse("archive", args=[slug, ids["delivery"]])).status_code == 200
    assert "veld-ansa_0001.jpg" in subject.get(reverse("delivery", args=[slug])).content.decode()


def test_neither_paper_nor_proposal_nor_letter_speaks_of_it(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    frame = Frame.objects.get(number=1)
    printed: list[str] = []
    monkeypatch.setattr(
        contact,
        "contact_sheet_pdf",
        lambda _title, strips, **_how: printed.extend(one.number for look in strips for one in look.frames) or b"",
    )
    contact.contact_sheet(cast.as_representation, cast.sitting)
    assert printed
    assert LABEL not in printed
    assert frame.pk not in [line.frame.pk for line in agree.tally(cast.sitting, cast.as_representation).lines]
    finished(cast)
    Final.objects.filter(frame__number=4).update(state="approved")
    final = Final.objects.get(frame=frame)
    assert asked.roles_asked(final) == ["subject"]
    assert [person.role for person in asked.approvers(cast.sitting)] == ["subject"]
    assert asked.roles_asked(Final.objects.get(frame__number=4)) == ["subject", "representation"]


def test_the_list_is_not_closed_with_it_and_the_agent_hears_nothing(cast: Cast) -> None:
    frame, slug = Frame.objects.get(number=1), cast.sitting.slug
    studio = cast.client_of(cast.owner).post(reverse("studio-close", args=[slug]), {"frame": [frame.pk]})
    assert studio.status_code == 403
    assert "The subject keeps frame 0001" in studio.content.decode()
    agent = cast.client_of(cast.representation).post(reverse("lists", args=[slug]), {"frame": [frame.pk], "sure": 1})
    assert agent.status_code == 400
    assert LABEL not in agent.content.decode()
    assert not Final.objects.exists()
    assert not Letter.objects.filter(kind="closed").exists()


def test_the_subject_sees_what_will_be_seen_and_by_whom_and_lets_go(cast: Cast) -> None:
    ids = finished(cast)
    client, slug, address = (
        cast.client_of(cast.subject),
        cast.sitting.slug,
        reverse("kept-back", args=[cast.sitting.slug]),
    )
    sheet = client.get(reverse("sheet", args=[slug])).content.decode()
    assert "You keep 3 frames from the agent" in sheet
    page = client.get(address).content.decode()
    for said in ("Ruben Achterberg", "Casting desk", "Single frames in", LABEL, "On the list of finals: 0001."):
        assert said in page
    one, two = Frame.objects.get(number=1), Frame.objects.get(number=2)
    assert client.post(address, {"frame": [one.pk, 10**9]}).status_code == 400
    assert client.post(address, {"frame": [one.pk, two.pk]}).status_code == 302
    agent = cast.client_of(cast.representation)
    assert agent.get(reverse("final", args=[slug, ids["final 1"]])).status_code == 200
    assert body_of(agent.get(reverse("archive", args=[slug, ids["delivery"]])))
    assert "You keep 1 frame from the agent" in client.get(reverse("sheet", args=[slug])).content.decode()
    line = JournalLine.objects.get(verb="frames let go")
    assert (line.who, line.detail["frames"]) == ("Ansa Veld (subject)", ["KAL_0001.JPG", "KAL_0002.JPG"])


def test_a_letter_of_a_delivery_goes_only_to_who_gets_a_file(cast: Cast) -> None:
    finished(cast)
    made = cast.sitting.deliveries.get()
    made.files.exclude(final__frame__number=1).delete()
    people = [one.role for one in Invite.objects.all() if files_shown_to(Visitor(invite=one), made).exists()]
    assert people == ["subject"]
    jobs.run_waiting(cast.sitting, kinds=["letter"])
    assert not any(LABEL in letter.body for letter in mail.outbox)
