"""The retoucher: terms first, then the originals of the agreed finals and nothing else; versions that wait for the
photographer; a receipt for each fetch; and every way in as somebody else."""

from __future__ import annotations

import io
import re
import zipfile
from datetime import date, timedelta
from typing import Any
from urllib.parse import quote

import pytest
from django.core import mail
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from galleries import storage
from galleries.access import Act, Visitor, may
from galleries.errors import Conflict, Refused
from galleries.models import Final, Invite, JournalLine, Letter, RawFile, RetoucherReceipt, Sitting, Studio, Version
from galleries.steps import jobs
from galleries.steps.finishing import approvals, notes, retoucher_terms, sending
from galleries.steps.people import caps, letters, posting
from galleries.steps.people import invite as invites
from tests.cast import Cast, body_of, make_cast
from tests.painted import finals_of, retouched_file
from tests.web.invitee.sheets import picture, proved

pytestmark = pytest.mark.django_db
S = Final.State
MINE = ("retouch-archive", "retouch-original", "retouch-picture", "retouch-version", "retouch-known", "retouch-file")
MINE += ("retouch-parts", "retouch-part", "retouch-join")


def at(cast: Cast, name: str, *more: object) -> str:
    return reverse(name, args=[cast.sitting.slug, *more])


@pytest.fixture
def cast() -> Cast:
    """Three finals, the first with a raw file beside it, the third kept back; a fourth frame that is none."""
    cast = make_cast(stage="finishing", send_at_once=True)
    Studio.objects.update(letters_from=0, letters_until=24)
    cast.sitting.rounds.update(closed_at=timezone.now())
    for number in (1, 2, 3, 4):
        data = picture(60, 90, 100 + number)
        frame = proved(cast, number, bytes=len(data), width=60, height=90)
        storage.put(storage.private(), frame.key, data)
        if number < 4:
            cast.sitting.finals.create(frame=frame, round=cast.sitting.rounds.get(), state=S.AGREED, position=number)
    first = cast.sitting.frames.get(number=1)
    raw = b"a raw file " * 100
    key = f"sittings/{cast.sitting.uid.hex}/originals/raw.nef"
    storage.put(storage.private(), key, raw)
    RawFile.objects.create(
        frame=first, sha256="e" * 64, key=key, name="KAL_0001.NEF", bytes=len(raw), file_format="NEF"
    )
    cast.sitting.frames.filter(number=3).update(kept_by_subject=True)
    return cast


@pytest.fixture
def person(cast: Cast) -> Invite:
    return cast.retoucher()


def final(cast: Cast, number: int) -> Final:
    return cast.sitting.finals.get(frame__number=number)


def members(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        assert archive.testzip() is None  # Python's own reader of ZIP is the reference
        return {name.rpartition("/")[2]: archive.read(name) for name in archive.namelist()}


def addresses(cast: Cast, version: Version | None = None) -> list[tuple[str, str]]:
    """(method, address) of everything that holds an unstamped byte or takes one."""
    one = final(cast, 1).pk
    asked = [
        ("get", at(cast, "retouch-archive")), ("get", at(cast, "retouch-original", one, "picture")),
        ("get", at(cast, "retouch-original", one, "raw")), ("get", at(cast, "retouch-picture", one)),
        ("post", at(cast, "retouch-known")), ("put", at(cast, "retouch-file")),
        ("post", at(cast, "retouch-part", 1, 1)), ("post", at(cast, "retouch-join", 1)),
    ]  # fmt: skip
    return [*asked, ("get", at(cast, "retouch-version", version.pk))] if version else asked


# --- the terms ---


def test_nothing_is_seen_or_fetched_before_the_terms_are_accepted(cast: Cast) -> None:
    person = cast.retoucher(accepted=False)
    client = cast.client_of(person)
    page = client.get(at(cast, "retouching")).content.decode()
    assert "confidential" in page
    assert "delete the files" in page
    assert "0001" not in page
    assert "<img" not in page
    for method, address in addresses(cast):
        assert getattr(client, method)(address).status_code == 403, address
    wording = re.search(r'name="wording" value="([^"]+)"', page)
    assert wording is not None
    answer = client.post(at(cast, "accept-terms"), {"name": "Odile  Brandt", "wording": wording[1]}, follow=True)
    assert answer.status_code == 200
    kept = cast.sitting.retoucher_acceptances.get()
    assert (kept.name, kept.invite) == ("Odile Brandt", person)
    assert kept.text == retoucher_terms.house_terms()
    assert JournalLine.objects.filter(verb="retoucher's terms accepted", who="Odile Brandt (retoucher)").count() == 1
    assert "0001" in client.get(at(cast, "retouching")).content.decode()


def test_the_words_are_the_photographers_and_new_words_are_asked_for_anew(cast: Cast, person: Invite) -> None:
    client = cast.client_of(person)
    assert client.get(at(cast, "retouch-archive")).status_code == 200
    Studio.objects.update(retoucher_terms="Nothing leaves your desk.")
    assert client.get(at(cast, "retouch-archive")).status_code == 403
    page = client.get(at(cast, "retouching")).content.decode()
    assert "Nothing leaves your desk." in page
    assert "0001" not in page
    Sitting.objects.update(retoucher_terms="Of this sitting: no names.")
    assert "Of this sitting: no names." in client.get(at(cast, "retouching")).content.decode()
    old = client.post(at(cast, "accept-terms"), {"name": "Odile", "wording": "house-1"})
    assert old.status_code == 409
    cast.sitting.refresh_from_db()
    terms = retoucher_terms.terms_of(cast.sitting)
    retoucher_terms.accept(cast.sitting, Visitor(invite=person), "Odile", terms.wording)
    texts = cast.sitting.retoucher_acceptances.values_list("text", flat=True)
    assert list(texts) == [retoucher_terms.house_terms(), "Of this sitting: no names."]
    assert client.get(at(cast, "retouch-archive")).status_code == 200


def test_only_the_retoucher_accepts_and_by_a_name(cast: Cast) -> None:
    person = cast.retoucher(accepted=False)
    for by in (cast.as_owner, cast.as_subject, cast.as_recipient, Visitor()):
        with pytest.raises(Exception, match=r"retoucher's to accept|no such sitting"):
            retoucher_terms.accept(cast.sitting, by, "Somebody", "house-1")
    assert cast.client_of(person).post(at(cast, "accept-terms"), {"name": " ", "wording": "house-1"}).status_code == 400
    with pytest.raises(Conflict):
        retoucher_terms.accept(cast.sitting, Visitor(invite=person), "Odile", "house-0")


# --- what is fetched ---


def test_the_archive_holds_the_finals_of_the_list_with_their_raw_files_and_the_wishes(
    cast: Cast, person: Invite
) -> None:
    notes.set_brief(final(cast, 1), cast.as_owner, "Calm skin, keep the scar")
    notes.pin_note(final(cast, 2), cast.as_subject, 0.25, 0.5, text="the collar")
    notes.pin_note(final(cast, 3), cast.as_subject, 0.25, 0.5, text="between us")
    answer = cast.client_of(person).get(at(cast, "retouch-archive"))
    data = body_of(answer)
    assert answer.headers["Content-Length"] == str(len(data))
    inside = members(data)
    assert set(inside) == {"notes.txt", "KAL_0001.JPG", "KAL_0001.NEF", "KAL_0002.JPG"}
    assert inside["KAL_0001.JPG"] == storage.get(storage.private(), cast.sitting.frames.get(number=1).key)
    text = inside["notes.txt"].decode()
    assert "keep the scar" in text
    assert "subject, on the frame, 25 % from the left, 50 % from the top: the collar" in text
    assert "between us" not in text
    assert "Ansa" not in text
    assert "ansa@" not in text
    receipt = RetoucherReceipt.objects.get()
    assert (receipt.invite, receipt.holds) == (person, ["KAL_0001.JPG", "KAL_0001.NEF", "KAL_0002.JPG"])
    assert receipt.is_whole
    line = JournalLine.objects.get(verb="originals fetched")
    assert line.who == "Odile Brandt (retoucher)"
    assert line.detail["files"] == receipt.holds


def test_any_part_of_the_archive_is_had_alone_and_counts_as_the_same_fetch(cast: Cast, person: Invite) -> None:
    client = cast.client_of(person)
    whole = body_of(client.get(at(cast, "retouch-archive")))
    part = client.get(at(cast, "retouch-archive"), headers={"Range": "bytes=100-"})
    assert part.status_code == 206
    assert body_of(part) == whole[100:]  # RFC 9110, 14.2
    assert client.head(at(cast, "retouch-archive")).headers["Content-Length"] == str(len(whole))
    assert (RetoucherReceipt.objects.get().fetches, JournalLine.objects.filter(verb="originals fetched").count()) == (
        1,
        1,
    )
    body_of(client.get(at(cast, "retouch-archive")))
    assert (RetoucherReceipt.objects.get().fetches, JournalLine.objects.filter(verb="originals fetched").count()) == (
        2,
        2,
    )


def test_a_file_by_itself_and_a_fetch_that_broke_off(cast: Cast, person: Invite) -> None:
    client = cast.client_of(person)
    raw = client.get(at(cast, "retouch-original", final(cast, 1).pk, "raw"))
    assert body_of(raw) == b"a raw file " * 100
    assert 'filename="KAL_0001.NEF"' in raw.headers["Content-Disposition"]
    broken = client.get(at(cast, "retouch-original", final(cast, 2).pk, "picture"), headers={"Range": "bytes=0-9"})
    assert len(body_of(broken)) == 10
    assert [(one.name, one.is_whole) for one in RetoucherReceipt.objects.all()] == [
        ("KAL_0001.NEF", True), ("KAL_0002.JPG", False),
    ]  # fmt: skip
    assert client.get(at(cast, "retouch-original", final(cast, 2).pk, "raw")).status_code == 404
    assert client.get(at(cast, "retouch-original", final(cast, 2).pk, "other")).status_code == 404


def test_two_files_of_one_name_are_told_apart_and_come_back_to_their_own_finals(cast: Cast, person: Invite) -> None:
    cast.sitting.frames.filter(number=2).update(name="kal_0001.jpg")
    names = set(members(body_of(cast.client_of(person).get(at(cast, "retouch-archive")))))
    first, second = final(cast, 1).pk, final(cast, 2).pk
    assert {f"KAL_0001-final{first}.JPG", f"kal_0001-final{second}.jpg", "KAL_0001.NEF"} <= names


def test_never_another_frame_nor_what_is_kept_back_or_left_the_list(cast: Cast, person: Invite) -> None:
    client = cast.client_of(person)
    kept, other = final(cast, 3), cast.sitting.frames.get(number=4)
    for pk in (kept.pk, 999):
        for name in ("retouch-picture",):
            assert client.get(at(cast, name, pk)).status_code == 404
        assert client.get(at(cast, "retouch-original", pk, "picture")).status_code == 404
    cast.sitting.finals.filter(frame__number=2).update(on_list=False)
    assert client.get(at(cast, "retouch-picture", final(cast, 2).pk)).status_code == 404
    assert "KAL_0002.JPG" not in members(body_of(client.get(at(cast, "retouch-archive"))))
    for frame in (other, final(cast, 1).frame, kept.frame):
        proof = frame.proofs.get()
        for name, args in (
            ("proof-picture", (frame.pk, "small", proof.pk)), ("proof-picture", (frame.pk, "large", proof.pk)),
            ("view-picture", (frame.pk,)), ("original", (frame.pk,)),
        ):  # fmt: skip
            assert client.get(reverse(name, args=args)).status_code == 404, name
    for name in ("plan", "sheet", "finals", "delivery", "own-copy", "marks", "changes", "compare", "lists"):
        assert client.get(at(cast, name)).status_code == 403, name


def test_only_of_what_waits_for_a_version_it_is_said_that_nothing_is_asked_for(cast: Cast, person: Invite) -> None:
    words = "Neither brief nor notes: ask the studio what is wanted."
    for number, state in ((1, S.AGREED), (1, S.APPROVED), (1, S.SHOWN)):
        cast.sitting.finals.filter(frame__number=number).update(state=state)
        shown = cast.client_of(person).get(at(cast, "retouching")).content.decode()
        assert (words in shown.split(f'id="final-{final(cast, 1).pk}"')[1].split("</li>")[0]) == (state == S.AGREED)


def test_the_page_names_no_address_mark_or_private_word(cast: Cast, person: Invite) -> None:
    frame = final(cast, 1).frame
    frame.marks.create(invite=cast.subject, kind="pick", note="my scar, please", note_for_studio=True,
                       acted_at=timezone.now())  # fmt: skip
    frame.remarks.create(who="Ansa Veld", text="he looks tired")
    notes.pin_note(final(cast, 1), cast.as_subject, 0.5, 0.5, text="the collar")
    page = cast.client_of(person).get(at(cast, "retouching")).content.decode()
    assert "the collar" in page
    for word in ("ansa@veld.example", "my scar", "tired", "ruben@", "Ruben", "0003", "0004"):
        assert word not in page, word


def test_while_the_subject_may_object_nothing_unstamped_is_handed_out(cast: Cast, person: Invite) -> None:
    cast.sitting.rounds.update(objection_until=timezone.now() + timedelta(hours=1))
    client = cast.client_of(person)
    page = client.get(at(cast, "retouching")).content.decode()
    assert "may still object" in page
    assert "<img" not in page
    for _method, address in addresses(cast)[:4]:
        assert client.get(address).status_code == 403
    cast.sitting.rounds.update(objection_until=timezone.now() - timedelta(seconds=1))
    assert client.get(at(cast, "retouch-archive")).status_code == 200


@pytest.mark.parametrize("stage", ["planning", "proofing", "agreeing", "archived", "delivered"])
def test_only_while_there_is_something_to_retouch(cast: Cast, person: Invite, stage: str) -> None:
    cast.sitting.finals.update(state=S.APPROVED)
    Sitting.objects.update(stage=stage)
    client = cast.client_of(person)
    for method, address in addresses(cast):
        assert getattr(client, method)(address).status_code == 403, (stage, address)
    if stage == "delivered":  # a final that is open again opens them again
        cast.sitting.finals.filter(frame__number=1).update(state=S.RETURNED)
        assert client.get(at(cast, "retouch-archive")).status_code == 200


def test_whoever_is_not_the_retoucher_gets_none_of_it(cast: Cast, person: Invite) -> None:
    version = sent_in(cast, person)
    elsewhere = make_cast("elsewhere", stage="finishing")
    other = elsewhere.retoucher()
    ended = Invite.objects.create(
        sitting=cast.sitting, role="retoucher", name="Ida Lorne", email="ida@lorne.example",
        expires_at=timezone.now() + timedelta(days=9), revoked_at=timezone.now(),
    )  # fmt: skip
    assistant = Invite.objects.create(
        sitting=cast.sitting, role="assistant", name="Ines Maro", email="i@maro.example",
        expires_at=timezone.now() + timedelta(days=9),
    )  # fmt: skip
    cast.accept_terms(ended)
    for somebody in (
        None, cast.subject, cast.representation, cast.recipient, assistant, ended, other, elsewhere.owner, cast.stranger
    ):  # fmt: skip
        client = cast.client_of(somebody)
        for method, address in [*addresses(cast, version), ("get", at(cast, "retouching"))]:
            assert getattr(client, method)(address).status_code in {403, 404}, (somebody, address)
    assert RetoucherReceipt.objects.count() == 0


def test_an_ended_invite_and_a_consent_taken_back_close_it_at_the_next_request(cast: Cast, person: Invite) -> None:
    client = cast.client_of(person)
    assert client.get(at(cast, "retouch-archive")).status_code == 200
    Sitting.objects.update(subject_is_minor=True)
    assert {getattr(client, method)(address).status_code for method, address in addresses(cast)} == {403}
    Sitting.objects.update(subject_is_minor=False)
    studio = cast.client_of(cast.owner)
    answer = studio.post(at(cast, "studio-invite-revoke", person.pk), follow=True).content.decode()
    assert "What was sent in is kept; ask that the files are deleted." in answer
    assert {getattr(client, method)(address).status_code for method, address in addresses(cast)} == {404}


# --- what is sent back ---


def sent_in(cast: Cast, person: Invite, number: int = 1, digest: str = "a") -> Version:
    """A version of this retoucher, as `put` leaves it when its proof is made."""
    key = f"sittings/{cast.sitting.uid.hex}/{digest}.jpg"
    storage.put(storage.private(), key, picture(60, 90))
    one = final(cast, number)
    return one.versions.create(
        number=one.versions.count() + 1, sha256=digest * 64, key=key, name=f"KAL_000{number}_v1.jpg", bytes=9, width=60,
        height=90, proof_key=key, invite=person,
    )  # fmt: skip


def put(client: Client, cast: Cast, name: str, data: bytes) -> Any:
    headers = {"X-File-Name": quote(name), "Accept": "application/json"}
    return client.put(at(cast, "retouch-file"), data, content_type="application/octet-stream", headers=headers)


def test_a_version_finds_its_final_and_waits_for_the_photographer_whatever_the_sitting_says() -> None:
    cast = make_cast(send_at_once=True)
    first, _second = finals_of(cast)
    person = cast.retoucher()
    client, data = cast.client_of(person), retouched_file(0)
    answer = put(client, cast, f"{first.frame.stem}_ob.jpg", data)
    assert answer.json()["state"] == "new", answer.json()
    version = first.versions.get()
    assert (version.invite, version.sent_at) == (person, None)
    jobs.run_waiting(cast.sitting, kinds=["version"])
    first.refresh_from_db()
    assert first.state == S.AGREED
    assert not Letter.objects.filter(kind="retouch").exists()
    page = cast.client_of(cast.subject).get(at(cast, "version-picture", version.pk))
    assert page.status_code == 404, "nobody invited sees it yet"
    assert Letter.objects.get(kind="retouched").to == cast.owner.email
    mine = client.get(at(cast, "retouching")).content.decode()
    assert "your version 1 waits for the studio&#x27;s look" in mine
    assert body_of(client.get(at(cast, "retouch-version", version.pk)))
    sending.send(cast.sitting, [version.pk], cast.as_owner)
    assert cast.client_of(cast.subject).get(at(cast, "version-picture", version.pk)).status_code == 200
    assert put(client, cast, "again.jpg", data).json()["state"] == "same"


def test_what_fits_no_final_waits_for_the_studio_and_tells_of_no_other_frame() -> None:
    cast = make_cast(send_at_once=True)
    first, second = finals_of(cast)
    cast.sitting.frames.filter(pk=second.frame_id).update(kept_by_subject=True)
    person = cast.retoucher()
    client = cast.client_of(person)
    answer = put(client, cast, f"{second.frame.stem}_ob.jpg", retouched_file(1)).json()
    assert answer["state"] == "stray"
    assert second.frame.label not in answer["reason"]
    stray = cast.sitting.strays.get()
    assert stray.invite == person
    assert not second.versions.exists()
    studio = cast.client_of(cast.owner)
    assert stray.name in studio.get(at(cast, "studio-people")).content.decode()
    studio.post(at(cast, "studio-stray-settle", stray.pk), {"final": first.pk})
    version = first.versions.get()
    assert (version.invite, version.sent_at) == (person, None), "settled, it waits all the same"


def test_a_retoucher_settles_no_stray_sends_no_version_on_and_sees_no_others(cast: Cast, person: Invite) -> None:
    mine, theirs = sent_in(cast, person), sent_in(cast, cast.retoucher_beside(), 2, "b")
    client = cast.client_of(person)
    assert client.get(at(cast, "retouch-version", mine.pk)).status_code == 200
    assert client.get(at(cast, "retouch-version", theirs.pk)).status_code == 404
    with pytest.raises(Refused):
        sending.send(cast.sitting, [mine.pk], Visitor(invite=person))
    with pytest.raises(Refused):
        approvals.approve(mine, Visitor(invite=person), mine.sha256)
    digests = [mine.sha256, theirs.sha256]
    asked = client.post(at(cast, "retouch-known"), {"digests": digests}, content_type="application/json")
    assert asked.json() == {"known": [mine.sha256]}
    page = client.get(at(cast, "retouching")).content.decode()
    assert "the studio has a version" in page
    assert theirs.name not in page


def test_how_much_one_retoucher_may_send(cast: Cast, person: Invite, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(caps, "VERSIONS_A_DAY", 1)
    sent_in(cast, person)
    assert put(cast.client_of(person), cast, "KAL_0001.jpg", b"no picture").status_code == 403


def test_a_large_version_is_not_turned_away_at_the_gate_and_a_form_of_that_size_is(cast: Cast, person: Invite) -> None:
    """32 MB is what anybody may send in a form; a version is as large as a frame, and only its own door reads it."""
    client = cast.client_of(person)
    answer = put(client, cast, "KAL_0001.jpg", b"x" * 33_000_000)
    assert answer.json()["state"] == "refused", answer.json()  # read, and found to be no picture
    assert put(Client(), cast, "KAL_0001.jpg", b"x" * 33_000_000).status_code == 404
    form = client.post(at(cast, "retouch-file"), b"x" * 33_000_000, content_type="application/octet-stream")
    assert form.status_code == 413


# --- letters, days, the studio ---


def sent() -> dict[str, Any]:
    jobs.run_waiting(kinds=["letter"])
    box = {message.to[0]: message for message in mail.outbox}
    mail.outbox.clear()
    return box


def test_letters_in_the_roles_words_and_the_day_as_a_calendar_file(cast: Cast, person: Invite) -> None:
    Sitting.objects.update(retouch_by=date(2027, 2, 1))
    cast.sitting.refresh_from_db()
    letters.invite_by_letter(person, cast.as_owner)
    message = sent()[person.email]
    assert "Accept the terms there first" in message.body
    assert "wanted by 1 February 2027" in message.body
    assert "Ansa" not in message.body.replace(cast.sitting.title, "")
    (calendar,) = [one for one in message.attachments if one[0] == "deadline.ics"]
    assert "20270201" in calendar[1]  # RFC 5545, 3.3.4
    assert posting.send_due(date(2027, 1, 20)) == 0
    assert posting.send_due(date(2027, 1, 29)) == 1
    reminder = sent()[person.email]
    assert "2 finals still wait" in reminder.body
    assert "0003" not in reminder.body
    posting.send_due(date(2027, 1, 30))
    assert Letter.objects.filter(kind="work_due").count() == 1, "once per step"
    cast.sitting.finals.update(state=S.SHOWN)
    assert posting.send_due(date(2027, 1, 31)) == 0, "nothing is wanted any more"


def test_a_version_sent_back_is_told_to_whoever_made_it(cast: Cast, person: Invite) -> None:
    version = sent_in(cast, person)
    sending.send(cast.sitting, [version.pk], cast.as_owner)
    version.refresh_from_db()
    approvals.send_back(version, cast.as_subject, "between us: I was ill")
    assert "was sent back" in sent()[person.email].body
    page = cast.client_of(person).get(at(cast, "retouching")).content.decode()
    assert "sent back: see what is to be different" in page
    assert "I was ill" not in page, "words to the studio are not passed on by the program"


def test_what_was_to_be_different_is_read_by_the_retoucher_where_its_writer_says_so(cast: Cast, person: Invite) -> None:
    version = sent_in(cast, person)
    sending.send(cast.sitting, [version.pk], cast.as_owner)
    subject, address = cast.client_of(cast.subject), at(cast, "final", version.final_id)
    word = {"do": "send_back", "version": version.pk, "note": "keep the scar"}
    assert "Whoever retouches it may read this too" in subject.get(address).content.decode()
    subject.post(address, {**word, "retoucher": "yes"})
    client = cast.client_of(person)
    page = client.get(at(cast, "retouching")).content.decode()
    assert "Version 1 was sent back" in page
    assert "keep the scar" in page
    text = members(body_of(client.get(at(cast, "retouch-archive"))))["notes.txt"].decode()
    assert "Version 1 was sent back (subject): keep the scar" in text
    other = cast.client_of(cast.retoucher_beside()).get(at(cast, "retouching"))
    assert "keep the scar" in other.content.decode(), "the next version may be somebody else's"
    approvals.approve(version, cast.as_subject, version.sha256)
    assert "keep the scar" not in client.get(at(cast, "retouching")).content.decode(), "it was taken back"


def test_the_studio_sees_what_was_accepted_fetched_and_sent(cast: Cast, person: Invite) -> None:
    body_of(cast.client_of(person).get(at(cast, "retouch-archive")))
    sent_in(cast, person)
    page = cast.client_of(cast.owner).get(at(cast, "studio-people")).content.decode()
    for words in ("Terms accepted by Odile Brandt", "1 fetch of originals", "KAL_0001.NEF", "1 version sent in"):
        assert words in page, words
    assert "1 final is kept back" in page
    assert "waits for Odile Brandt" in cast.client_of(cast.owner).get(at(cast, "studio-finals")).content.decode()


def test_the_link_leads_a_retoucher_to_the_work_and_waits_before(cast: Cast, person: Invite) -> None:
    client = cast.client_of(person)
    assert client.get(at(cast, "sitting")).headers["Location"] == at(cast, "retouching")
    Sitting.objects.update(stage="agreeing")
    answer = client.get(at(cast, "sitting"))
    assert answer.status_code == 403
    assert "list of finals is still open" in answer.content.decode()


def test_a_retoucher_is_no_part_of_the_sheet_s_letters(cast: Cast, person: Invite) -> None:
    assert not may(Visitor(invite=person), Act.SEE_SHEET, cast.sitting)
    assert person not in cast.sitting.invites.of_the_sheet()
    invites.revoke(person, cast.as_owner)
    person.refresh_from_db()
    assert letters.notify(cast.sitting, "work", [person]) == []
