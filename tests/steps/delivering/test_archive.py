"""A delivery's archive while its files are still being made: what it holds is what one written at the end would hold,
and work cut off leaves nothing of it. The outside reader is Python's `zipfile`, which writes the archive again."""

from __future__ import annotations

import io
import threading
import zipfile
from datetime import UTC
from pathlib import Path
from typing import Any

import pytest

from galleries import storage
from galleries.models import Delivery, DeliverySize
from galleries.papers.tagged import Paper
from galleries.steps.delivering import build, file_order, groups, licences, orders, package, sizes
from galleries.steps.finishing import approvals
from tests import painted
from tests.cast import Cast, make_cast
from tests.steps.delivering.packed import pack

pytestmark = pytest.mark.django_db

WANTED = ("casting-4x5-small", "print-4x6", "web-square")


@pytest.fixture
def cast() -> Cast:
    return make_cast()


@pytest.fixture
def asked(cast: Cast) -> Delivery:
    sizes.load()
    for final in painted.finals_of(cast, 2):
        approvals.deliver_as_it_is(final, cast.as_owner)
    DeliverySize.objects.filter(slug="print-4x6").update(width=240, height=360, ppi=60, min_ppi=0)
    wanted = [DeliverySize.objects.get(slug=slug) for slug in WANTED]
    licence = licences.compose(cast.sitting, licences.draft(cast.sitting), cast.as_owner)
    return orders.prepare(cast.sitting, wanted, licence, cast.as_owner)


def made(asked: Delivery) -> Delivery:
    build.build(asked.pk)
    asked.refresh_from_db()
    assert asked.state == Delivery.State.READY, asked.problem
    return asked


def archive_of(delivery: Delivery) -> bytes:
    return storage.get(storage.private(), delivery.archive_key)


def incoming(settings: Any) -> list[Path]:
    return list(Path(settings.INCOMING_DIR).glob("*"))


def test_it_is_byte_for_byte_the_one_that_is_written_when_all_is_there(asked: Delivery) -> None:
    """Pictures by name, then the papers drawn anew."""
    delivery = made(asked)
    files = sorted(delivery.files.all(), key=lambda file: file.name)
    content = {groups.path_in_archive(delivery, file): storage.get(storage.private(), file.key) for file in files}
    content |= package.papers(delivery, files)
    assert list(content)[len(files) :] == [
        *("licence.pdf", "licence.txt", "licence.json", "print-release.pdf"),
        *("manifest.json", "manifest.txt", "SHA256SUMS"),
    ]
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
        for name, data in content.items():
            info = zipfile.ZipInfo(f"veld-ansa_delivery-1/{name}", delivery.created_at.astimezone(UTC).timetuple()[:6])
            info.create_system, info.external_attr = 3, 0o644 << 16
            archive.writestr(info, data)
    assert archive_of(delivery) == out.getvalue()
    assert pack(delivery).sha256 == delivery.archive_sha256


def test_files_are_copied_while_others_are_still_being_cut(asked: Delivery, monkeypatch: pytest.MonkeyPatch) -> None:
    copied, real_files, real_copy, calls = threading.Event(), build._FinalCuts.files, package._copy, []
    last = max(file_order.of(asked), key=lambda order: order.name).final

    def files(cuts: build._FinalCuts) -> Any:
        calls.append(cuts)
        if cuts.orders[0].final == last:  # by name: it waits until a file of the first lies in the archive
            assert copied.wait(60)
        return real_files(cuts)

    def copy(*args: Any) -> None:
        real_copy(*args)
        copied.set()

    monkeypatch.setattr(build._FinalCuts, "files", files)
    monkeypatch.setattr(package, "_copy", copy)
    made(asked)
    assert len(calls) == 2


def test_papers_are_drawn_by_the_hand_that_finds_no_final_left(
    asked: Delivery, monkeypatch: pytest.MonkeyPatch
) -> None:
    drawn, real = [], Paper.pdf

    def pdf(paper: Paper) -> bytes:
        drawn.append((paper.title.split(",")[0].split()[0], threading.current_thread().name.split("_")[0]))
        return real(paper)

    monkeypatch.setattr(Paper, "pdf", pdf)
    made(asked)
    assert drawn == [("Licence", "cut"), ("Print", "cut")]


def test_papers_of_files_that_came_out_otherwise_are_drawn_again(
    asked: Delivery, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = package._expected

    def other(*args: Any) -> Any:
        file = real(*args)
        file.width += 1
        return file

    monkeypatch.setattr(package, "_expected", other)
    delivery = made(asked)
    monkeypatch.undo()
    assert pack(delivery).sha256 == delivery.archive_sha256


def test_papers_that_cannot_be_drawn_ahead_are_drawn_at_the_end(
    asked: Delivery, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = Paper.pdf

    def pdf(paper: Paper) -> bytes:
        if threading.current_thread() is not threading.main_thread():
            raise OSError("no font just now")
        return real(paper)

    monkeypatch.setattr(Paper, "pdf", pdf)
    delivery = made(asked)
    monkeypatch.undo()
    assert pack(delivery).sha256 == delivery.archive_sha256


def test_cut_off_after_any_file_it_leaves_nothing_and_goes_on_to_the_same_archive(
    asked: Delivery, monkeypatch: pytest.MonkeyPatch, settings: Any
) -> None:
    real, calls, before = build._keep, [], {}

    def keep(*args: Any) -> Any:
        file = real(*args)
        calls.append(args)
        if len(calls) < 2 * len(WANTED):
            raise KeyboardInterrupt  # as a signal would end the process, when a file is just kept
        return file

    monkeypatch.setattr(build, "_keep", keep)
    for count in range(1, 2 * len(WANTED)):
        with pytest.raises(KeyboardInterrupt):
            build.build(asked.pk)
        assert incoming(settings) == []
        now = dict(asked.files.values_list("name", "sha256"))
        assert len(now) == count
        assert before.items() <= now.items()
        before = now
    home = Path(storage.private().path(storage.home(asked.sitting.uid)))
    assert not (home / "archive").exists()
    delivery = made(asked)
    assert len(calls) == 2 * len(WANTED)
    assert before.items() <= dict(delivery.files.values_list("name", "sha256")).items()
    assert {path.stem for path in (home / "final").rglob("*.*")} == set(delivery.files.values_list("sha256", flat=True))
    assert pack(delivery).sha256 == delivery.archive_sha256


def test_a_file_that_was_damaged_after_it_was_kept_ends_the_work(
    asked: Delivery, monkeypatch: pytest.MonkeyPatch, settings: Any
) -> None:
    real = build._keep

    def rotten(*args: Any) -> Any:
        file = real(*args)
        Path(storage.private().path(file.key)).write_bytes(b"rotten")
        return file

    monkeypatch.setattr(build, "_keep", rotten)
    with pytest.raises(OSError, match="not the file that was made"):
        build.build(asked.pk)
    asked.refresh_from_db()
    assert (asked.state, asked.archive_key) == (Delivery.State.WAITING, "")
    assert incoming(settings) == []


def test_an_archive_without_all_its_files_is_not_finished(asked: Delivery) -> None:
    delivery = made(asked)
    names = [file.name for file in delivery.files.all()]
    with package.begun(delivery, [*names, "one more"]) as archive:
        for file in delivery.files.all():
            archive.add(file)
        with pytest.raises(RuntimeError, match="not all there"):
            archive.finish()
