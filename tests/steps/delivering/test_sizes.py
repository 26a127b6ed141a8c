"""Delivery sizes are data: they say where their numbers come from, and the numbers are what their source says."""

from __future__ import annotations

import json
import math
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.db.migrations import RenameField
from django.db.migrations.executor import MigrationExecutor
from django.utils import timezone

from galleries.errors import BadInput, Refused
from galleries.imaging.framing.sizes import SizeSpec
from galleries.models import DeliverySize
from galleries.steps.delivering import package, sizes
from galleries.steps.keeping import restore
from tests.cast import make_cast

pytestmark = pytest.mark.django_db
ENTRIES: list[dict[str, Any]] = json.loads(sizes.DATA.read_text())


def test_loading_again_changes_nothing() -> None:
    assert sizes.load() == len(ENTRIES)
    before = list(DeliverySize.objects.values())
    assert sizes.load() == 0
    assert list(DeliverySize.objects.values()) == before


def test_what_a_photographer_changed_stays_until_the_data_are_checked_anew(tmp_path: Path) -> None:
    sizes.load()
    DeliverySize.objects.filter(slug="web-square").update(width=900, height=900, checked_on=date(2027, 1, 1))
    sizes.load()
    assert DeliverySize.objects.get(slug="web-square").width == 900
    newer = [{**entry, "checked_on": "2028-01-01"} for entry in ENTRIES if entry["slug"] == "web-square"]
    (tmp_path / "newer.json").write_text(json.dumps(newer))
    assert sizes.load(tmp_path / "newer.json") == 1
    assert DeliverySize.objects.get(slug="web-square").width == 1080


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: entry["slug"])
def test_every_size_says_where_it_comes_from(entry: dict[str, Any]) -> None:
    assert entry["source"]
    assert entry["source_kind"] in {"arithmetic", "std", "trade"}
    assert date.fromisoformat(entry["checked_on"]) <= timezone.localdate()
    if entry["use"] == "casting":
        assert "no source" in entry["source"]
        assert entry["byte_cap"] in {500_000, 2_000_000, 5_000_000, 10_000_000}


@pytest.mark.parametrize(
    ("slug", "trim", "with_bleed"),
    [
        ("print-4x6", (4, 6), (1275, 1875)),
        ("print-5x7", (5, 7), (1575, 2175)),
        ("print-8x10", (8, 10), (2475, 3075)),
        ("print-11x14", (11, 14), (3375, 4275)),
    ],
)
def test_inches_are_arithmetic(slug: str, trim: tuple[int, int], with_bleed: tuple[int, int]) -> None:
    """Inches × 300 ppi; 1/8 in is 37.5 px a side, both sides rounded together."""
    sizes.load()
    plain = sizes.spec(DeliverySize.objects.get(slug=slug))
    bled = sizes.spec(DeliverySize.objects.get(slug=f"{slug}-bleed"))
    assert (plain.out_width, plain.out_height) == (trim[0] * 300, trim[1] * 300)
    assert (bled.out_width, bled.out_height) == with_bleed == tuple(side * 300 + 75 for side in trim)


@pytest.mark.parametrize(("number", "slug"), [(4, "print-a4"), (5, "print-a5")])
def test_a_sizes_follow_iso_216(number: int, slug: str) -> None:
    """ISO 216: A0 is 1 m² of the shape 1 : √2, each next is half of it, millimetres rounded down."""
    sizes.load()
    long_side = math.floor(1000 * 2 ** (0.25 - number / 2) + 0.2)
    short_side = math.floor(1000 * 2 ** (-0.25 - number / 2) + 0.2)
    for name, bleed in ((slug, 0.0), (f"{slug}-bleed", 3.0)):
        spec = sizes.spec(DeliverySize.objects.get(slug=name))
        for pixels, millimetres in ((spec.out_width, short_side), (spec.out_height, long_side)):
            assert abs(pixels - (millimetres + 2 * bleed) / 25.4 * 300) <= 0.6


def test_a_copy_is_the_photographers_own() -> None:
    cast = make_cast()
    sizes.load()
    size = DeliverySize.objects.get(slug="casting-4x5")
    made = sizes.copy_size(size, cast.as_owner, "house-4x5", "House 4:5")
    assert (made.width, made.byte_cap, made.source_kind) == (1200, 2_000_000, "studio")
    assert "Tamsin" in made.source
    assert made.pk != size.pk
    with pytest.raises(BadInput, match="already"):
        sizes.copy_size(size, cast.as_owner, "house-4x5", "Again")
    with pytest.raises(Refused):
        sizes.copy_size(size, cast.as_subject, "mine", "Mine")
    sizes.retire_size(made, cast.as_owner)
    assert made not in sizes.offered()
    with pytest.raises(Refused):
        sizes.retire_size(size, cast.as_subject)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"use": "poster"}, "use “poster”"),
        ({"width": 0}, "is no size"),
        ({"bits": 16}, "16 bits"),
        ({"colour": "red"}, "unknown field colour"),
        ({"checked_on": "soon"}, "soon"),
    ],
)
def test_bad_data_are_named_and_change_nothing(tmp_path: Path, change: dict[str, Any], says: str) -> None:
    path = tmp_path / "sizes.json"
    path.write_text(json.dumps([ENTRIES[0], {**ENTRIES[1], **change}]))
    with pytest.raises(BadInput, match=says) as caught:
        sizes.load(path)
    assert "entry 2" in str(caught.value)
    assert not DeliverySize.objects.exists()
    path.write_text("{")
    with pytest.raises(BadInput, match="cannot be read"):
        sizes.load(path)


def test_numbers_and_spec_are_each_others_inverse() -> None:
    sizes.load()
    for row in DeliverySize.objects.all():
        assert sizes.spec_from(json.loads(json.dumps(sizes.numbers(row)))) == sizes.spec(row)


def test_uses_in_words() -> None:
    sizes.load()
    said = {row.slug: package.use_of(sizes.spec(row)) for row in DeliverySize.objects.all()}
    assert said["casting-4x5"] == "for a casting upload, portrait"
    assert said["casting-wide"] == "for a casting upload, wide"
    assert said["print-8x10-bleed"] == "for a print of 8 × 10 in, with bleed"
    assert said["print-a4"] == "for a print of A4 (21 × 29.7 cm)"
    assert said["print-a5-bleed"] == "for a print of A5 (14.8 × 21 cm), with bleed"
    assert said["full"] == "the whole frame, not cropped"
    assert isinstance(sizes.spec(DeliverySize.objects.first()), SizeSpec)


@pytest.mark.parametrize(
    ("width", "height", "ppi", "said"),
    [
        (2400, 3000, 300, "8 × 10 in"),
        (2550, 3300, 300, "8.5 × 11 in"),
        (3300, 2550, 300, "11 × 8.5 in"),
        (1535, 2126, 300, "13 × 18 cm"),
        (1181, 1772, 300, "10 × 15 cm"),
        (1748, 1240, 300, "A6 (14.8 × 10.5 cm)"),  # ISO 216: A6 is 105 × 148 mm
        (4961, 7016, 600, "A4 (21 × 29.7 cm)"),
    ],
)
def test_paper_in_the_unit_it_is_sold_in(width: int, height: int, ppi: int, said: str) -> None:
    """Inches and centimetres by arithmetic (1 in = 25.4 mm), names and millimetres of A papers from ISO 216 [std]."""
    assert package.paper(SizeSpec("print-x", "x", "print", width, height, ppi)) == said


def test_the_command(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    call_command("sizes", "--json")
    assert json.loads(capsys.readouterr().out)["loaded"] == len(ENTRIES)
    call_command("sizes", "--list")
    assert "print-8x10" in capsys.readouterr().out
    with pytest.raises(CommandError):
        call_command("sizes", "--file", str(tmp_path / "none.json"))


def test_what_an_earlier_release_wrote_is_read_under_todays_names(tmp_path: Path) -> None:
    """Data files, archives and the orders of deliveries called the kind of source 'mark'."""
    old = [{("mark" if name == "source_kind" else name): value for name, value in entry.items()} for entry in ENTRIES]
    (tmp_path / "old.json").write_text(json.dumps(old))
    assert sizes.load(tmp_path / "old.json") == len(ENTRIES)
    row = DeliverySize.objects.get(slug="print-a4")
    assert row.source_kind == "std"
    numbers = sizes.numbers(row)
    numbers["mark"] = numbers.pop("source_kind")
    assert sizes.spec_from(numbers) == sizes.spec(row)
    row.delete()
    restored = restore._sizes({"sizes": {"5": {**old[0], "slug": "print-a4", "mark": "std"}}})
    assert DeliverySize.objects.get(pk=restored[5]).source_kind == "std"


@pytest.mark.django_db(transaction=True)
def test_the_renamed_column_keeps_what_stood_in_it() -> None:
    """The migration by itself, on today's table with the column's name of before: all of them there and back again take
    a quarter of a minute (that they do go forward on tables of each release is in tests/upgrading)."""
    loader = MigrationExecutor(connection).loader
    today = loader.project_state()
    before = today.clone()
    name_of_before = RenameField("deliverysize", "source_kind", "mark")
    name_of_before.state_forwards("galleries", before)
    with connection.schema_editor() as editor:
        name_of_before.database_forwards("galleries", editor, today, before)
    try:
        values = {**ENTRIES[0], "mark": "std"}
        del values["source_kind"]
        before.apps.get_model("galleries", "DeliverySize").objects.create(**values)
    finally:
        with connection.schema_editor() as editor:
            loader.disk_migrations["galleries", "0012_source_kind"].apply(before.clone(), editor)
    assert DeliverySize.objects.get().source_kind == "std"
