"""Keeping, archiving to one file and back byte for byte, and removing for good, proven by a scan."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import zipfile
from datetime import date, timedelta
from pathlib import Path
from uuid import uuid4

import pytest
from django.contrib.auth.models import User
from django.core.files.base import ContentFile
from django.core.files.storage import FileSystemStorage
from django.core.management import CommandError, call_command
from django.db import connection
from django.utils import timezone

from galleries import storage
from galleries.access import Visitor
from galleries.errors import BadInput, Conflict, Missing, Refused
from galleries.models import (
    DeliverySize,
    Erasure,
    Final,
    Frame,
    Invite,
    JournalLine,
    Look,
    Mark,
    PlanComment,
    Proof,
    Remark,
    Sitting,
    Studio,
    journal_guard,
)
from galleries.steps import jobs
from galleries.steps.delivering import cut, licences, orders, sizes, usage
from galleries.steps.finishing import approvals, notes, versions
from galleries.steps.keeping import archive_file, erase, inventory, retention, trace
from galleries.steps.keeping.restore import restore
from galleries.steps.sorting import looks, take_back
from tests import outside, painted
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db


def _full(cast: Cast) -> Sitting:
    """A sitting with something of everything."""
    sizes.load()
    finals = painted.finals_of(cast, proofs=True)
    sitting = cast.sitting
    for final in finals:
        Mark.objects.create(
            invite=cast.subject, frame=final.frame, kind=Mark.Kind.PICK, note="The calm one", acted_at=timezone.now()
        )
    Remark.objects.create(frame=finals[0].frame, invite=cast.subject, who="Ansa Veld", text="Lovely light")
    PlanComment.objects.create(sitting=sitting, who="Ansa Veld", invite=cast.subject, text="No black, please")
    notes.pin_note(finals[0], cast.as_subject, 0.4, 0.3, 0.1, 0.1, "A stray hair")
    version = _add(cast, 0)
    approvals.approve(version, cast.as_subject, version.sha256)
    approvals.deliver_as_it_is(finals[1], cast.as_owner)
    licence = licences.compose(sitting, licences.draft(sitting), cast.as_owner)
    asked = orders.prepare(sitting, [DeliverySize.objects.get(slug="web-square")], licence, cast.as_owner)
    jobs.run_waiting(sitting, kinds=["delivery"])
    asked.refresh_from_db()
    assert asked.state == asked.State.READY
    sitting.refresh_from_db()
    licences.accept(licence, cast.as_subject, "Ansa Veld")
    usage.ask(sitting, cast.as_subject, "poster", "spring season")
    sitting.current_look = sitting.looks.first()
    sitting.save()
    passed = Invite.objects.create(
        sitting=sitting, role=Invite.Role.REPRESENTATION, name="Desk", email="desk@achterberg.example",
        expires_at=timezone.now() + timedelta(days=9), passed_from=cast.representation,
    )  # fmt: skip
    assert passed.pk
    return sitting


def _add(cast: Cast, index: int) -> versions.Version:
    from tempfile import NamedTemporaryFile

    with NamedTemporaryFile() as file:
        file.write(painted.retouched_file(index))
        file.flush()
        name = Path(painted.camera_files()[index][0]).stem + "_v2.jpg"
        outcome = versions.add_retouch(cast.sitting, Path(file.name), name, cast.as_owner)
    assert outcome.version is not None, outcome
    jobs.run_waiting(cast.sitting, kinds=["version"])
    outcome.version.refresh_from_db()
    return outcome.version


def _stored() -> dict[str, str]:
    return {
        f"{name}:{key}": inventory.digest_of(name, key)[0]
        for name in ("private", "proofs")
        for key in inventory.listing(name).keys("sittings")
    }


def _wipe(cast: Cast) -> None:
    """As on an empty installation: no rows, no files."""
    uid = cast.sitting.uid
    erase._remove_rows(cast.sitting)
    for name in ("private", "proofs"):
        inventory.listing(name).remove_prefix(storage.home(uid))
    journal_guard.take_down(connection)
    JournalLine._base_manager.all().delete()
    journal_guard.put_up(connection)
    DeliverySize.objects.all().delete()
    User.objects.all().delete()
    Studio.objects.all().delete()


def _to_the_millisecond(rows: object) -> str:
    """JSON keeps milliseconds: of a moment with none, one writes them out and the other does not."""
    return json.dumps(rows, indent=0, sort_keys=True).replace('.000Z"', 'Z"')


def test_an_archived_sitting_comes_back_byte_for_byte(tmp_path: Path) -> None:
    cast = make_cast()
    sitting = _full(cast)
    before, rows = _stored(), archive_file.rows_of(sitting)
    caches = {name for name in before if inventory.is_cache(name.split(":", 1)[1])}
    first = archive_file.write(sitting, tmp_path / "one.zip", cast.as_owner)
    _wipe(cast)
    assert not _stored()
    done = restore(tmp_path / "one.zip")
    assert done.renumbered == []
    assert _stored() == {name: digest for name, digest in before.items() if name not in caches}
    again = archive_file.rows_of(done.sitting)
    words = JournalLine.objects.filter(sitting=done.sitting).order_by("-pk").values_list("verb", flat=True)
    assert words[0] == "restored from a file"
    again["JournalLine"].pop()
    sizes_back = {size.pk: size.slug for size in DeliverySize.objects.all()}
    assert set(sizes_back.values()) == {"web-square"}
    for table in ("Sitting", "Approval", "Round", "Crop"):  # these point at people and sizes, which got new numbers
        for old, new in zip(rows[table], again[table], strict=True):
            for name in ("photographer", "user", "closed_by_user", "size", "colleagues"):
                old["fields"].pop(name, None)
                new["fields"].pop(name, None)
    assert _to_the_millisecond(again) == _to_the_millisecond(rows)
    assert first.files == len(before) - len(caches)
    assert inventory.compare(done.sitting).good
    assert done.sitting.photographer.username == "owner-ansa-veld"
    assert not done.sitting.photographer.has_usable_password()
    assert Studio.current().name == "Northlight Rooms"


def test_a_restored_sitting_goes_on_living(tmp_path: Path) -> None:
    cast = make_cast()
    archive_file.write(_full(cast), tmp_path / "one.zip", cast.as_owner)
    _wipe(cast)
    sitting = restore(tmp_path / "one.zip").sitting
    sizes.load()
    owner = Visitor(user=sitting.photographer)
    asked = orders.prepare(
        sitting, list(DeliverySize.objects.filter(slug="web-square")), licences.current(sitting), owner
    )
    jobs.run_waiting(sitting, kinds=["delivery"])
    asked.refresh_from_db()
    assert asked.number == 2
    assert asked.state == asked.State.READY
    Sitting.objects.create(slug="after", title="After", photographer=sitting.photographer, subject_given="A")


def test_beside_another_sitting_rows_get_new_numbers(tmp_path: Path) -> None:
    cast = make_cast()
    _full(cast)
    looks.set_hidden(cast.sitting, [Frame.objects.order_by("pk")[0].pk], False, cast.as_owner)
    archive_file.write(cast.sitting, tmp_path / "one.zip", cast.as_owner)
    files, uid = _stored(), cast.sitting.uid
    taken = [
        row.pk for row in (cast.sitting, cast.representation, Frame.objects.order_by("pk")[0], Look.objects.all()[0])
    ]
    final = cast.sitting.finals.order_by("pk")[0].pk
    erase.erase(cast.sitting, cast.as_owner, "test")
    other = make_cast("other")
    one = Sitting.objects.create(pk=taken[0], slug="taken", title="Taken", photographer=other.owner, subject_given="A")
    Invite.objects.create(
        pk=taken[1], sitting=one, role="subject", name="B", email="b@b.example", expires_at=timezone.now()
    )
    other.sitting = one
    frame = other.frame(1, pk=taken[2], hidden=True)
    Look.objects.create(pk=taken[3], sitting=one, title="Other")
    Final.objects.create(pk=final, sitting=one, frame=frame, round=one.rounds.create(number=1))
    done = restore(tmp_path / "one.zip")
    assert {"sittings", "invites", "frames", "looks", "finals"} <= set(done.renumbered)
    assert {name for name in _stored() if uid.hex in name} == {
        name for name in files if not inventory.is_cache(name.split(":", 1)[1])
    }
    delivery = done.sitting.deliveries.get()
    assert {order["final"] for order in delivery.orders} == {final.pk for final in done.sitting.finals.all()}
    passed = done.sitting.invites.get(email="desk@achterberg.example")
    assert passed.passed_from == done.sitting.invites.get(email="ruben@achterberg.example")
    assert done.sitting.current_look in done.sitting.looks.all()
    with pytest.raises(Conflict):  # acts of before name rows by numbers that are others' here
        take_back.undo(done.sitting, Visitor(user=done.sitting.photographer))
    frame.refresh_from_db()
    assert frame.hidden


def test_the_archive_file_checks_elsewhere(tmp_path: Path) -> None:
    cast = make_cast()
    painted.frames_of(cast, 1)
    written = archive_file.write(cast.sitting, tmp_path / "one.zip", cast.as_owner)
    assert hashlib.sha256(written.path.read_bytes()).hexdigest() == written.sha256
    subprocess.run([outside.program("unzip"), "-q", str(written.path), "-d", str(tmp_path / "out")], check=True)
    told = subprocess.run(
        ["sha256sum", "--strict", "-c", "SHA256SUMS"], cwd=tmp_path / "out", capture_output=True, text=True, check=False
    )
    assert told.returncode == 0, told.stdout + told.stderr
    original = next((tmp_path / "out" / "private").rglob("originals/*/*.jpg"))
    assert original.read_bytes() == painted.camera_files()[0][1]


@pytest.mark.parametrize("place", ["private", "sitting.json", "SHA256SUMS"])
def test_a_damaged_archive_changes_nothing(tmp_path: Path, place: str) -> None:
    cast = make_cast()
    painted.frames_of(cast, 1)
    archive_file.write(cast.sitting, tmp_path / "one.zip", cast.as_owner)
    erase.erase(cast.sitting, cast.as_owner, "test")
    bad = tmp_path / "bad.zip"
    with zipfile.ZipFile(tmp_path / "one.zip") as source, zipfile.ZipFile(bad, "w") as target:
        for item in source.infolist():
            data = source.read(item)
            if item.filename.startswith(place):
                data = data[:-9] + b"\0" * 9
            if place != "SHA256SUMS" or item.filename != place:
                target.writestr(item.filename, data)
    if place == "SHA256SUMS":
        bad.write_bytes(bad.read_bytes()[:-40])  # the table of contents is cut
    with pytest.raises(BadInput):
        restore(bad)
    assert not Sitting.objects.exists()
    assert not _stored()


def test_an_archive_that_points_outside_is_refused(tmp_path: Path) -> None:
    cast = make_cast()
    painted.frames_of(cast, 1)
    archive_file.write(cast.sitting, tmp_path / "one.zip", cast.as_owner)
    erase.erase(cast.sitting, cast.as_owner, "test")
    evil = tmp_path / "evil.zip"
    with zipfile.ZipFile(tmp_path / "one.zip") as source, zipfile.ZipFile(evil, "w") as target:
        head = json.loads(source.read("sitting.json"))
        head["files"][0]["key"] = f"sittings/{head['uid']}/../../../../tmp/evil"
        target.writestr("sitting.json", json.dumps(head))
        target.writestr(f"private/{head['files'][0]['key']}", b"evil")
    with pytest.raises(BadInput, match="outside"):
        restore(evil)
    assert not _stored()


def test_a_restored_sitting_shares_no_tracer_key(tmp_path: Path) -> None:
    cast = make_cast()
    archive_file.write(cast.sitting, tmp_path / "one.zip", cast.as_owner)
    key = cast.sitting.tracer_key
    _wipe(cast)
    owner = User.objects.create_user("noa")
    Sitting.objects.create(slug="other", title="Other", photographer=owner, subject_given="A", tracer_key=key)
    sitting = restore(tmp_path / "one.zip").sitting
    assert sitting.tracer_key != key
    assert sitting.tracer_key_before == key


def test_what_is_here_already_is_not_restored_over(tmp_path: Path) -> None:
    cast = make_cast()
    painted.frames_of(cast, 1)
    archive_file.write(cast.sitting, tmp_path / "one.zip", cast.as_owner)
    before = _stored()
    with pytest.raises(Conflict, match="already"):
        restore(tmp_path / "one.zip")
    assert _stored() == before
    with pytest.raises(BadInput, match="already"):
        archive_file.write(cast.sitting, tmp_path / "one.zip", cast.as_owner)


def test_an_erased_sitting_is_gone_everywhere() -> None:
    cast = make_cast()
    sitting = _full(cast)
    proof = Proof.objects.filter(frame__sitting=sitting).first()
    trace.traced_copy(proof, cast.subject)
    finish_view = storage.derived_key(sitting.uid, "view3000", sitting.frames.first().sha256)
    storage.put(storage.private(), finish_view, b"a rendition")
    uid, slug = sitting.uid, sitting.slug
    gone = erase.erase(sitting, cast.as_owner, "asked for by the subject")
    assert gone.left == ()
    assert gone.files > 10
    assert not _stored()
    for store in (storage.private(), storage.proofs()):
        assert isinstance(store, FileSystemStorage)
        assert not [path for path in Path(store.location).rglob("*") if uid.hex in str(path)]
    _no_row_says(["Ansa", "Veld", slug, "DAM_", "calm one"])
    lines = list(JournalLine.objects.values("sitting_slug", "who", "verb", "detail"))
    assert [line["verb"] for line in lines] == ["erasure begun", "erased"]
    assert all(line["sitting_slug"] == uid.hex for line in lines)
    assert lines[0]["detail"]["why"] == "asked for by the subject"


def _no_row_says(words: list[str]) -> None:
    """Every cell of every table, past the ORM: the accounts of the test's own cast apart."""
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            if table.startswith(("auth_", "django_", "sqlite_")):
                continue
            cursor.execute(f'SELECT * FROM "{table}"')  # noqa: S608 - the names come from the database itself
            for row in cursor.fetchall():
                for word in words:
                    assert word.lower() not in str(row).lower(), (table, row)


def test_an_erasure_cut_short_is_caught_up(monkeypatch: pytest.MonkeyPatch) -> None:
    cast = make_cast()
    painted.frames_of(cast, 1)

    def killed(*args: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(erase, "_remove_files", killed)
        with pytest.raises(KeyboardInterrupt):
            erase.erase(cast.sitting, cast.as_owner, "test")
    assert not Sitting.objects.exists()
    assert _stored()
    assert len(erase.finish_erasures()) == 1
    assert not _stored()
    assert erase.finish_erasures() == []
    late = storage.derived_key(cast.sitting.uid, "proof", "a" * 64)
    storage.proofs().save(late, ContentFile(b"a writer's who was killed before it looked again"))
    assert len(erase.finish_erasures()) == 1
    assert not _stored()


def test_one_that_came_back_from_its_archive_keeps_its_files(tmp_path: Path) -> None:
    """Also while it is coming, its files there and its rows not yet; not when that was cut short long ago."""
    cast = make_cast()
    painted.frames_of(cast, 1)
    archive_file.write(cast.sitting, tmp_path / "one.zip", cast.as_owner)
    erase.erase(cast.sitting, cast.as_owner, "by mistake")
    done = restore(tmp_path / "one.zip")
    files = _stored()
    assert files
    assert erase.finish_erasures() == []
    assert _stored() == files
    Sitting.objects.filter(pk=done.sitting.pk).update(uid=uuid4())
    assert erase.unfinished() == []
    Erasure.objects.update(restore_begun_at=timezone.now() - timedelta(days=2))
    assert len(erase.finish_erasures()) == 1
    assert not _stored()


@pytest.mark.parametrize("who", ["subject", "representation", "recipient"])
def test_only_the_photographer_keeps_and_removes(who: str, tmp_path: Path) -> None:
    cast = make_cast()
    visitor = Visitor(invite=getattr(cast, who))
    for attempt in (
        lambda: erase.erase(cast.sitting, visitor, "why"),
        lambda: retention.keep_until(cast.sitting, visitor, None),
        lambda: retention.put_away(cast.sitting, visitor),
        lambda: archive_file.write(cast.sitting, tmp_path / "x.zip", visitor),
    ):
        with pytest.raises(Refused):
            attempt()
    with pytest.raises(Missing):
        erase.erase(cast.sitting, Visitor(user=cast.stranger), "why")
    with pytest.raises(BadInput, match="why"):
        erase.erase(cast.sitting, cast.as_owner, "  ")
    assert Sitting.objects.count() == 1


def test_put_away_and_brought_back_to_where_it_was() -> None:
    cast = make_cast(stage=Sitting.Stage.AGREEING)
    retention.put_away(cast.sitting, cast.as_owner)
    assert cast.sitting.stage == Sitting.Stage.ARCHIVED
    retention.bring_back(cast.sitting, cast.as_owner)
    assert cast.sitting.stage == Sitting.Stage.AGREEING
    assert cast.sitting.put_away_from == ""
    with pytest.raises(Conflict):
        retention.bring_back(cast.sitting, cast.as_owner)


def test_an_archive_from_before_that_was_kept_goes_back_to_where_its_journal_says(tmp_path: Path) -> None:
    cast = make_cast(stage=Sitting.Stage.FINISHING)
    retention.put_away(cast.sitting, cast.as_owner)
    archive_file.write(cast.sitting, tmp_path / "one.zip", cast.as_owner)
    erase.erase(cast.sitting, cast.as_owner, "test")
    with zipfile.ZipFile(tmp_path / "one.zip") as source, zipfile.ZipFile(tmp_path / "old.zip", "w") as target:
        head = json.loads(source.read("sitting.json"))
        del head["rows"]["Sitting"][0]["fields"]["put_away_from"]
        target.writestr("sitting.json", json.dumps(head))
        target.writestr("SHA256SUMS", "")
    back = restore(tmp_path / "old.zip").sitting
    retention.bring_back(back, Visitor(user=back.photographer))
    assert back.stage == Sitting.Stage.FINISHING


def test_the_list_of_what_is_kept_puts_the_due_ones_first() -> None:
    today = date(2026, 6, 1)
    for slug, days in (("late", -1), ("soon", 20), ("long", 400), ("open", None)):
        cast = make_cast(slug)
        retention.keep_until(cast.sitting, cast.as_owner, None if days is None else today + timedelta(days=days))
    assert [(row.sitting.slug, row.due) for row in retention.keeping(today)] == [
        ("late", "past"),
        ("soon", "soon"),
        ("long", "later"),
        ("open", "open"),
    ]


def test_verify_names_what_is_missing_orphaned_or_wrong(capsys: pytest.CaptureFixture[str]) -> None:
    cast = make_cast()
    one, two, *_rest = painted.frames_of(cast)
    assert inventory.compare().good
    root = Path(storage.private().location)
    (root / one.key).unlink()
    (root / two.key).write_bytes(b"other bytes")
    orphan = storage.derived_key(cast.sitting.uid, "final", "b" * 64)
    storage.put(storage.private(), orphan, b"nobody's")
    with pytest.raises(SystemExit):
        call_command("verify", "--json")
    found = json.loads(capsys.readouterr().out)
    assert found["missing"] == [f"private:{one.key}"]
    assert found["wrong"] == [f"private:{two.key}"]
    assert found["orphans"] == [f"private:{orphan}"]


def _aged(key: str, days: float) -> None:
    path = Path(storage.private().location) / key
    os.utime(path, (path.stat().st_atime, path.stat().st_mtime - days * 86_400))


def test_orphans_go_when_asked_to_but_none_that_work_may_be_about_to_name(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    cast = make_cast()
    old, young, late, gone = (
        storage.derived_key(uid, "final", digit * 64)
        for uid, digit in ((cast.sitting.uid, "a"), (cast.sitting.uid, "b"), (cast.sitting.uid, "c"), (uuid4(), "d"))
    )
    for key in (old, young, late, gone):
        storage.put(storage.private(), key, b"nobody's")
        _aged(key, 0 if key == young else 2)
    found = inventory.compare().orphans
    assert len(found) == 4
    with pytest.raises(CommandError, match="--yes"):  # nobody is there to ask
        call_command("verify", "--remove")
    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    for answer in ("", "no"):
        monkeypatch.setattr("builtins.input", lambda _asked, said=answer: said)
        with pytest.raises(SystemExit):
            call_command("verify", "--remove")
    assert inventory.compare().orphans == found
    cast.frame(1, key=late, sha256=inventory.digest_of("private", late)[0])
    cleared = inventory.clear(found)
    assert (cleared.named, cleared.young) == ([f"private:{late}"], [f"private:{young}"])
    assert cleared.removed == sorted([f"private:{old}", f"private:{gone}"])
    _aged(young, 2)
    capsys.readouterr()
    call_command("verify", "--remove", "--yes", "--json")
    told = json.loads(capsys.readouterr().out)
    assert (told["removed"], told["good"]) == ([f"private:{young}"], True)
    assert inventory.compare().good
    assert inventory.clear(found).as_dict() == {"removed": [], "young": [], "named": [f"private:{late}"]}


def test_the_commands_of_keeping(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    cast = make_cast()
    painted.frames_of(cast, 1)
    call_command("retention", "--sitting", "ansa-veld", "--until", "2031-01-31", "--file", str(tmp_path / "one.zip"))
    assert "until 2031-01-31" in capsys.readouterr().out
    call_command("retention", "--sitting", "ansa-veld", "--erase", "--why", "test", "--json")
    told = json.loads(capsys.readouterr().out)
    assert told["erased"]["left"] == []
    assert told["sittings"] == []
    call_command("restore", str(tmp_path / "one.zip"))
    assert "is back" in capsys.readouterr().out
    assert Frame.objects.get().sitting.keep_until == date(2031, 1, 31)
    for wrong in (["retention", "--erase"], ["retention", "--sitting", "nobody", "--until", "open"],
                  ["retention", "--sitting", "ansa-veld", "--until", "tomorrow"],
                  ["restore", str(tmp_path / "none.zip")]):  # fmt: skip
        with pytest.raises(CommandError):
            call_command(*wrong)


def test_crops_survive(tmp_path: Path) -> None:
    cast = make_cast()
    _full(cast)
    crop = cast.sitting.finals.first().crops.get()
    cut.adjust(crop, cast.as_owner, 10, 20, 300, 300)
    archive_file.write(cast.sitting, tmp_path / "one.zip", cast.as_owner)
    _wipe(cast)
    back = restore(tmp_path / "one.zip").sitting.finals.first().crops.get()
    assert (back.x, back.y, back.width, back.by_hand, back.size.slug) == (10, 20, 300, True, "web-square")
