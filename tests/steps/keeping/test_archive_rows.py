"""What goes into a sitting's archive, and what comes of it where it is put back: rows without pictures."""

from __future__ import annotations

import errno
import json
import shutil
import zipfile
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import IO, Any

import pytest
from django.contrib.auth.models import User
from django.core.files.base import ContentFile
from django.core.files.storage import Storage
from django.utils import timezone

from galleries import storage
from galleries.access import Visitor
from galleries.errors import BadInput, Conflict, Missing
from galleries.models import (
    Approval,
    DeliverySize,
    Erasure,
    Final,
    Invite,
    JournalLine,
    Look,
    Mark,
    Sitting,
    Studio,
    Version,
)
from galleries.steps.delivering import sizes
from galleries.steps.keeping import archive_file, erase, inventory, restore, retention
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db
Head = dict[str, Any]


@pytest.fixture
def cast() -> Cast:
    """A sitting with a final, a version with two people's words, a crop and a file of a few bytes."""
    made = make_cast(stage="finishing")
    key = f"{storage.home(made.sitting.uid)}/originals/one.bin"
    storage.put(storage.private(), key, b"bytes")
    frame = made.frame(1, made.look(), key=key, sha256=inventory.digest_of("private", key)[0])
    final = made.sitting.finals.create(frame=frame, round=made.sitting.rounds.get(), state="shown")
    version = final.versions.create(
        number=1, sha256="a" * 64, key="", name="n.tif", bytes=1, width=9, height=9, sent_at=timezone.now(),
        kind_stated="person", kind_said_by="Tamsin",
    )  # fmt: skip
    version.approvals.create(sha256="a" * 64, decision="approved", who="Ansa Veld", invite=made.subject)
    version.approvals.create(sha256="a" * 64, decision="returned", who="Colleague", user=made.colleague)
    sizes.load()
    final.crops.create(
        size=DeliverySize.objects.get(slug="web-square"), x=0, y=0, width=9, height=9, frame_width=9, frame_height=9
    )
    return made


def written(cast: Cast, folder: Path) -> Path:
    return archive_file.write(cast.sitting, folder / "one.zip", cast.as_owner).path


def head_of(path: Path) -> Head:
    with zipfile.ZipFile(path) as archive:
        head: Head = json.loads(archive.read(archive_file.ROWS))
    return head


def changed(path: Path, change: Callable[[Head], object]) -> Path:
    out, head = path.with_name(f"changed-{path.name}"), head_of(path)
    change(head)
    with zipfile.ZipFile(path) as source, zipfile.ZipFile(out, "w") as target:
        for info in source.infolist():
            target.writestr(info, json.dumps(head) if info.filename == archive_file.ROWS else source.read(info))
    return out


def moved_on(cast: Cast) -> None:
    """The sitting is gone, and others have come since."""
    erase.erase(cast.sitting, cast.as_owner, "test")


def back(path: Path, photographer: str = "") -> Sitting:
    return Sitting.objects.get(pk=restore.restore(path, photographer).sitting.pk)


# --- written ---


def test_rows_are_this_sittings_alone_in_the_order_of_their_numbers(cast: Cast) -> None:
    other = make_cast("other")
    other.frame(1, other.look())
    Mark.objects.create(invite=other.subject, frame=other.sitting.frames.get(), kind="pick", acted_at=timezone.now())
    JournalLine.write(other.sitting, "w", JournalLine.line(None, "w", "stage").verb)
    for number in (3, 2):
        cast.frame(number)
    rows = archive_file.rows_of(cast.sitting)
    assert list(rows) == [model.__name__ for model, _path in archive_file.TABLES]
    assert [row["pk"] for row in rows["Sitting"]] == [cast.sitting.pk]
    assert [row["fields"]["number"] for row in rows["Frame"]] == [1, 3, 2]
    assert {row["fields"]["name"] for row in rows["Invite"]} == {"Ansa Veld", "Ruben Achterberg", "Casting desk"}
    assert (rows["Mark"], rows["JournalLine"], len(rows["Look"]), len(rows["Approval"])) == ([], [], 1, 2)


def test_people_are_those_it_leans_on_and_no_secret_of_theirs_goes_along(cast: Cast, tmp_path: Path) -> None:
    closer = User.objects.create_user("closer", "closer@northlight.example", "a long enough secret")
    helper = User.objects.create_user("helper")
    cast.sitting.colleagues.add(helper)
    cast.sitting.rounds.update(closed_by_user=closer)
    head = head_of(written(cast, tmp_path))
    assert set(head["people"]) == {str(one.pk) for one in (cast.owner, cast.colleague, closer, helper)}
    assert set(head["people"][str(closer.pk)]) == {"username", "first_name", "last_name", "email"}
    assert closer.password not in json.dumps(head)
    assert [size["slug"] for size in head["sizes"].values()] == ["web-square"]
    for table in ("InviteLink", "Job", "Undoable", "Day", "DayFrame", "Sitter", "SignInLink", "User"):
        assert table not in head["rows"]
    assert head["studio"][0]["fields"]["name"] == "Northlight Rooms"


def test_what_was_written_is_told_and_the_same_rows_give_the_same_bytes(cast: Cast, tmp_path: Path) -> None:
    told: list[tuple[int, int]] = []
    done = archive_file.write(
        cast.sitting, tmp_path / "one.zip", cast.as_owner, lambda number, of: told.append((number, of))
    )
    assert (done.files, done.bytes) == (1, (tmp_path / "one.zip").stat().st_size)
    assert told == [(1, 1)]
    line = JournalLine.objects.get(sitting=cast.sitting)
    assert (line.verb, line.thing) == ("archived to a file", "one.zip")
    assert line.detail == {"sha256": done.sha256, "bytes": done.bytes}
    assert done.rows == sum(len(rows) for rows in archive_file.rows_of(cast.sitting).values())
    with zipfile.ZipFile(done.path) as archive:
        assert {info.date_time for info in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        assert {info.external_attr >> 16 for info in archive.infolist()} == {0o644}
        names = [info.filename for info in archive.infolist()]
    assert names == [f"private/{cast.sitting.frames.get().key}", archive_file.ROWS, archive_file.SUMS]
    assert [path.name for path in tmp_path.iterdir()] == ["one.zip"]


@pytest.mark.parametrize("damage", ["missing", "damaged"])
def test_a_stored_file_that_is_not_as_it_was_stops_it_and_leaves_no_part(
    cast: Cast, tmp_path: Path, damage: str
) -> None:
    store, key = storage.private(), cast.sitting.frames.get().key
    store.delete(key)
    if damage == "damaged":
        storage.put(store, key, b"bytez")
    with pytest.raises(BadInput, match=f"private:{key} is {damage}"):
        written(cast, tmp_path)
    assert list(tmp_path.iterdir()) == []
    assert not JournalLine.objects.exists()


def test_nobody_else_writes_it_and_no_file_is_written_over(cast: Cast, tmp_path: Path) -> None:
    other = make_cast("other")
    with pytest.raises(Missing):
        archive_file.write(cast.sitting, tmp_path / "one.zip", other.as_owner)
    (tmp_path / "one.zip").write_bytes(b"another's")
    with pytest.raises(BadInput, match="already"):
        written(cast, tmp_path)
    assert (tmp_path / "one.zip").read_bytes() == b"another's"


# --- put back: whose it is, and what stands there already ---


def test_people_and_sizes_that_are_here_stay_as_they_are(cast: Cast, tmp_path: Path) -> None:
    path = written(cast, tmp_path)
    moved_on(cast)
    User.objects.filter(pk=cast.owner.pk).update(email="new@northlight.example")
    User.objects.filter(pk=cast.colleague.pk).delete()
    DeliverySize.objects.filter(slug="web-square").update(title="My own square")
    Studio.objects.update(name="Another name")
    sitting = back(path)
    assert sitting.photographer == cast.owner
    assert User.objects.get(pk=cast.owner.pk).email == "new@northlight.example"
    made = User.objects.get(username=cast.colleague.username)
    assert (made.email, made.has_usable_password()) == ("colleague@northlight.example", False)
    assert (made.is_staff, made.is_superuser) == (False, False)
    assert Approval.objects.get(decision="returned").user == made
    assert Approval.objects.get(decision="approved").invite == sitting.invites.get(role="subject")
    crop = Final.objects.get().crops.get()
    assert crop.size.title == "My own square"
    assert list(Studio.objects.values_list("name", flat=True)) == ["Another name"]


def test_it_is_given_to_a_photographer_who_is_here(cast: Cast, tmp_path: Path) -> None:
    path = written(cast, tmp_path)
    moved_on(cast)
    with pytest.raises(BadInput, match="no user “nobody”"):
        back(path, "nobody")
    assert not Sitting.objects.exists()
    assert erase.scan(cast.sitting.uid) == ()
    sitting = back(path, cast.stranger.username)
    assert sitting.photographer == cast.stranger
    assert Approval.objects.get(decision="returned").user == cast.colleague
    line = JournalLine.objects.filter(sitting=sitting).order_by("-pk")[0]
    assert (line.who, line.verb, line.thing) == ("the program", "restored from a file", "Ansa Veld, spring")


def test_a_short_name_that_is_taken_is_said_before_anything_is_written(cast: Cast, tmp_path: Path) -> None:
    path = written(cast, tmp_path)
    moved_on(cast)
    Sitting.objects.create(slug=cast.sitting.slug, title="T", photographer=cast.owner, subject_given="A")
    with pytest.raises(Conflict, match="“ansa-veld”"):
        back(path)
    assert erase.scan(cast.sitting.uid) == ()
    assert Sitting.objects.count() == 1


def test_what_breaks_while_rows_are_put_back_takes_the_files_away_again(
    cast: Cast, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = written(cast, tmp_path)
    moved_on(cast)
    before = JournalLine.objects.count(), User.objects.count()

    def broken() -> None:
        assert erase.scan(cast.sitting.uid)  # files come first
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(restore, "_reset_counters", broken)
        with pytest.raises(KeyboardInterrupt):
            back(path)
    assert erase.scan(cast.sitting.uid) == ()
    assert not Sitting.objects.exists()
    assert (JournalLine.objects.count(), User.objects.count()) == before
    assert back(path).frames.count() == 1  # and the next try is as good as the first


def test_a_row_that_cannot_be_put_back_takes_all_away_again(cast: Cast, tmp_path: Path) -> None:
    path = written(cast, tmp_path)
    moved_on(cast)
    looks = Look.objects.count()
    twice = changed(path, lambda head: head["rows"]["Look"].append(head["rows"]["Look"][0] | {"pk": 2**61}))
    broken = changed(twice, lambda head: head["rows"]["Approval"][0]["fields"].update(version=None))
    with pytest.raises(BadInput, match="nothing was restored"):
        back(broken)
    assert (Sitting.objects.count(), Look.objects.count(), erase.scan(cast.sitting.uid)) == (0, looks, ())


def test_rows_are_tried_before_a_file_is_copied(cast: Cast, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    broken = changed(written(cast, tmp_path), lambda head: head["rows"]["Look"][0]["fields"].update(position="x"))
    moved_on(cast)
    cast.colleague.delete()
    before = User.objects.count()
    monkeypatch.setattr(storage, "put", lambda *_what: pytest.fail("a file was copied"))
    with pytest.raises(BadInput, match="nothing was restored"):
        back(broken)
    assert User.objects.count() == before  # nor is anybody made who would have come with it


def test_a_disk_without_room_is_said_before_a_file_is_copied(
    cast: Cast, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = written(cast, tmp_path)
    moved_on(cast)
    usage = shutil.disk_usage(tmp_path)
    monkeypatch.setattr(shutil, "disk_usage", lambda _path: usage._replace(free=4))
    with pytest.raises(BadInput, match="holds 5 bytes of files, and the disk has only 4 left"):
        back(path)
    assert (erase.scan(cast.sitting.uid), Sitting.objects.count()) == ((), 0)


def test_a_file_that_cannot_be_copied_leaves_nothing_and_the_folder_as_shut_as_it_was(
    cast: Cast, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, key = written(cast, tmp_path), cast.sitting.frames.get().key
    moved_on(cast)

    def full(store: Storage, key: str, content: IO[bytes]) -> None:
        store.save(key, ContentFile(b"by"))
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(storage, "put", full)
        with pytest.raises(BadInput, match="No space left"):
            back(path)
    assert (erase.scan(cast.sitting.uid), Sitting.objects.count()) == ((), 0)
    with pytest.raises(Missing):  # it had been removed for good
        storage.put(storage.private(), key, b"late")
    assert back(path).frames.count() == 1


def test_numbers_counted_on_after_it_are_free(cast: Cast, tmp_path: Path) -> None:
    path = written(cast, tmp_path)
    moved_on(cast)
    sitting = back(path)
    look = sitting.looks.create(title="New", position=9)
    assert look.pk > max(sitting.looks.exclude(pk=look.pk).values_list("pk", flat=True))


# --- from earlier releases ---


def test_versions_from_before_the_photographers_look_were_out_at_once(cast: Cast, tmp_path: Path) -> None:
    version = Version.objects.get()
    Version.objects.update(sent_at=version.added_at + timedelta(days=1))
    path = written(cast, tmp_path)
    moved_on(cast)

    def old(head: Head) -> None:
        for row in head["rows"]["Version"]:
            del row["fields"]["sent_at"]

    back_again = back(changed(path, old)).finals.get().versions.get()
    assert back_again.sent_at == back_again.added_at
    assert abs(back_again.added_at - version.added_at) < timedelta(milliseconds=1)  # as precise as JSON has it


@pytest.mark.parametrize(
    ("said_by", "kept"), [("the file", ("file", "")), ("Tamsin", ("person", "Tamsin")), ("", ("", ""))]
)
def test_who_said_how_a_retouch_was_made_is_read_from_the_name(
    cast: Cast, tmp_path: Path, said_by: str, kept: tuple[str, str]
) -> None:
    Version.objects.update(kind_said_by=said_by, kind_stated="")
    path = written(cast, tmp_path)
    moved_on(cast)
    as_it_is = back(path)
    assert as_it_is.finals.get().versions.get().kind_stated == ""  # said in a field of its own: it stands
    erase.erase(as_it_is, Visitor(user=as_it_is.photographer), "test")
    old = changed(path, lambda head: [row["fields"].pop("kind_stated") for row in head["rows"]["Version"]])
    version = back(old).finals.get().versions.get()
    assert (version.kind_stated, version.kind_said_by) == kept


@pytest.mark.parametrize(("chooses", "said", "kept"), [(True, False, True), (False, True, True), (False, False, False)])
def test_a_look_that_may_have_been_the_subjects_to_keep_is_kept_by_them(
    cast: Cast, tmp_path: Path, chooses: bool, said: bool, kept: bool
) -> None:
    Sitting.objects.update(subject_chooses_looks=chooses)
    Look.objects.update(kept_from_representation=True)
    other = cast.look("Wool")
    frames = [cast.sitting.frames.get(), cast.frame(2, other, key="")]
    if said:
        JournalLine.objects.create(sitting=cast.sitting, sitting_slug="ansa-veld", who="w", verb="look kept back")
    path = written(cast, tmp_path)
    moved_on(cast)

    def old(head: Head) -> None:
        for row in [*head["rows"]["Look"], *head["rows"]["Frame"]]:
            del row["fields"]["kept_by_subject"]

    sitting = back(changed(path, old))
    assert [look.kept_by_subject for look in sitting.looks.order_by("position")] == [kept, False]
    assert [sitting.frames.get(sha256=one.sha256).kept_by_subject for one in frames] == [kept, False]


def test_where_nothing_tells_it_was_put_away_from_it_comes_back_to_planning(cast: Cast, tmp_path: Path) -> None:
    retention.put_away(cast.sitting, cast.as_owner)
    path = written(cast, tmp_path)
    moved_on(cast)

    def old(head: Head) -> None:
        del head["rows"]["Sitting"][0]["fields"]["put_away_from"]
        head["rows"]["JournalLine"] = []

    sitting = back(changed(path, old))
    assert (sitting.stage, sitting.put_away_from) == ("archived", "")
    retention.bring_back(sitting, Visitor(user=sitting.photographer))
    assert sitting.stage == "planning"


# --- removed, and come back, and removed again ---


def test_it_comes_back_whole_and_open_and_its_removal_stays_on_record(cast: Cast, tmp_path: Path) -> None:
    passed = Invite.objects.create(
        sitting=cast.sitting, role="representation", name="Pia", email="p@achterberg.example",
        expires_at=timezone.now(), passed_from=cast.representation,
    )  # fmt: skip
    Sitting.objects.update(current_look=Look.objects.get())
    path = written(cast, tmp_path)
    moved_on(cast)
    sitting = back(path)
    assert sitting.current_look == sitting.looks.get()
    assert sitting.invites.get(name="Pia").passed_from == sitting.invites.get(name="Ruben Achterberg")
    assert abs(sitting.invites.get(name="Pia").expires_at - passed.expires_at) < timedelta(milliseconds=1)
    assert inventory.compare(sitting).good
    assert Erasure.objects.get().restore_begun_at is not None
    assert erase.erase(sitting, Visitor(user=sitting.photographer), "again").left == ()
    assert Erasure.objects.filter(uid=cast.sitting.uid).count() == 2
    assert erase.unfinished() == []


def test_tracer_keys_that_nobody_shares_stay(cast: Cast, tmp_path: Path) -> None:
    path, key = written(cast, tmp_path), cast.sitting.tracer_key
    moved_on(cast)
    make_cast("other")
    sitting = back(path)
    assert (sitting.tracer_key, sitting.tracer_key_before) == (key, "")


def test_a_tracer_key_it_had_before_is_not_lost_for_one_it_shares(cast: Cast, tmp_path: Path) -> None:
    Sitting.objects.update(tracer_key_before="first")
    cast.sitting.refresh_from_db()
    path, key = written(cast, tmp_path), cast.sitting.tracer_key
    moved_on(cast)
    other = make_cast("other")
    Sitting.objects.filter(pk=other.sitting.pk).update(tracer_key=key)
    sitting = back(path)
    assert sitting.tracer_key not in {key, "first"}
    assert sitting.tracer_key_before == "first"
    assert Sitting.objects.get(pk=other.sitting.pk).tracer_key == key


def test_no_archive_at_all_gets_a_sentence(tmp_path: Path) -> None:
    (tmp_path / "words.zip").write_bytes(b"no archive")
    with pytest.raises(BadInput, match="no archive of a sitting"):
        back(tmp_path / "words.zip")
    with pytest.raises(BadInput, match=r"none\.zip cannot be read"):
        back(tmp_path / "none.zip")
