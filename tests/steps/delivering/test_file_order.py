"""A delivery's orders: to JSON and back, what is refused, which digest changes with what, and the version before.

`orders_version_1.json` was written by the release that knew one digest over everything."""

from __future__ import annotations

import copy
import dataclasses
import json
from pathlib import Path
from typing import Any

import pytest

from galleries.errors import BadInput
from galleries.imaging.framing.geometry import Rect
from galleries.imaging.framing.sizes import SizeSpec
from galleries.models import Delivery, DeliverySize
from galleries.steps import jobs
from galleries.steps.delivering import build, cut, file_order, licences, offer, orders, sizes
from galleries.steps.delivering.file_order import Caption, FileOrder
from galleries.steps.finishing import approvals
from tests import painted
from tests.cast import Cast, make_cast

OLD: dict[str, Any] = json.loads((Path(__file__).parent / "orders_version_1.json").read_text())
SQUARE = OLD["sizes"]["web-square"]
SAID = Caption("Ansa Veld", "Headshot", "", "job", "humanEdits", "xmp.did:1", "xmp.did:2", "3", "2026-03-02T10:00:00")
ORDER = FileOrder(
    final=7, size="web-square", name="veld-ansa_0417_web-square.jpg", key="sittings/u/originals/a.jpg", source="a" * 64,
    crop=Rect(10, 20, 300, 300), tilt=1.5, monochrome=False, strip="", icc="", said=SAID,
)  # fmt: skip


def digests(order: FileOrder = ORDER, *, numbers: dict[str, Any] = SQUARE, **terms: Any) -> tuple[str, str]:
    filled = order.with_digests(numbers, {**OLD["terms"], **terms})
    return filled.picture, filled.written


def read(entry: object) -> FileOrder:
    return file_order.from_json(entry, 3, OLD["sizes"], OLD["terms"])


def test_there_and_back() -> None:
    order = ORDER.with_digests(SQUARE, OLD["terms"])
    assert read(json.loads(json.dumps(order.to_json()))) == order


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("final", "7"), ("final", True), ("final", 0), ("size", "web-round"), ("name", "../veld.jpg"),
        ("name", "veld.exe"), ("key", ""), ("source", "a" * 63), ("crop", [1, 2, 3]), ("crop", [1, 2, 3, 0]),
        ("crop", [1, 2, 3, 4.5]),
        ("tilt", float("nan")), ("tilt", "1"), ("monochrome", 1), ("strip", None), ("icc", None), ("said", {}),
        ("said", {**dataclasses.asdict(SAID), "captured_at": "yesterday"}), ("picture", "b"), ("colour", "red"),
    ],
)  # fmt: skip
def test_what_is_not_of_its_kind_is_named(field: str, value: object) -> None:
    entry = {**ORDER.to_json(), field: value}
    with pytest.raises(BadInput, match=rf"^Delivery 3, file .*“{field}”\.$"):
        read(entry)


@pytest.mark.parametrize("field", [field.name for field in dataclasses.fields(FileOrder)])
def test_what_is_missing_is_named(field: str) -> None:
    entry = ORDER.to_json()
    del entry[field]
    with pytest.raises(BadInput, match=f"“{field}”"):
        read(entry)


@pytest.mark.parametrize("entry", [None, [], "order"])
def test_no_order_at_all(entry: object) -> None:
    with pytest.raises(BadInput, match="Delivery 3"):
        read(entry)


@pytest.mark.parametrize("version", [0, 4, "2", True, None])
def test_a_version_of_later_is_not_guessed_at(version: object) -> None:
    with pytest.raises(BadInput, match=r"Delivery 3, file veld.*version"):
        read({**ORDER.to_json(), "version": version})


def test_a_changed_licence_is_no_changed_picture() -> None:
    before, after = digests(), digests(version=2, territory="Europe")
    assert before[0] == after[0]
    assert before[1] != after[1]


@pytest.mark.parametrize(
    "change",
    [{"source": "b" * 64}, {"crop": Rect(10, 20, 300, 301)}, {"tilt": 0.0}, {"monochrome": True}, {"strip": "Ansa"},
     {"icc": "sittings/u/lab.icc"}, {"said": dataclasses.replace(SAID, digital_source_type="digitalCapture")}],
)  # fmt: skip
def test_what_makes_the_picture_changes_its_digest(change: dict[str, Any]) -> None:
    assert digests(dataclasses.replace(ORDER, **change))[0] != digests()[0]


@pytest.mark.parametrize("change", [{"final": 8}, {"name": "other.jpg"}, {"key": "sittings/u/b.jpg"}])
def test_numbers_and_names_change_neither(change: dict[str, Any]) -> None:
    assert digests(dataclasses.replace(ORDER, **change)) == digests()


def test_other_words_change_what_is_written_only() -> None:
    for field in dataclasses.fields(Caption):
        if field.name not in file_order.PICTURE_CAPTION:
            other = digests(dataclasses.replace(ORDER, said=dataclasses.replace(SAID, **{field.name: "other"})))
            assert (other[0] == digests()[0], other[1] == digests()[1]) == (True, False), field.name


def test_every_field_is_counted_or_left_out_by_name() -> None:
    """A new field makes this fail until somebody decides what it belongs to."""
    order = {field.name for field in dataclasses.fields(FileOrder)}
    assert order - set(file_order.PICTURE) == {
        "final",
        "size",
        "name",
        "key",
        "said",
        "frame",
        "credentials",
        "picture",
        "written",
    }
    spec = {field.name for field in dataclasses.fields(SizeSpec)}
    assert spec - set(file_order.PICTURE_SIZE) == {"slug", "title", "source", "source_kind", "checked"}


def test_whole_numbers_count_as_what_they_are() -> None:
    """JSON written by hand, or a row just made, has 0 where the database answers 0.0."""
    flat = dataclasses.replace(ORDER, tilt=0.0)
    assert digests(dataclasses.replace(flat, tilt=0), numbers={**SQUARE, "bleed": 0}) == digests(
        flat, numbers={**SQUARE, "bleed": 0.0}
    )


def test_version_1_is_read_and_tells_its_picture_while_the_recipe_is_todays(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(file_order.VERSIONS, "final", 1)  # as when the stored file was written
    for entry in OLD["orders"]:
        order = read(entry)
        assert order.crop.as_list() == entry["crop"]
        assert order.picture == order.with_digests(OLD["sizes"][order.size], OLD["terms"]).picture
    monkeypatch.setitem(file_order.VERSIONS, "final", 2)
    order = read(OLD["orders"][0])
    assert (order.picture, order.written) == ("", OLD["orders"][0]["recipe"])


def test_version_2_is_of_a_file_that_is_not_signed() -> None:
    filled = ORDER.with_digests(SQUARE, OLD["terms"])
    entry = {name: value for name, value in filled.to_json().items() if name not in {"frame", "credentials"}}
    assert read({**entry, "version": 2}) == filled
    signed = dataclasses.replace(filled, frame="c" * 64, credentials="d" * 64)
    assert read(signed.to_json()) == signed
    recipes = {one.recipe for one in (filled, signed, dataclasses.replace(signed, credentials="e" * 64))}
    assert len(recipes) == 3  # made again, and yet the same picture
    assert signed.picture == filled.picture


def test_version_1_from_before_lab_profiles() -> None:
    entry = {name: value for name, value in OLD["orders"][1].items() if name != "icc"}
    assert read(entry).icc == ""


@pytest.fixture
def cast(db: None) -> Cast:
    return make_cast()


def _asked(cast: Cast) -> tuple[Delivery, list[DeliverySize]]:
    sizes.load()
    (final,) = painted.finals_of(cast, 1)
    approvals.deliver_as_it_is(final, cast.as_owner)
    licence = licences.compose(cast.sitting, licences.draft(cast.sitting), cast.as_owner)
    wanted = [DeliverySize.objects.get(slug="web-square")]
    return orders.prepare(cast.sitting, wanted, licence, cast.as_owner), wanted


def test_an_order_of_the_version_before_is_still_made(cast: Cast) -> None:
    asked, _wanted = _asked(cast)
    (now,) = asked.orders
    old = copy.deepcopy(OLD["orders"][1])
    old |= {name: now[name] for name in ("final", "key", "source")}
    Delivery.objects.filter(pk=asked.pk).update(orders=[old])
    jobs.run_waiting(cast.sitting, kinds=["delivery"])
    asked.refresh_from_db()
    assert asked.state == Delivery.State.READY, offer.problem_of(asked)
    file = asked.files.get()
    assert (file.name, file.width, file.height) == (old["name"], 1080, 1080)


def test_an_order_that_cannot_be_read_fails_the_delivery_by_name(cast: Cast) -> None:
    asked, _wanted = _asked(cast)
    (now,) = asked.orders
    Delivery.objects.filter(pk=asked.pk).update(orders=[{**now, "crop": "all of it"}])
    with pytest.raises(BadInput, match="“crop”"):
        build.build(asked.pk)
    asked.refresh_from_db()
    assert asked.state == Delivery.State.FAILED
    strange = f"Delivery 1, file {now['name']}: its order is not as this program writes them, at “crop”."
    assert offer.problem_of(asked) == strange


def test_a_new_licence_alone_is_no_new_picture(cast: Cast) -> None:
    asked, wanted = _asked(cast)
    jobs.run_waiting(cast.sitting, kinds=["delivery"])
    cast.sitting.refresh_from_db()
    terms = dataclasses.replace(licences.draft(cast.sitting), territory="Europe")
    licence = licences.compose(cast.sitting, terms, cast.as_owner)
    with pytest.raises(BadInput, match="only what is written into the files"):
        orders.prepare(cast.sitting, wanted, licence, cast.as_owner, changed_only=True)
    whole = orders.prepare(cast.sitting, wanted, licence, cast.as_owner)
    jobs.run_waiting(cast.sitting, kinds=["delivery"])
    assert whole.files.get().sha256 != asked.files.get().sha256  # the file says the new licence
    crop = cast.sitting.finals.get().crops.get(size__slug="web-square")
    cut.adjust(crop, cast.as_owner, 10, 10, 400, 400)
    changed = orders.prepare(cast.sitting, wanted, licence, cast.as_owner, changed_only=True)
    assert len(changed.orders) == 1
