"""'Everything about me': what is in the copy, who lets it go, who may fetch it and how long."""

from __future__ import annotations

import hashlib
import io
import json
import re
import zipfile
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from galleries import storage
from galleries.access import Visitor
from galleries.errors import BadInput, Conflict, Missing, Refused
from galleries.models import Invite, JournalLine, Letter, Mark, OwnCopy, PlanComment, Proof, Receipt, Remark, Verb
from galleries.steps import jobs
from galleries.steps.delivering import licences
from galleries.steps.keeping import erase, inventory, own_archive, own_copy, unfinished, upkeep
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    """A sitting in which everybody has said and fetched something; files are bytes of no picture."""
    cast = make_cast(stage="delivered")
    sitting, now = cast.sitting, timezone.now()
    Invite.objects.filter(pk=cast.subject.pk).update(language="de")
    cast.subject.refresh_from_db()
    frame = cast.frame(7, cast.look("Leinen"), reading={"face": [0.5, 0.3]})
    home = storage.home(sitting.uid)
    keys = {name: f"{home}/{name}" for name in ("large.jpg", "small.jpg", "v.tif", "vp.jpg", "mine.jpg", "theirs.jpg")}
    for key in (frame.key, keys["v.tif"], keys["mine.jpg"], keys["theirs.jpg"]):
        storage.put(storage.private(), key, f"private {key}".encode())
    for key in (keys["large.jpg"], keys["small.jpg"], keys["vp.jpg"]):
        storage.put(storage.proofs(), key, f"proof {key}".encode())
    Proof.objects.create(
        frame=frame, recipe="1", large_key=keys["large.jpg"], large_width=8, large_height=9,
        small_key=keys["small.jpg"], small_width=2, small_height=3,
    )  # fmt: skip
    final = sitting.finals.create(frame=frame, round=sitting.rounds.get())
    version = final.versions.create(
        number=1, sha256="a" * 64, key=keys["v.tif"], name="KAL_0007 retouch.tif", bytes=9, width=8, height=9,
        proof_key=keys["vp.jpg"],
    )  # fmt: skip
    version.approvals.create(sha256="a" * 64, decision="approved", who="Ansa Veld", invite=cast.subject)
    for person, note in ((cast.subject, "Die ruhige"), (cast.representation, "Zu brav für <Krimi>")):
        Mark.objects.create(invite=person, by=person, frame=frame, kind="pick", note=note, acted_at=now)
    Remark.objects.create(frame=frame, invite=cast.representation, who="Ruben Achterberg", text="So leuchtet sie")
    PlanComment.objects.create(sitting=sitting, who="Ansa Veld", invite=cast.subject, text="Kein Schwarz, bitte")
    sitting.references.create(key=keys["mine.jpg"], caption="So ein Licht", brought_by="Ansa Veld")
    sitting.references.create(key=keys["theirs.jpg"], caption="Noch eins", brought_by="Ruben Achterberg")
    licence = licences.compose(sitting, licences.draft(sitting), cast.as_owner)
    delivery = sitting.deliveries.create(number=1, licence=licence, sizes={}, state="ready", passcode_hash="geheim")
    Receipt.objects.create(delivery=delivery, invite=cast.representation, who="Ruben Achterberg", name="veld.zip")
    for person in (cast.subject, cast.representation):
        Letter.objects.create(sitting=sitting, invite=person, kind="delivery", to=person.email, sent_at=now)
    person_links = cast.representation.links.create(token_hash="b" * 64)
    assert person_links.pk
    return cast


def made(cast: Cast, **how: Any) -> OwnCopy:
    copy = own_copy.ask(cast.sitting, cast.as_owner, cast.subject, **how)
    jobs.run_waiting(cast.sitting, kinds=["own copy"])
    copy.refresh_from_db()
    assert copy.state == "made", copy.problem
    return copy


def inside(copy: OwnCopy) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(storage.get(storage.private(), copy.archive_key))) as archive:
        return {name.partition("/")[2]: archive.read(name) for name in archive.namelist()}


def test_it_holds_every_row_of_theirs_and_nobody_elses_address(cast: Cast) -> None:
    files = inside(made(cast))
    tables = json.loads(files["rows.json"])["tables"]
    (frame,) = tables["Frame"]["rows"]
    assert frame["reading"] == {"face": [0.5, 0.3]}
    assert {row["note"] for row in tables["Mark"]["rows"]} == {"Die ruhige", "Zu brav für <Krimi>"}
    assert {row["invite"] for row in tables["Mark"]["rows"]} == {
        "Ansa Veld (subject)",
        "Ruben Achterberg (representation)",
    }
    addresses = {row["name"]: row.get("email") for row in tables["Invite"]["rows"]}
    assert addresses == {"Ansa Veld": "ansa@veld.example", "Ruben Achterberg": None, "Casting desk": None}
    assert tables["Invite"]["left_out"]["sitting"]
    everything = b"".join(files.values())
    secrets = ("ruben@achterberg.example", "desk@elsewhere.example", "geheim", "b" * 64, cast.sitting.tracer_key)
    assert [secret for secret in secrets if secret.encode() in everything] == []
    assert storage.home(cast.sitting.uid).encode() not in files["rows.json"]


def test_every_table_with_a_row_of_the_sitting_is_in_it(cast: Cast) -> None:
    """Against the archive of a sitting, which holds every row: each table there has as many rows here."""
    from galleries.steps.keeping import archive_file

    copy = made(cast)
    tables = json.loads(inside(copy)["rows.json"])["tables"]
    before_it = {name: len(rows) for name, rows in archive_file.rows_of(cast.sitting).items()}
    here = {name: len(table["rows"]) for name, table in tables.items()}
    del before_it["JournalLine"], here["JournalLine"]  # that it was made is written after it was made
    assert {name: here[name] for name in before_it} == before_it
    of_a_day = {"Sitter", "DayFrame"}  # they stay with the day
    assert set(here) - set(before_it) == {"InviteLink", "Opening", "Undoable"} | of_a_day
    assert copy.holds["rows"]["Mark"] == 2


def test_without_the_studios_word_only_what_is_stamped_and_what_they_brought(cast: Cast) -> None:
    files = inside(made(cast))
    pictures = sorted(re.sub(r"\d+_", "", name) for name in files if name.startswith("pictures/"))
    assert pictures == ["pictures/proofs/kal-0007.jpg", "pictures/references/so-ein-licht.jpg",
                        "pictures/retouch-proofs/kal-0007-1.jpg"]  # fmt: skip
    (proof,) = [data for name, data in files.items() if "/proofs/" in name]
    assert proof.startswith(b"proof ")
    rows = json.loads(files["rows.json"])["tables"]
    assert rows["Frame"]["rows"][0]["key"] == ""
    assert rows["Proof"]["rows"][0]["large_key"] in files


def test_with_it_the_camera_files_and_retouches_too_and_the_page_says_which(cast: Cast) -> None:
    with_them, without = inside(made(cast, with_originals=True)), inside(made(cast))
    more = {name.split("/")[1] for name in set(with_them) - set(without)}
    assert more == {"originals", "retouches"}
    assert b"ungestempelte Datei" in with_them["index.html"]
    assert "wegen ihrer Größe weggelassen" in without["index.html"].decode()
    for line in with_them["SHA256SUMS"].decode().splitlines():
        digest, name = line.split("  ", 1)
        assert hashlib.sha256(with_them[name]).hexdigest() == digest
    assert len(with_them["SHA256SUMS"].splitlines()) == len(with_them) - 1


def test_the_page_is_in_the_persons_language_and_says_who_saw_what_when(cast: Cast) -> None:
    """The parts are those of Regulation (EU) 2016/679, article 15(1)(a) to (h), from memory of the published text:
    purposes, categories, recipients, period, rights, complaint, source, automated decisions."""
    page = inside(made(cast))["index.html"].decode()
    assert '<html lang="de">' in page
    for part in ("Wozu", "Welche Arten", "Wer sie bekommt", "Wie lange", "berichtigt", "gelöscht", "Aufsichtsbehörde",
                 "Woher", "Von einer Maschine entschieden", "Artikeln 15 und 20"):  # fmt: skip
        assert part in page, part
    assert "Ruben Achterberg" in page
    assert "veld.zip" in page
    assert "So leuchtet sie" in page
    assert "&lt;Krimi&gt;" in page  # what somebody wrote is text, never markup
    assert "<Krimi>" not in page
    assert not re.search(r"(src|href)=\"https?:", page)  # nothing is fetched from elsewhere when it is read


def test_nobody_but_the_photographer_makes_it_and_lets_it_go(cast: Cast) -> None:
    for visitor in (cast.as_subject, cast.as_representation, Visitor(user=cast.stranger), Visitor()):
        with pytest.raises((Missing, Refused)):
            own_copy.ask(cast.sitting, visitor, cast.subject)
    copy = made(cast)
    for visitor in (cast.as_subject, cast.as_representation, Visitor(user=cast.stranger)):
        with pytest.raises((Missing, Refused)):
            own_copy.let_go(copy, visitor)
        with pytest.raises((Missing, Refused)):
            own_copy.withdraw(copy, visitor)
    assert not Letter.objects.filter(kind="own").exists()


def test_it_is_looked_at_first_and_then_let_go_with_one_letter(cast: Cast, mailoutbox: Any) -> None:
    assert cast.sitting.send_at_once  # which is about retouches and deliveries, not about this
    copy = made(cast)
    with pytest.raises(Refused):
        own_copy.check_fetch(copy, cast.as_subject)
    own_copy.check_fetch(copy, cast.as_owner)
    own_copy.let_go(copy, cast.as_owner)
    own_copy.check_fetch(copy, cast.as_subject)
    with pytest.raises(Conflict):
        own_copy.let_go(copy, cast.as_owner)
    (letter,) = Letter.objects.filter(kind="own")
    assert letter.to == "ansa@veld.example"
    lines = JournalLine.objects.filter(verb__startswith="own copy").values_list("verb", flat=True)
    assert list(lines) == [Verb.OWN_COPY_ASKED_FOR, Verb.OWN_COPY_MADE, Verb.OWN_COPY_LET_GO]


def test_another_subject_the_agent_and_another_sittings_subject_get_nothing(cast: Cast) -> None:
    copy = made(cast)
    own_copy.let_go(copy, cast.as_owner)
    twin = Invite.objects.create(
        sitting=cast.sitting, role="subject", name="Ansa Veld", email="other@veld.example",
        expires_at=cast.subject.expires_at,
    )  # fmt: skip
    elsewhere = make_cast("elsewhere", stage="delivered")
    strangers = [Visitor(invite=twin), cast.as_representation, cast.as_recipient, elsewhere.as_subject,
                 elsewhere.as_owner, Visitor()]  # fmt: skip
    for stranger in strangers:
        with pytest.raises((Missing, Refused)):
            own_copy.check_fetch(copy, stranger)
        with pytest.raises((Missing, Refused)):
            own_copy.fetched(copy, stranger)


def test_after_its_days_it_is_refused_and_the_clock_removes_the_file(cast: Cast) -> None:
    copy = made(cast)
    own_copy.let_go(copy, cast.as_owner)
    key = copy.archive_key
    upkeep.run()
    assert storage.private().exists(key)
    OwnCopy.objects.update(expires_at=timezone.now() - timedelta(minutes=1))
    copy.refresh_from_db()
    with pytest.raises(Refused, match="could be fetched until"):
        own_copy.check_fetch(copy, cast.as_subject)
    upkeep.run()
    upkeep.run()
    copy.refresh_from_db()
    assert (copy.state, copy.archive_key) == ("ended", "")
    assert not storage.private().exists(key)
    assert JournalLine.objects.filter(verb=Verb.OWN_COPY_ENDED).count() == 1


def test_one_that_nobody_looks_at_ends_too_and_one_withdrawn_loses_its_file_at_once(cast: Cast) -> None:
    forgotten = made(cast)
    OwnCopy.objects.update(expires_at=timezone.now() - timedelta(minutes=1))
    upkeep.run()
    forgotten.refresh_from_db()
    assert forgotten.state == "ended"
    copy = made(cast)
    own_copy.let_go(copy, cast.as_owner)
    key = copy.archive_key
    own_copy.withdraw(copy, cast.as_owner)
    assert not storage.private().exists(key)
    with pytest.raises(Refused):
        own_copy.check_fetch(copy, cast.as_subject)


def test_a_missing_file_fails_it_with_a_sentence_and_it_can_be_tried_again(cast: Cast) -> None:
    key = Proof.objects.get().large_key
    kept = storage.get(storage.proofs(), key)
    storage.proofs().delete(key)
    copy = own_copy.ask(cast.sitting, cast.as_owner, cast.subject)
    with pytest.raises(Conflict):
        own_copy.ask(cast.sitting, cast.as_owner, cast.subject)
    jobs.run_waiting(cast.sitting, kinds=["own copy"])
    copy.refresh_from_db()
    assert copy.state == "failed"
    assert "is missing" in own_copy.problem_of(copy)
    storage.put(storage.proofs(), key, kept)
    assert unfinished.try_again(cast.sitting, cast.as_owner) == 1
    jobs.run_waiting(cast.sitting, kinds=["own copy"])
    copy.refresh_from_db()
    assert (copy.state, copy.problem) == ("made", "")


def test_it_is_for_a_subjects_invite_that_holds_and_for_so_many_days(cast: Cast) -> None:
    for person, days in ((cast.representation, 30), (cast.subject, 0), (cast.subject, 366)):
        with pytest.raises(BadInput):
            own_copy.ask(cast.sitting, cast.as_owner, person, days=days)
    Invite.objects.filter(pk=cast.subject.pk).update(revoked_at=timezone.now())
    cast.subject.refresh_from_db()
    with pytest.raises(BadInput, match="prolong"):
        own_copy.ask(cast.sitting, cast.as_owner, cast.subject)


def test_its_file_is_one_the_rows_name_and_goes_with_the_sitting(cast: Cast) -> None:
    copy = made(cast)
    place = ("private", copy.archive_key)
    assert inventory.expected(cast.sitting)[place] == copy.archive_sha256
    stray = storage.derived_key(cast.sitting.uid, own_archive.KIND, "e" * 64, "zip")  # of a builder that was killed
    storage.put(storage.private(), stray, b"half a life")
    assert own_archive.remove_files(cast.sitting) == 1
    assert storage.private().exists(copy.archive_key)
    assert erase.erase(cast.sitting, cast.as_owner, "asked for").left == ()
    assert not OwnCopy.objects.exists()
