"""Finals and deliveries as the people invited see them: word on a version, licence, files, receipts, uses."""

from __future__ import annotations

import re
import zipfile
from dataclasses import replace
from datetime import timedelta
from io import BytesIO

import pytest
from django.contrib.auth.hashers import make_password
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from galleries import storage
from galleries.errors import BadInput
from galleries.models import (
    Acceptance,
    Approval,
    Delivery,
    Final,
    Frame,
    PinnedNote,
    Receipt,
    Sitting,
    UsageRequest,
    Version,
)
from galleries.steps.delivering import licences, offer, receipts, usage
from galleries.steps.finishing import approvals, notes
from galleries.steps.keeping import erase
from tests.cast import Cast, make_cast
from tests.web.invitee.sheets import picture, proved

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    made = make_cast()
    Sitting.objects.update(stage="finishing")
    made.sitting.refresh_from_db()
    return made


def version(cast: Cast, number: int = 1, final: Final | None = None) -> Version:
    if final is None:
        frame = proved(cast, 1, cast.look())
        final = Final.objects.create(sitting=cast.sitting, frame=frame, round=cast.sitting.rounds.get(), state="shown")
    key = f"sittings/x/proof/v{number}.jpg"
    storage.put(storage.proofs(), key, picture(100, 150, 100 + number))
    return Version.objects.create(
        final=final, number=number, sha256=f"{number:064x}", key="k", name=f"KAL_0001_v{number}.jpg", bytes=1,
        width=4000, height=6000, proof_key=key, sent_at=timezone.now(),
    )  # fmt: skip


def delivered(cast: Cast, **fields: object) -> Delivery:
    licence = licences.current(cast.sitting) or licences.compose(
        cast.sitting, licences.draft(cast.sitting), cast.as_owner
    )
    number = cast.sitting.deliveries.count() + 1
    archive, file = b"archive " * 4000, picture(1080, 1080)
    storage.put(storage.private(), f"sittings/x/archive/{number}.zip", archive)
    storage.put(storage.private(), f"sittings/x/final/{number}.jpg", file)
    made = Delivery.objects.create(**{
        "sitting": cast.sitting, "number": number, "licence": licence, "state": "ready", "ready_at": timezone.now(),
        "sizes": {"casting-square": {"title": "Casting upload, square", "use": "casting"}},
        "archive_name": "veld-ansa_delivery.zip", "archive_key": f"sittings/x/archive/{number}.zip",
        "archive_sha256": "c" * 64, "archive_bytes": len(archive), **fields,
    })  # fmt: skip
    made.files.create(
        size_slug="casting-square", name="veld-ansa_linen_0001_casting-square.jpg",
        key=f"sittings/x/final/{number}.jpg", sha256=f"{number}" * 64, bytes=len(file), width=1080, height=1080,
    )  # fmt: skip
    return made


def page(client: Client, cast: Cast, name: str = "delivery", *more: int) -> str:
    answer = client.get(reverse(name, args=[cast.sitting.slug, *more]))
    assert answer.status_code == 200
    return answer.content.decode()


def body(response: object) -> bytes:
    return b"".join(response.streaming_content)  # type: ignore[attr-defined]


# --- finals ---


def test_the_subject_approves_exactly_what_was_shown(cast: Cast) -> None:
    one = version(cast)
    client, address = cast.client_of(cast.subject), reverse("final", args=[cast.sitting.slug, one.final_id])
    assert "1 retouch waits for your word." in page(client, cast, "finals")
    assert 'value="approve"' in page(client, cast, "final", one.final_id)
    wrong = client.post(address, {"do": "approve", "version": one.pk, "sha256": "f" * 64})
    assert wrong.status_code == 409
    assert client.post(address, {"do": "approve", "version": one.pk, "sha256": one.sha256}).status_code == 302
    one.final.refresh_from_db()
    assert one.final.state == "approved"
    assert 'value="approve"' not in page(client, cast, "final", one.final_id)


def test_a_version_that_is_no_longer_the_newest_cannot_be_approved(cast: Cast) -> None:
    one = version(cast)
    two = version(cast, 2, one.final)
    client, address = cast.client_of(cast.subject), reverse("final", args=[cast.sitting.slug, one.final_id])
    assert client.post(address, {"do": "approve", "version": one.pk, "sha256": one.sha256}).status_code == 409
    old = client.get(address, {"version": "1"}).content.decode()
    assert "There is a newer version. Look at it." in old
    assert 'value="approve"' not in old
    assert client.post(address, {"do": "approve", "version": two.pk, "sha256": two.sha256}).status_code == 302


def test_sending_back_wants_a_note_and_keeps_it(cast: Cast) -> None:
    one = version(cast)
    client, address = cast.client_of(cast.subject), reverse("final", args=[cast.sitting.slug, one.final_id])
    assert client.post(address, {"do": "send_back", "version": one.pk, "note": " "}).status_code == 400
    client.post(address, {"do": "send_back", "version": one.pk, "note": "too smooth"})
    assert Approval.objects.get().note == "too smooth"
    assert "too smooth" in page(client, cast, "final", one.final_id)


def test_words_to_a_version_that_was_replaced_stand_there_again_for_the_newer_one(cast: Cast) -> None:
    one = version(cast)
    client, address = cast.client_of(cast.subject), reverse("final", args=[cast.sitting.slug, one.final_id])
    two = version(cast, 2, one.final)
    sent = {"do": "send_back", "version": one.pk, "note": "too <smooth>"}
    answer = client.post(address, sent)
    assert answer.status_code == 409
    form = answer.content.decode().split('<details class="send-back"')[1].split("</form>")[0]
    assert "There is a newer version of this final. Look at it before you send it back." in form
    assert "too &lt;smooth&gt;</textarea>" in form
    assert f'name="version" value="{two.pk}"' in form
    assert not Approval.objects.exists()


@pytest.mark.parametrize(
    ("ends", "status", "sentence"),
    [
        ("reopened", 403, "The list of finals was opened again. You will get a letter when it is closed."),
        ("delivered", 403, "All finals are finished and delivered; nothing is approved, sent back or pinned any more."),
        ("off the list", 404, "There is no such final, or your link does not lead to it."),
        ("invite ended", 404, "There is no such sitting, or your link does not lead to it."),
        ("erased", 404, "There is no such sitting, or your link does not lead to it."),
    ],
)
def test_what_was_written_while_it_all_ended_is_shown_to_its_writer(
    cast: Cast, ends: str, status: int, sentence: str
) -> None:
    one = version(cast)
    client, address = cast.client_of(cast.subject), reverse("final", args=[cast.sitting.slug, one.final_id])
    if ends == "reopened":
        Sitting.objects.update(stage="agreeing")
    elif ends == "delivered":
        Final.objects.update(state="approved")
        Sitting.objects.update(stage="delivered")
    elif ends == "off the list":
        Final.objects.update(on_list=False)
    elif ends == "invite ended":
        type(cast.subject).objects.update(revoked_at=timezone.now())
    else:
        erase.erase(cast.sitting, cast.as_owner, "asked for")
    answer = client.post(address, {"do": "send_back", "version": one.pk, "note": "less <shine>\nwarmer"})
    shown = answer.content.decode()
    assert answer.status_code == status
    assert sentence in shown
    assert "<blockquote>less &lt;shine&gt;<br>warmer</blockquote>" in shown
    assert "less" not in client.get(address).content.decode()
    assert not Approval.objects.exists()


@pytest.mark.parametrize("who", ["representation", "recipient", "owner"])
def test_nobody_else_approves(cast: Cast, who: str) -> None:
    one = version(cast)
    client, address = cast.client_of(getattr(cast, who)), reverse("final", args=[cast.sitting.slug, one.final_id])
    answer = client.post(address, {"do": "approve", "version": one.pk, "sha256": one.sha256})
    assert answer.status_code == 403
    assert not Approval.objects.exists()


@pytest.mark.parametrize(
    ("fields", "status"),
    [
        ({"x": "25", "y": "33,3", "text": "softer"}, 302),
        ({"x": "90", "y": "10", "width": "20", "height": "5", "text": "softer"}, 400),
        ({"x": "125", "y": "10", "text": "softer"}, 400),
        ({"x": "nan", "y": "10", "text": "softer"}, 400),
        ({"x": "left", "y": "10", "text": "softer"}, 400),
        ({"x": "25", "y": "10", "text": " "}, 400),
        ({"text": "softer"}, 400),
        ({"x": "25", "y": " ", "text": "softer"}, 400),
    ],
)
def test_a_note_is_pinned_inside_the_picture(cast: Cast, fields: dict[str, str], status: int) -> None:
    one = version(cast)
    client, address = cast.client_of(cast.representation), reverse("final", args=[cast.sitting.slug, one.final_id])
    answer = client.post(address, {"do": "pin", **fields})
    assert answer.status_code == status
    assert status != 302 or answer.headers["Location"] == address  # and no fragment that goes on standing there
    assert PinnedNote.objects.count() == (status == 302)
    if status == 302:
        assert PinnedNote.objects.get().y == pytest.approx(0.333)


def test_a_note_lies_on_the_version_it_speaks_of_and_on_no_other(cast: Cast) -> None:
    one = version(cast)
    client, address = cast.client_of(cast.subject), reverse("final", args=[cast.sitting.slug, one.final_id])
    one.final.pinned_notes.create(x=0.1, y=0.2, text="of the frame", who="Ansa Veld")
    pin = {"do": "pin", "x": "25", "y": "30", "text": "softer"}
    foreign, unsent = version(make_cast("elsewhere")), version(cast, 3, one.final)
    Version.objects.filter(pk=unsent.pk).update(sent_at=None)
    for other in (foreign, unsent):
        assert client.post(address, {**pin, "version": other.pk}).status_code == 404
    assert f'name="version" value="{one.pk}"' in client.get(address).content.decode().split('id="pin-form"')[1]
    assert client.post(address, {**pin, "version": one.pk}).status_code == 302
    note = PinnedNote.objects.get(text="softer")
    assert note.version == one
    with pytest.raises(BadInput):
        notes.pin_note(one.final, cast.as_owner, 0.1, 0.1, text="softer", version=foreign)

    version(cast, 2, one.final)
    for query, places in (("", ["0.1 0.2 0.0 0.0"]), ("?version=1", ["0.1 0.2 0.0 0.0", "0.25 0.3 0.0 0.0"])):
        page = client.get(address + query).content.decode()
        assert re.findall(r'data-place="([^"]*)"', page) == places
        assert page.count("on version 1") == 1
    page = cast.client_of(cast.owner).get(reverse("studio-final", args=[cast.sitting.slug, one.final_id]))
    pins = {row["id"]: [place for _number, *place in row["pins"]] for row in page.context["pictures"]}
    newest = one.final.versions.latest("number")
    assert (pins["frame"], pins[str(one.pk)], pins[str(newest.pk)]) == ([[0.1, 0.2]], [[0.25, 0.3]], [])
    assert page.content.decode().count("on version 1") == 1
    one.delete()
    note.refresh_from_db()
    assert note.version is None


def test_finals_of_another_sitting_or_off_the_list_are_not_there(cast: Cast) -> None:
    one = version(cast)
    other = make_cast("other-sitting")
    theirs = Final.objects.create(sitting=other.sitting, frame=other.frame(9), round=other.sitting.rounds.get())
    client, slug = cast.client_of(cast.subject), cast.sitting.slug
    assert client.get(reverse("final", args=[slug, theirs.pk])).status_code == 404
    assert client.get(reverse("version-picture", args=[slug, one.pk])).status_code == 200
    assert cast.client_of(cast.recipient).get(reverse("version-picture", args=[slug, one.pk])).status_code == 403
    assert other.client_of(other.subject).get(reverse("version-picture", args=[slug, one.pk])).status_code == 404
    assert (
        client.post(reverse("final", args=[slug, one.final_id]), {"do": "approve", "version": "x"}).status_code == 404
    )
    assert client.post(reverse("final", args=[slug, one.final_id]), {"do": "burn"}).status_code == 400
    Final.objects.update(on_list=False)
    assert client.get(reverse("final", args=[slug, one.final_id])).status_code == 404


# --- delivery ---


def test_nothing_is_fetched_before_the_licence_is_accepted_by_name(cast: Cast) -> None:
    made = delivered(cast)
    file = made.files.get()
    client, slug = cast.client_of(cast.recipient), cast.sitting.slug
    first = page(client, cast)
    assert "Tamsin Okonedo-Vale (Northlight Rooms) licenses Ansa Veld" in first
    assert "Fetch everything" not in first
    addresses = [
        reverse("archive", args=[slug, made.pk]),
        reverse("delivered-file", args=[slug, file.pk]),
        reverse("file-picture", args=[slug, file.pk]),
        for_use(cast, made),
    ]
    assert {client.get(address).status_code for address in addresses} == {403}
    accept = reverse("accept-licence", args=[slug])
    assert client.post(accept, {"licence": "1", "name": " "}).status_code == 400
    assert client.post(accept, {"licence": "7", "name": "Casting desk"}).status_code == 404
    assert client.post(accept, {"licence": "1", "name": "Casting desk"}).status_code == 302
    assert Acceptance.objects.get().name == "Casting desk"
    assert {client.get(address).status_code for address in addresses} == {200}
    assert "Fetch everything" in page(client, cast)
    # the next person accepts for themselves
    assert cast.client_of(cast.subject).get(addresses[0]).status_code == 403


def test_a_licence_that_was_replaced_or_opens_nothing_yet_is_not_said_to_open_the_files(cast: Cast) -> None:
    first = licences.compose(cast.sitting, licences.draft(cast.sitting), cast.as_owner)
    second = licences.compose(cast.sitting, replace(licences.draft(cast.sitting), uses=("casting",)), cast.as_owner)
    client, accept = cast.client_of(cast.recipient), reverse("accept-licence", args=[cast.sitting.slug])
    old = client.post(accept, {"licence": first.number, "name": "Ines of the desk"})
    assert old.status_code == 409
    assert "The studio replaced this licence meanwhile." in old.content.decode()
    assert not Acceptance.objects.exists()
    new = client.post(accept, {"licence": second.number, "name": "Casting desk"}, follow=True).content.decode()
    assert "You can fetch the files" not in new
    assert "Accepted. What can be fetched, and when, stands below." in new
    delivered(cast)
    assert "You can fetch" in client.post(accept, {"licence": 2, "name": "x"}, follow=True).content.decode()


def for_use(cast: Cast, made: Delivery, use: str = "casting") -> str:
    return reverse("for-use", args=[cast.sitting.slug, made.pk, use])


def test_the_files_for_one_use_are_one_archive_that_can_be_taken_up_again(cast: Cast) -> None:
    client, made = accepted(cast)
    file, address = made.files.get(), for_use(cast, made)
    assert client.get(for_use(cast, made, "print")).status_code == 404
    assert client.head(address).status_code == 200
    assert not Receipt.objects.exists()
    first = client.get(address, headers={"range": "bytes=0-49"})
    start = body(first)
    assert not receipts.complete(Receipt.objects.get())
    rest = client.get(address, headers={"range": "bytes=50-", "if-range": first["ETag"]})
    with zipfile.ZipFile(BytesIO(start + body(rest))) as archive:
        assert archive.testzip() is None
        (name,) = archive.namelist()
        assert (name.rsplit("/", 1)[1], archive.read(name)) == (file.name, storage.get(storage.private(), file.key))
    receipt = Receipt.objects.get()
    assert (receipt.name, receipt.fetches) == ("veld-ansa_delivery_casting.zip", 1)
    assert receipts.complete(receipt)
    storage.private().delete(file.key)
    assert client.get(address).status_code == 404


def test_what_is_kept_from_somebody_is_in_no_archive_of_theirs(cast: Cast) -> None:
    made = delivered(cast)
    frame = proved(cast, 1, cast.look())
    final = Final.objects.create(sitting=cast.sitting, frame=frame, round=cast.sitting.rounds.get(), state="approved")
    file = made.files.get()
    file.final = final
    file.save()
    for person in (cast.subject, cast.representation):
        made.licence.acceptances.create(invite=person, name=person.name)
    agent, address = cast.client_of(cast.representation), for_use(cast, made)
    assert agent.get(address).status_code == 200
    Frame.objects.update(kept_by_subject=True)
    assert agent.get(address).status_code == 404
    assert cast.client_of(cast.subject).get(address).status_code == 200


def test_finals_do_not_call_delivered_what_was_withdrawn(cast: Cast) -> None:
    made = delivered(cast)
    cast.sitting.finals.update(state="as_it_is")
    Sitting.objects.update(stage="delivered")
    client, address = cast.client_of(cast.subject), reverse("finals", args=[cast.sitting.slug])
    assert "The finished files are delivered." in client.get(address).content.decode()
    offer.withdraw(made, cast.as_owner)
    text = client.get(address).content.decode()
    assert "The finished files are delivered." not in text
    assert "The studio has withdrawn this delivery. Ask the studio." in text
    delivered(cast)
    assert "The finished files are delivered." in client.get(address).content.decode()


def test_one_withdrawn_before_it_was_sent_is_told_to_nobody(cast: Cast) -> None:
    """By the photographer's own look: whoever is invited never heard of it."""
    made = delivered(cast, state="made", ready_at=None)
    offer.withdraw(made, cast.as_owner)
    for person in (cast.subject, cast.representation, cast.recipient):
        text = page(cast.client_of(person), cast)
        assert "Delivery 1" not in text
        assert "withdrawn" not in text
        assert "Nothing is delivered yet." in text


@pytest.mark.parametrize("approves", [True, False])
def test_a_letter_of_retouches_is_promised_to_whoever_gets_one(cast: Cast, approves: bool) -> None:
    Sitting.objects.update(stage="finishing", representation_approves=approves)
    assistant = cast.sitting.invites.create(
        role="assistant", name="Mirre Solland", email="m@solland.example",
        expires_at=timezone.now() + timedelta(days=9),
    )  # fmt: skip
    promised = {
        one.role: "You get a letter when a retouch" in page(cast.client_of(one), cast, "finals")
        for one in (cast.subject, cast.representation, assistant)
    }
    assert promised == {"subject": True, "representation": approves, "assistant": False}


def accepted(cast: Cast, **fields: object) -> tuple[Client, Delivery]:
    made = delivered(cast, **fields)
    licences.accept(made.licence, cast.as_recipient, "Casting desk")
    return cast.client_of(cast.recipient), made


def test_the_archive_comes_in_parts_and_is_one_receipt_that_counts_what_left(cast: Cast) -> None:
    client, made = accepted(cast)
    address = reverse("archive", args=[cast.sitting.slug, made.pk])
    first = client.get(address, headers={"range": "bytes=0-9999"})
    assert first.status_code == 206
    assert first["Content-Range"] == f"bytes 0-9999/{made.archive_bytes}"
    start = body(first)
    assert Receipt.objects.get().last_byte == 9999
    rest = client.get(address, headers={"range": "bytes=10000-", "if-range": f'"{made.archive_sha256}"'})
    whole = start + body(rest)
    assert whole == storage.get(storage.private(), made.archive_key)
    receipt = Receipt.objects.get()
    assert (receipt.who, receipt.fetches, receipt.last_byte) == ("Casting desk", 1, made.archive_bytes - 1)
    body(client.get(address))
    assert Receipt.objects.get().fetches == 2
    assert client.get(address, headers={"range": f"bytes={made.archive_bytes}-"}).status_code == 416


def test_behind_the_proxy_the_receipt_knows_the_part_that_was_asked_for(cast: Cast, settings: object) -> None:
    settings.INTERNAL_REDIRECT = True  # type: ignore[attr-defined]
    client, made = accepted(cast)
    address = reverse("archive", args=[cast.sitting.slug, made.pk])
    answer = client.get(address, headers={"range": "bytes=100-199"})
    assert answer["X-Accel-Redirect"] == f"/internal/private/{made.archive_key}"
    receipt = Receipt.objects.get()
    assert receipt.last_byte == 199
    client.get(address, headers={"range": f"bytes={made.archive_bytes}-"})
    receipt.refresh_from_db()
    assert receipt.last_byte == 199
    client.get(address)
    receipt.refresh_from_db()
    assert receipt.last_byte == made.archive_bytes - 1


def test_behind_the_proxy_a_fetch_that_goes_on_by_the_proxys_own_tag_is_the_same_fetch(
    cast: Cast, settings: object
) -> None:
    """nginx sends a file from a folder under an ETag of its own, and browsers go on by it (RFC 9110, 13.1.5)."""
    settings.INTERNAL_REDIRECT = True  # type: ignore[attr-defined]
    client, made = accepted(cast)
    address = reverse("archive", args=[cast.sitting.slug, made.pk])
    client.get(address, headers={"range": "bytes=0-99"})
    for first in (100, 5000):
        client.get(address, headers={"range": f"bytes={first}-", "if-range": '"6b0a295f-2033bb"'})
    receipt = Receipt.objects.get()
    assert (receipt.fetches, receipt.last_byte) == (1, made.archive_bytes - 1)
    assert cast.sitting.journal.filter(verb="fetched").count() == 1


def test_a_fetch_that_breaks_off_is_not_called_complete(cast: Cast) -> None:
    client, made = accepted(cast)
    big = b"x" * 700_000
    storage.private().delete(made.archive_key)
    storage.put(storage.private(), made.archive_key, big)
    Delivery.objects.update(archive_bytes=len(big))
    answer = client.get(reverse("archive", args=[cast.sitting.slug, made.pk]), headers={"range": "bytes=0-699998"})
    parts = iter(answer.streaming_content)
    next(parts)
    answer._iterator.close()  # as the server does when the browser has gone
    receipt = Receipt.objects.get()
    assert receipt.last_byte < 699_998


def test_a_file_is_shown_small_and_comes_under_its_own_name(cast: Cast) -> None:
    client, made = accepted(cast)
    file = made.files.get()
    small = Image.open(BytesIO(body(client.get(reverse("file-picture", args=[cast.sitting.slug, file.pk])))))
    assert max(small.size) == 640
    answer = client.get(reverse("delivered-file", args=[cast.sitting.slug, file.pk]))
    assert f'filename="{file.name}"' in answer["Content-Disposition"]
    assert answer["Cache-Control"] == "private, no-store"
    assert body(answer) == storage.get(storage.private(), file.key)


def test_the_last_day_stands_behind_the_files_as_one_sentence(cast: Cast) -> None:
    """No space before a comma, in none of the three languages (common practice, no source)."""
    delivered(cast, expires_at=timezone.now() + timedelta(days=40))
    line = page(cast.client_of(cast.recipient), cast).partition("to be fetched until")[0].rpartition(">")[2]
    assert re.fullmatch(r"\s*1 file,\s+", line), line


@pytest.mark.parametrize("how", ["withdrawn", "lapsed", "passcode"])
def test_a_shut_delivery_says_why(cast: Cast, how: str) -> None:
    fields = {
        "withdrawn": {"state": "withdrawn"},
        "lapsed": {"expires_at": timezone.now() - timedelta(days=1)},
        "passcode": {"passcode_hash": make_password("north light")},
    }[how]
    client, made = accepted(cast, **fields)
    for address in (reverse("archive", args=[cast.sitting.slug, made.pk]), for_use(cast, made)):
        assert client.get(address).status_code == 403
    shown = page(client, cast)
    assert {"withdrawn": "withdrawn", "lapsed": "could be fetched until", "passcode": "Enter the passcode"}[
        how
    ] in shown
    assert "Fetch everything" not in shown


def test_the_passcode_opens_it_for_this_browser_only(cast: Cast, settings: object) -> None:
    client, made = accepted(cast, passcode_hash=make_password("north light"))
    address = reverse("passcode", args=[cast.sitting.slug, made.pk])
    client.post(address, {"passcode": "south"})
    assert "That is not the passcode." in page(client, cast)
    client.post(address, {"passcode": "north light"})
    assert client.get(reverse("archive", args=[cast.sitting.slug, made.pk])).status_code == 200
    fresh = cast.client_of(cast.recipient)
    assert fresh.get(reverse("archive", args=[cast.sitting.slug, made.pk])).status_code == 403
    settings.DOOR_TRIES = 3  # type: ignore[attr-defined]
    tries = [fresh.post(address, {"passcode": f"guess {n}"}).status_code for n in range(5)]
    assert tries[-1] == 429


def test_a_delivery_of_another_sitting_is_not_there(cast: Cast) -> None:
    client, _made = accepted(cast)
    other = make_cast("other-sitting")
    Sitting.objects.update(stage="delivered")
    theirs = delivered(other)
    for name, pk in (
        ("archive", theirs.pk),
        ("delivered-file", theirs.files.get().pk),
        ("file-picture", theirs.files.get().pk),
    ):
        assert client.get(reverse(name, args=[cast.sitting.slug, pk])).status_code == 404, name
    assert client.get(for_use(cast, theirs)).status_code == 404


def test_a_further_use_is_asked_for_and_its_answer_stands_there(cast: Cast) -> None:
    client, _made = accepted(cast)
    address = reverse("ask-use", args=[cast.sitting.slug])
    assert client.post(address, {"use": "other", "other": " "}).status_code == 400
    assert client.post(address, {"use": "other", "other": "a bus shelter", "details": "one week"}).status_code == 302
    asked = UsageRequest.objects.get()
    assert (asked.use, asked.details, asked.invite) == ("a bus shelter", "one week", cast.recipient)
    UsageRequest.objects.update(state="refused", answer="Not this time.")
    shown, subjects = page(client, cast), page(cast.client_of(cast.subject), cast)
    assert "Not this time." in shown
    assert "a bus shelter" not in subjects
    assert ["The pictures of Ansa Veld" in one for one in (shown, subjects)] == [True, False]


@pytest.mark.parametrize(
    ("what", "reply", "asks"),
    [
        ("casting", "Yes, that is allowed.", False),
        ("poster", "Ask first: the licence does not include it.", True),
        ("flip", "Ask first: the licence does not include it.", True),
        ("sell", "No, the licence rules that out.", False),
        ("other", "", True),
        ("", "", False),
        ("burn", "", False),
    ],
)
def test_may_i_is_answered_and_only_what_is_open_can_be_asked_for(
    cast: Cast, what: str, reply: str, asks: bool
) -> None:
    client, _made = accepted(cast)
    shown = client.get(reverse("delivery", args=[cast.sitting.slug]), {"may": what}).content.decode()
    assert shown.count('role="status"') == bool(reply) + 1
    assert reply in shown
    assert ("Ask the photographer" in shown) == asks


def test_what_was_asked_for_is_said_in_the_readers_words_and_not_offered_again_before_its_answer(cast: Cast) -> None:
    client, _made = accepted(cast)
    address = reverse("ask-use", args=[cast.sitting.slug])
    assert client.post(address, {"use": "poster"}).status_code == 302
    assert client.post(address, {"use": "poster"}).status_code == 409
    shown = client.get(reverse("delivery", args=[cast.sitting.slug]), {"may": "poster"}).content.decode()
    assert "You have asked for that already" in shown
    assert "Ask the photographer" not in shown
    theirs = client.get(reverse("delivery", args=[cast.sitting.slug]), headers={"accept-language": "de"})
    assert "Plakate und bezahlte Werbung einer Produktion</strong>" in theirs.content.decode()
    UsageRequest.objects.update(state="refused", answer="Not this time.")
    assert client.post(address, {"use": "poster"}).status_code == 302


def test_what_the_licence_allows_already_is_refused_with_that_sentence(cast: Cast) -> None:
    client, _made = accepted(cast)
    answer = client.post(reverse("ask-use", args=[cast.sitting.slug]), {"use": "casting"})
    assert answer.status_code == 409
    assert "The licence allows that already" in answer.content.decode()
    assert not UsageRequest.objects.exists()


def test_what_the_studio_wrote_into_the_licence_itself_stands_beside_the_columns(cast: Cast) -> None:
    terms = replace(
        licences.draft(cast.sitting), clauses=("No picture is shown before the premiere.",), clauses_number=1
    )
    licences.compose(cast.sitting, terms, cast.as_owner)
    delivered(cast)
    shown = page(cast.client_of(cast.recipient), cast)
    assert "No picture is shown before the premiere." in shown.split("Also agreed")[1].split("<details")[0]


# --- what changed while a page stood open ---


def test_nobody_sends_back_what_goes_out_as_it_was_taken(cast: Cast) -> None:
    """The photographer decided so while the page stood open: it stays, and the words are there to be copied."""
    one = version(cast)
    client, address = cast.client_of(cast.subject), reverse("final", args=[cast.sitting.slug, one.final_id])
    approvals.deliver_as_it_is(one.final, cast.as_owner)
    answer = client.post(address, {"do": "send_back", "version": one.pk, "note": "less <shine>\nwarmer"})
    shown = answer.content.decode()
    assert answer.status_code == 409
    assert "The photographer delivers this final without retouch; there is nothing to send back." in shown
    assert "<blockquote>less &lt;shine&gt;<br>warmer</blockquote>" in shown
    assert 'value="send_back"' not in shown
    one.final.refresh_from_db()
    assert one.final.state == "as_it_is"
    assert not Approval.objects.exists()
    assert "The photographer delivers this frame as it was taken, without retouch." in shown


def test_a_final_without_a_version_that_goes_out_as_it_was_taken_waits_for_no_retouch(cast: Cast) -> None:
    frame = proved(cast, 1, cast.look())
    final = Final.objects.create(sitting=cast.sitting, frame=frame, round=cast.sitting.rounds.get(), state="agreed")
    client = cast.client_of(cast.subject)
    assert "The retouch is not there yet." in page(client, cast, "final", final.pk)
    approvals.deliver_as_it_is(final, cast.as_owner)
    shown = page(client, cast, "final", final.pk)
    assert "The retouch is not there yet." not in shown
    assert "The photographer delivers this frame as it was taken, without retouch." in shown
    assert "If you wish for something else, pin a note: the studio reads it." in shown


def test_no_file_waits_in_a_delivery_that_cannot_be_fetched_any_more(cast: Cast) -> None:
    made = delivered(cast)
    client = cast.client_of(cast.subject)
    assert "1 file waits here." in page(client, cast)
    for fields in ({"state": "withdrawn"}, {"state": "ready", "expires_at": timezone.now() - timedelta(days=1)}):
        Delivery.objects.filter(pk=made.pk).update(**fields)
        assert "waits here" not in page(client, cast), fields


def test_words_of_a_request_stand_there_again_in_its_own_question(cast: Cast) -> None:
    """The same question asked twice, in two windows; or nothing said of what it is for."""
    delivered(cast)
    client, address = cast.client_of(cast.subject), reverse("ask-use", args=[cast.sitting.slug])
    sent = {"use": "other", "may": "other", "other": " ", "details": "on a <tram>\nin May"}
    answer = client.post(address, sent)
    assert answer.status_code == 400
    form = answer.content.decode().partition(f'action="{address}"')[2].partition("</form>")[0]
    assert "Say what the picture is to be used for." in form
    assert "on a &lt;tram&gt;\nin May</textarea>" in form
    assert "<blockquote>" not in form


def test_words_of_a_request_that_the_licence_answers_meanwhile_are_shown_to_their_writer(cast: Cast) -> None:
    made = delivered(cast)
    asked = {"use": "advertising", "may": "advertising", "details": "a <tram>\nin May"}
    client, address = cast.client_of(cast.subject), reverse("ask-use", args=[cast.sitting.slug])
    assert client.post(address, asked).status_code == 302
    again = client.post(address, asked)  # from another window
    assert again.status_code == 409
    usage.grant(UsageRequest.objects.get(), cast.as_owner)
    granted = client.post(address, asked)
    assert granted.status_code == 409
    for answer, sentence in (
        (again, "You have asked for that already"),
        (granted, "The licence allows that already"),
    ):
        main = answer.content.decode().partition("<main")[2]
        assert main.partition("<p")[2].startswith(' class="problem"'), "it stands on top"
        assert sentence in main
        assert "<blockquote>a &lt;tram&gt;<br>in May</blockquote>" in main
    assert made.state == "ready"
