"""Deliveries whose files say where they come from: signed by the worker, read back, the same recipe taken over."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.core.management import call_command

from galleries import storage
from galleries.errors import BadInput
from galleries.imaging.contained import door
from galleries.imaging.credentials import sign as credentials
from galleries.imaging.credentials.origin import Origin
from galleries.imaging.framing.sizes import SizeSpec
from galleries.models import Delivery, DeliverySize, Licence, Studio, Version
from galleries.steps import jobs
from galleries.steps.delivering import certificate, licences, offer, orders, signing, sizes, stated
from galleries.steps.delivering.file_order import FileOrder
from galleries.steps.finishing import approvals, source_type, versions
from galleries.steps.keeping import inventory
from tests import painted
from tests.cast import Cast, make_cast
from tests.imaging.credentials.test_credentials import manifest_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    sizes.load()
    return make_cast()


def asked(cast: Cast, *slugs: str, **how: bool) -> Delivery:
    licence = Licence.objects.filter(sitting=cast.sitting).last() or licences.compose(
        cast.sitting, licences.draft(cast.sitting), cast.as_owner
    )
    wanted = [DeliverySize.objects.get(slug=slug) for slug in slugs or ("web-square",)]
    return orders.prepare(cast.sitting, wanted, licence, cast.as_owner, **how)


def built(delivery: Delivery) -> Delivery:
    jobs.run_waiting(delivery.sitting, kinds=["delivery"])
    delivery.refresh_from_db()
    assert delivery.state == Delivery.State.READY, offer.problem_of(delivery)
    return delivery


def bytes_of(delivery: Delivery) -> list[bytes]:
    return [storage.get(storage.private(), file.key) for file in delivery.files.order_by("name")]


def ready(cast: Cast, count: int = 1) -> None:
    for final in painted.finals_of(cast, count):
        approvals.deliver_as_it_is(final, cast.as_owner)


def test_room_is_measured_once_for_files_of_which_the_same_is_said(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    ready(cast, 3)
    measured, real, kept = [], credentials.room, signing.Pen.room

    def room(origin: Origin, *how: object) -> int:
        measured.append(origin)
        return real(origin, *how)  # type: ignore[arg-type]

    def as_measured_by_itself(pen: signing.Pen, order: FileOrder, spec: SizeSpec) -> int:
        size = kept(pen, order, spec)
        assert size == real(signing.origin_of(order, spec), order.recipe, pen.signer)
        return size

    monkeypatch.setattr(signing.credentials, "room", room)
    monkeypatch.setattr(signing.Pen, "room", as_measured_by_itself)
    delivery = built(asked(cast, "web-square", "casting-square", "full"))
    assert delivery.files.count() == 9
    assert len(measured) == len(set(measured)) <= 3


def test_each_file_says_which_frame_it_is_of_and_what_was_done(cast: Cast, tmp_path: Path) -> None:
    ready(cast)
    DeliverySize.objects.filter(slug="casting-4x5-small").update(byte_cap=120_000)
    delivery = built(asked(cast, "web-square", "casting-4x5-small", "full"))
    frame = cast.sitting.finals.get().frame
    for file, data in zip(delivery.files.order_by("name"), bytes_of(delivery), strict=True):
        (tmp_path / file.name).write_bytes(data)
        told, by = signing.reading(tmp_path / file.name)
        assert told is not None
        assert by == certificate.current()
        assert [(one.relationship, one.sha256) for one in told.ingredients] == [("parentOf", frame.sha256)]
        assert ("c2pa.cropped" in [one.name for one in told.actions]) == (file.size_slug != "full")
        assert "c2pa.edited" not in [one.name for one in told.actions]
        people = ["Ansa", "Veld", "Tamsin", "Okonedo", "Ruben", "Achterberg", cast.sitting.slug, frame.name]
        assert not [name for name in people if name.lower().encode() in manifest_of(data).lower()]
        assert not delivery.sizes[file.size_slug]["byte_cap"] or len(data) <= delivery.sizes[file.size_slug]["byte_cap"]
        lines = stated.of_file(tmp_path / file.name)
        assert lines.origin[0] == "The file is as it was when it was signed."
        assert "nobody else vouches for it" in lines.origin[1]
    assert inventory.compare(cast.sitting).good


@pytest.mark.parametrize("kind", [Version.Kind.RETOUCHED, Version.Kind.GENERATIVE])
def test_a_retouch_is_said_as_it_was_declared(cast: Cast, kind: str, tmp_path: Path) -> None:
    (final,) = painted.finals_of(cast, 1)
    path = tmp_path / f"{Path(final.frame.name).stem}_v2.jpg"
    path.write_bytes(painted.retouched_file(0, 0.02))
    version = versions.add_retouch(cast.sitting, path, path.name, cast.as_owner).version
    assert version is not None
    source_type.declare(version, cast.as_owner, kind)
    approvals.approve(version, cast.as_subject, version.sha256)
    (data,) = bytes_of(built(asked(cast)))
    told = door.read_credentials(data)
    assert told is not None
    assert {(one.relationship, one.sha256) for one in told.ingredients} == {
        ("parentOf", final.frame.sha256), ("inputTo", version.sha256),
    }  # fmt: skip
    assert [(one.name, one.source) for one in told.actions][1] == ("c2pa.edited", kind)


def test_another_signature_is_no_change(cast: Cast) -> None:
    """Signing the same again gives other bytes: what is compared are the orders."""
    ready(cast)
    first = built(asked(cast))
    with pytest.raises(BadInput, match="Nothing has changed"):
        asked(cast, changed_only=True)
    again = built(asked(cast))
    assert again.files.get().sha256 == first.files.get().sha256  # taken over, not signed anew
    pen = signing.Pen.taken()
    origin = Origin("a" * 64)
    data = painted.camera_files()[0][1]
    assert credentials.sign(data, origin, "s", pen.signer) != credentials.sign(data, origin, "s", pen.signer)


def test_another_certificate_makes_the_files_again_and_no_other_picture(cast: Cast) -> None:
    ready(cast)
    first = built(asked(cast))
    waiting = asked(cast)
    second = certificate.make()  # after it was asked for, before the worker came to it
    built(waiting)
    assert waiting.files.get().sha256 != first.files.get().sha256
    told = door.read_credentials(bytes_of(waiting)[0], second.anchor)
    assert told is not None
    assert told.serial == second.serial
    assert built(asked(cast)).files.get().sha256 == waiting.files.get().sha256
    certificate.make()
    with pytest.raises(BadInput, match="only what is written into the files"):
        asked(cast, changed_only=True)
    by = signing.reading(Path(storage.private().path(first.files.get().key)))[1]
    assert by is not None
    assert by.fingerprint != second.fingerprint  # an earlier one of the studio is known still


def test_a_studio_that_does_not_sign_delivers_as_before(cast: Cast) -> None:
    ready(cast)
    signed = built(asked(cast))
    Studio.objects.update(sign_finals=False)
    plain = built(asked(cast))
    assert door.read_credentials(bytes_of(plain)[0]) is None
    assert plain.orders[0]["credentials"] == plain.orders[0]["frame"] == ""
    assert plain.files.get().recipe_sha256 != signed.files.get().recipe_sha256
    assert plain.orders[0]["picture"] == signed.orders[0]["picture"]


def test_what_does_not_read_back_is_never_handed_over(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    ready(cast)
    monkeypatch.setattr(signing, "origin_of", lambda order, spec: Origin("0" * 64, cropped=True))
    real = credentials.sign
    monkeypatch.setattr(
        signing.credentials, "sign", lambda data, origin, seed, by: real(data, Origin("1" * 64), seed, by)
    )
    delivery = asked(cast)
    jobs.run_waiting(cast.sitting, kinds=["delivery"])
    delivery.refresh_from_db()
    assert delivery.state == Delivery.State.FAILED
    assert "does not read back" in offer.problem_of(delivery)
    assert not delivery.files.exists()


def test_a_lost_key_is_a_sentence_before_anything_is_asked_for(cast: Cast, tmp_path: Path, settings: object) -> None:
    ready(cast)
    settings.SITE_DIR = tmp_path  # type: ignore[attr-defined]
    delivery = asked(cast)
    (tmp_path / "signing" / f"{certificate.in_force().fingerprint}.key").unlink()
    jobs.run_waiting(cast.sitting, kinds=["delivery"])
    delivery.refresh_from_db()
    assert delivery.state == Delivery.State.FAILED
    assert "Make a new certificate" in offer.problem_of(delivery)


def test_a_worker_on_a_machine_without_the_certificate_makes_none(cast: Cast, tmp_path: Path, settings: object) -> None:
    ready(cast)
    delivery = asked(cast)
    settings.SITE_DIR = tmp_path  # type: ignore[attr-defined]
    jobs.run_waiting(cast.sitting, kinds=["delivery"])
    delivery.refresh_from_db()
    assert delivery.state == Delivery.State.FAILED
    assert "each machine of the site" in offer.problem_of(delivery)
    assert not (tmp_path / "signing").exists()


def test_the_command_tells_a_changed_file(cast: Cast, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    ready(cast)
    (data,) = bytes_of(built(asked(cast)))
    (tmp_path / "whole.jpg").write_bytes(data)
    (tmp_path / "changed.jpg").write_bytes(data[:-900] + bytes(reversed(data[-900:-2])) + data[-2:])
    call_command("rights", str(tmp_path / "whole.jpg"), str(tmp_path / "changed.jpg"))
    whole, changed = capsys.readouterr().out.split("changed.jpg\n")
    assert "The file is as it was when it was signed." in whole
    assert "Delivered as" in whole
    assert "By its credentials it was opened (taken by a camera), cropped" in whole
    assert "The file was changed after it was signed" in changed
    assert "No delivery here holds exactly these bytes." in changed
