"""A delivery from the photographer's wish to the archive that a recipient opens. Outside readers: ExifTool, pdftotext
(Poppler), unzip (Info-ZIP), sha256sum (GNU coreutils)."""

from __future__ import annotations

import hashlib
import io
import json
import subprocess
import threading
import zipfile
from datetime import timedelta
from pathlib import Path

import pytest
from django.utils import timezone
from PIL import Image

from galleries import storage
from galleries.access import Visitor
from galleries.errors import BadInput, Conflict, Missing, Refused
from galleries.imaging.codes import Code
from galleries.imaging.contained import children
from galleries.imaging.rights import write as rights
from galleries.models import DeliveredFile, Delivery, DeliverySize, Job, Letter, Sitting
from galleries.papers.manifest import entries_from_json
from galleries.steps import jobs
from galleries.steps.delivering import build, cut, groups, licences, offer, orders, sizes
from galleries.steps.delivering.file_order import FileOrder
from galleries.steps.finishing import approvals
from galleries.told import Told, told
from tests import outside, painted
from tests.cast import Cast, make_cast
from tests.steps.delivering.packed import pack

pytestmark = pytest.mark.django_db

WANTED = ["print-small", "casting-4x5-small", "web-square", "full"]


def _sizes(cast: Cast) -> None:
    """The project's sizes, and a print with everything a print may have, small so that it is quick."""
    sizes.load()
    small = sizes.copy_size(DeliverySize.objects.get(slug="print-8x10-name"), cast.as_owner, "print-small", "Small")
    DeliverySize.objects.filter(pk=small.pk).update(
        width=480, height=600, bleed=7.5, border=15, safe=8, ppi=60, min_ppi=0
    )


def _ready(cast: Cast, count: int = 2) -> tuple[list[DeliverySize], object]:
    _sizes(cast)
    for final in painted.finals_of(cast, count):
        approvals.deliver_as_it_is(final, cast.as_owner)
    licence = licences.compose(cast.sitting, licences.draft(cast.sitting), cast.as_owner)
    return [DeliverySize.objects.get(slug=slug) for slug in WANTED], licence


@pytest.fixture
def cast() -> Cast:
    return make_cast()


@pytest.fixture
def delivery(cast: Cast) -> Delivery:
    wanted, licence = _ready(cast)
    made = orders.prepare(cast.sitting, wanted, licence, cast.as_owner)
    jobs.run_waiting(cast.sitting, kinds=["delivery"])
    made.refresh_from_db()
    return made


def _archive(delivery: Delivery, folder: Path) -> Path:
    path = folder / delivery.archive_name
    path.write_bytes(storage.get(storage.private(), delivery.archive_key))
    return path


def test_every_file_measures_what_its_size_says(delivery: Delivery, cast: Cast) -> None:
    assert delivery.state == Delivery.State.READY, offer.problem_of(delivery)
    files = list(delivery.files.all())
    assert len(files) == 2 * len(WANTED)
    for file in files:
        data = storage.get(storage.private(), file.key)
        spec = sizes.spec_from(delivery.sizes[file.size_slug])
        with Image.open(io.BytesIO(data)) as picture:
            picture.load()
            assert picture.info["icc_profile"]
            if spec.full_frame:
                assert picture.size == (file.final.frame.width, file.final.frame.height)
            else:
                assert picture.size == (spec.out_width, spec.out_height) == (file.width, file.height)
            assert round(picture.info["dpi"][0]) == spec.ppi
        assert hashlib.sha256(data).hexdigest() == file.sha256
        assert len(data) == file.bytes
        assert rights.read_rights(data).record.alt_text.startswith("Portrait of Ansa Veld.")
        assert not spec.byte_cap or file.bytes <= spec.byte_cap
        assert file.name == f"veld-ansa_linen-shirt_{file.final.frame.label}_{file.size_slug}.jpg"
    cast.sitting.refresh_from_db()
    assert cast.sitting.stage == Sitting.Stage.DELIVERED
    people = set(Letter.objects.filter(sitting=cast.sitting, kind="delivery").values_list("to", flat=True))
    assert people == {cast.subject.email, cast.representation.email, cast.recipient.email}


def test_the_archive_opens_elsewhere(delivery: Delivery, tmp_path: Path) -> None:
    path = _archive(delivery, tmp_path)
    assert hashlib.sha256(path.read_bytes()).hexdigest() == delivery.archive_sha256
    unzip = outside.program("unzip")
    tested = subprocess.run([unzip, "-t", str(path)], capture_output=True, text=True, check=False)
    assert tested.returncode == 0, tested.stdout
    subprocess.run([unzip, "-q", str(path), "-d", str(tmp_path)], check=True)
    top = tmp_path / "veld-ansa_delivery-1"
    sums = subprocess.run(["sha256sum", "--strict", "-c", "SHA256SUMS"], cwd=top, capture_output=True, text=True)
    assert sums.returncode == 0, sums.stdout + sums.stderr
    listed = {line.split("  ", 1)[1] for line in (top / "SHA256SUMS").read_text().splitlines()}
    lying = {item.relative_to(top).as_posix(): item for item in top.rglob("*") if item.is_file()}
    assert listed | {"SHA256SUMS"} == set(lying)
    entries = entries_from_json((top / "manifest.json").read_text())
    assert {(entry.name, entry.width, entry.height) for entry in entries} == {
        (f"{groups.FOLDERS[delivery.sizes[file.size_slug]['use']]}/{file.name}", file.width, file.height)
        for file in delivery.files.all()
    }
    assert json.loads((top / "licence.json").read_text())["terms"]["subject"] == "Ansa Veld"


def test_the_papers_say_what_was_agreed(delivery: Delivery, tmp_path: Path) -> None:
    tool = outside.program("pdftotext")
    with zipfile.ZipFile(_archive(delivery, tmp_path)) as archive:
        archive.extractall(tmp_path)
    top = tmp_path / "veld-ansa_delivery-1"
    for name, words in (
        ("licence.pdf", ["Ansa Veld", "Tamsin Okonedo-Vale", "submissions for castings"]),
        ("print-release.pdf", ["Permission to print", "Tamsin Okonedo-Vale", "print-small"]),
    ):
        text = subprocess.run([tool, str(top / name), "-"], capture_output=True, text=True, check=True).stdout
        flat = " ".join(text.split())
        for word in words:
            assert word in flat, (name, word)
    assert delivery.licence.text.splitlines()[0] in " ".join((top / "licence.txt").read_text().split())


def test_rights_are_read_by_an_outside_reader(delivery: Delivery, tmp_path: Path) -> None:
    tool = outside.program("exiftool")
    for file in delivery.files.all():
        (tmp_path / file.name).write_bytes(storage.get(storage.private(), file.key))
    said = json.loads(
        subprocess.run([tool, "-j", "-G1", str(tmp_path)], capture_output=True, text=True, check=True).stdout
    )
    assert len(said) == delivery.files.count()
    terms = licences.terms_of(delivery.licence)
    for one in said:
        assert one["XMP-dc:Creator"] == one["IPTC:By-line"] == one["IFD0:Artist"] == "Tamsin Okonedo-Vale"
        assert one["XMP-dc:Rights"] == one["IPTC:CopyrightNotice"] == terms.copyright_notice
        assert one["XMP-xmpRights:UsageTerms"] == " ".join(terms.sentences())
        assert one["XMP-iptcExt:PersonInImage"] == "Ansa Veld"
        assert one["XMP-iptcExt:DigitalSourceType"].endswith("digitalCapture")
        assert not [name for name in one if "GPS" in name or "Serial" in name or "MakerNote" in name]


def test_the_same_delivery_packs_to_the_same_bytes(delivery: Delivery) -> None:
    again = pack(delivery)
    assert (again.sha256, again.bytes) == (delivery.archive_sha256, delivery.archive_bytes)


def test_a_worker_killed_in_the_middle_goes_on_where_it_was(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    wanted, licence = _ready(cast)
    asked = orders.prepare(cast.sitting, wanted, licence, cast.as_owner)
    real, calls = build.door.make_finals, []

    def stopped(*args: object, **kwargs: object) -> object:
        calls.append(args)
        if len(calls) == 2:
            raise KeyboardInterrupt  # as a signal would end the process, past every handler of the job
        return real(*args, **kwargs)

    monkeypatch.setattr(build.door, "make_finals", stopped)
    with pytest.raises(KeyboardInterrupt):
        build.build(asked.pk)
    first = dict(asked.files.values_list("name", "sha256"))
    assert len(first) == len(WANTED)
    build.build(asked.pk)
    asked.refresh_from_db()
    assert asked.state == Delivery.State.READY
    assert len(calls) == 3  # the first final was not cut again
    assert first.items() <= dict(asked.files.values_list("name", "sha256")).items()
    build.build(asked.pk)  # rung for twice: nothing more happens
    assert len(calls) == 3
    assert asked.files.count() == 2 * len(WANTED)


def test_finals_are_made_side_by_side_and_kept_in_their_order(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    """As many at once as there are cores: each waits here until the other has begun, and the first ends last."""
    wanted, licence = _ready(cast)
    asked = orders.prepare(cast.sitting, wanted[2:3], licence, cast.as_owner)
    both, ended, real, decoded = threading.Barrier(2, timeout=60), threading.Event(), build.door.make_finals, []

    def waiting(data: bytes, *given: object, **how: object) -> object:
        nth = both.wait()
        files = real(data, *given, **how)  # type: ignore[arg-type]
        decoded.append(hashlib.sha256(data).hexdigest())
        if nth == 0:
            assert ended.wait(60)
        ended.set()
        return files

    monkeypatch.setattr(build.door, "make_finals", waiting)
    monkeypatch.setattr(build.os, "sched_getaffinity", lambda _pid: {0, 1})
    build.build(asked.pk)
    asked.refresh_from_db()
    assert asked.state == Delivery.State.READY
    finals = [file.final for file in asked.files.order_by("pk")]
    assert finals == sorted(finals, key=lambda final: final.frame.label)
    assert sorted(decoded) == sorted(final.frame.sha256 for final in finals)


def test_files_are_signed_and_read_back_by_the_hands_that_cut_them(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    """There are as many decoders as hands: one that keeps files would wait for them, and a hand then for it."""
    wanted, licence = _ready(cast)
    asked = orders.prepare(cast.sitting, wanted, licence, cast.as_owner)
    real, askers, at_once, most = children.pool.take, set(), 0, 0
    changing = threading.Lock()

    def taken(memory: int) -> children.Child:
        nonlocal at_once, most
        with changing:
            at_once += 1
            most = max(most, at_once)
        askers.add(threading.current_thread().name.split("_")[0])
        return real(memory)

    given_back = children.pool.give_back

    def gone(child: children.Child) -> None:
        nonlocal at_once
        with changing:
            at_once -= 1
        given_back(child)

    monkeypatch.setattr(children.pool, "take", taken)
    monkeypatch.setattr(children.pool, "give_back", gone)
    monkeypatch.setattr(build.os, "sched_getaffinity", lambda _pid: {0, 1})
    build.build(asked.pk)
    asked.refresh_from_db()
    assert asked.state == Delivery.State.READY
    assert askers == {"cut"}
    assert most <= 2


def test_what_does_not_read_back_is_told_by_its_file_and_kept_nowhere(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    wanted, licence = _ready(cast)
    asked = orders.prepare(cast.sitting, wanted, licence, cast.as_owner)
    bad = asked.orders[len(WANTED) + 1]["name"]  # the second final's second
    real, checked = build._check_rights, []

    def looked_at(file: object, order: FileOrder, record: object) -> None:
        checked.append(order.name)
        monkeypatch.setattr(build.door, "check_rights", lambda *_: [told(Code.PRIVATE_SERIAL)] * (order.name == bad))
        real(file, order, record)  # type: ignore[arg-type]

    monkeypatch.setattr(build, "_check_rights", looked_at)
    monkeypatch.setattr(build.os, "sched_getaffinity", lambda _pid: {0})
    jobs.run_waiting(cast.sitting, kinds=["delivery"])
    asked.refresh_from_db()
    assert asked.state == Delivery.State.FAILED
    problem = Told.from_stored(asked.problem)
    assert (problem.code, problem.about) == (Code.RIGHTS_NOT_AS_WRITTEN, bad)
    assert checked[-1] == bad
    # The final before it is whole, and the store holds nothing that no row names.
    assert [file.name for file in asked.files.order_by("pk")] == [one["name"] for one in asked.orders[: len(WANTED)]]
    finals = Path(storage.private().path(f"{storage.home(cast.sitting.uid)}/final"))
    assert {path.stem for path in finals.rglob("*.jpg")} == set(asked.files.values_list("sha256", flat=True))


def test_the_archive_is_not_copied_into_the_store(delivery: Delivery, monkeypatch: pytest.MonkeyPatch) -> None:
    path = Path(storage.private().path(delivery.archive_key))
    mode = path.stat().st_mode
    path.unlink()
    monkeypatch.setattr(storage.FolderStore, "_save", lambda *_: pytest.fail("it was copied"))
    assert pack(delivery).key == delivery.archive_key
    assert hashlib.sha256(path.read_bytes()).hexdigest() == delivery.archive_sha256
    assert (path.stat().st_mode, path.stat().st_nlink) == (mode, 1)


def test_a_redelivery_holds_only_what_changed(delivery: Delivery, cast: Cast) -> None:
    cast.sitting.refresh_from_db()
    wanted = [DeliverySize.objects.get(slug=slug) for slug in WANTED]
    with pytest.raises(BadInput, match="Nothing has changed"):
        orders.prepare(cast.sitting, wanted, delivery.licence, cast.as_owner, changed_only=True)
    final = cast.sitting.finals.first()
    crop = final.crops.get(size__slug="web-square")
    cut.adjust(crop, cast.as_owner, 10, 10, 400, 400)
    second = orders.prepare(cast.sitting, wanted, delivery.licence, cast.as_owner, changed_only=True)
    jobs.run_waiting(cast.sitting, kinds=["delivery"])
    second.refresh_from_db()
    assert second.state == Delivery.State.READY
    assert [(file.final_id, file.size_slug) for file in second.files.all()] == [(final.pk, "web-square")]
    third = orders.prepare(cast.sitting, wanted, delivery.licence, cast.as_owner)
    jobs.run_waiting(cast.sitting, kinds=["delivery"])
    assert third.files.count() == delivery.files.count()
    old = dict(delivery.files.values_list("name", "sha256"))
    changed = [name for name, digest in third.files.values_list("name", "sha256") if old[name] != digest]
    assert changed == [second.files.get().name]


def test_a_delivery_keeps_the_numbers_it_was_made_with(delivery: Delivery) -> None:
    DeliverySize.objects.filter(slug="web-square").update(width=500, height=500)
    delivery.refresh_from_db()
    assert delivery.sizes["web-square"]["width"] == 1080


def test_what_cannot_be_made_says_why(cast: Cast) -> None:
    wanted, licence = _ready(cast, 1)
    DeliverySize.objects.filter(slug="casting-4x5-small").update(byte_cap=40_000)
    wanted = [DeliverySize.objects.get(slug="casting-4x5-small")]
    asked = orders.prepare(cast.sitting, wanted, licence, cast.as_owner)
    jobs.run_waiting(cast.sitting, kinds=["delivery"])
    asked.refresh_from_db()
    assert asked.state == Delivery.State.FAILED
    assert "would fit" in offer.problem_of(asked)
    assert "over the cap of 40,000" in offer.problem_of(asked)  # the size's own, whatever is kept free under it
    assert cast.sitting.finals.get().frame.label in offer.problem_of(asked)
    assert Job.objects.get(kind="delivery", thing=asked.pk).state == Job.State.FAILED
    with pytest.raises(Refused, match="being made"):
        offer.check_fetch(asked, cast.as_owner)


def test_finals_that_wait_are_named(cast: Cast) -> None:
    _sizes(cast)
    finals = painted.finals_of(cast)
    licence = licences.compose(cast.sitting, licences.draft(cast.sitting), cast.as_owner)
    wanted = [DeliverySize.objects.get(slug="web-square")]
    with pytest.raises(BadInput, match=finals[1].frame.label):
        orders.prepare(cast.sitting, wanted, licence, cast.as_owner)
    approvals.deliver_as_it_is(finals[0], cast.as_owner)
    part = orders.prepare(cast.sitting, wanted, licence, cast.as_owner, partial=True)
    assert [order["final"] for order in part.orders] == [finals[0].pk]


@pytest.mark.parametrize("who", ["subject", "representation", "recipient"])
def test_only_the_photographer_asks_for_a_delivery(cast: Cast, who: str) -> None:
    wanted, licence = _ready(cast, 1)
    with pytest.raises(Refused):
        orders.prepare(cast.sitting, wanted, licence, Visitor(invite=getattr(cast, who)))
    with pytest.raises(Missing):
        orders.prepare(cast.sitting, wanted, licence, Visitor(user=cast.stranger))


def test_the_way_to_the_files(delivery: Delivery, cast: Cast) -> None:
    with pytest.raises(Refused, match="Accept the licence"):
        offer.check_fetch(delivery, cast.as_recipient)
    licences.accept(delivery.licence, cast.as_recipient, "Casting desk")
    offer.check_fetch(delivery, cast.as_recipient)
    offer.check_fetch(delivery, cast.as_owner)
    with pytest.raises(Refused, match="Accept"):
        offer.check_fetch(delivery, cast.as_subject)
    Delivery.objects.filter(pk=delivery.pk).update(expires_at=timezone.now() - timedelta(minutes=1))
    delivery.refresh_from_db()
    with pytest.raises(Refused, match="could be fetched until"):
        offer.check_fetch(delivery, cast.as_recipient)
    offer.offer_again(delivery, cast.as_owner, days=3)
    offer.check_fetch(delivery, cast.as_recipient)
    offer.withdraw(delivery, cast.as_owner)
    with pytest.raises(Refused, match="withdrawn"):
        offer.check_fetch(delivery, cast.as_recipient)
    with pytest.raises(Refused):
        offer.withdraw(delivery, cast.as_subject)


def test_a_passcode_is_kept_as_a_hash_and_asked_for(cast: Cast) -> None:
    wanted, licence = _ready(cast, 1)
    asked = orders.prepare(cast.sitting, wanted[2:3], licence, cast.as_owner, passcode="harbour 12")
    jobs.run_waiting(cast.sitting, kinds=["delivery"])
    asked.refresh_from_db()
    licences.accept(licence, cast.as_subject, "Ansa Veld")
    assert "harbour" not in asked.passcode_hash
    assert offer.passcode_fits(asked, "harbour 12")
    assert not offer.passcode_fits(asked, "harbour 13")
    with pytest.raises(Refused, match="passcode"):
        offer.check_fetch(asked, cast.as_subject, passcode_given=False)
    offer.check_fetch(asked, cast.as_subject, passcode_given=True)


def test_a_digest_finds_its_delivery(delivery: Delivery) -> None:
    file = delivery.files.first()
    assert [row.delivery for row in offer.of_file(file.sha256.upper())] == [delivery]
    assert offer.of_file("0" * 64) == []


def test_damage_in_the_store_never_reaches_the_archive(delivery: Delivery) -> None:
    file = DeliveredFile.objects.filter(delivery=delivery).first()
    Path(storage.private().path(file.key)).write_bytes(b"rotten")
    with pytest.raises(OSError, match="not the file that was made"):
        pack(delivery)


def test_a_delivery_is_not_made_twice_from_two_states(delivery: Delivery, cast: Cast) -> None:
    offer.withdraw(delivery, cast.as_owner)
    with pytest.raises(Conflict):
        offer.withdraw(delivery, cast.as_owner)
