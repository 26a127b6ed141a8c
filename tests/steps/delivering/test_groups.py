"""Files by what they are for: the order, and that no size is left out."""

import json
from types import SimpleNamespace
from typing import Any

from galleries.models import DeliverySize
from galleries.steps.delivering import groups, sizes


def test_sizes_are_grouped_in_the_order_people_look_for_them() -> None:
    rows = [SimpleNamespace(slug=one["slug"], use=one["use"]) for one in json.loads(sizes.DATA.read_text())]
    grouped: list[Any] = groups.of_sizes(rows)  # type: ignore[arg-type]
    assert [group.use for group in grouped] == ["casting", "print", "web", "full"]
    assert [size.slug for group in grouped for size in group.items] == [
        row.slug for use in ("casting", "print", "web", "full") for row in rows if row.use == use
    ]
    assert [group.title for group in grouped] == ["casting upload", "print", "web and social", "full frame"]


def test_a_use_nothing_is_for_is_left_out_and_every_use_has_a_folder() -> None:
    assert groups.by_use([], str) == []
    assert set(groups.FOLDERS) == set(DeliverySize.Use.values)
    assert len(set(groups.FOLDERS.values())) == len(groups.FOLDERS)


def test_a_file_lies_by_the_use_its_size_had_when_the_delivery_was_made() -> None:
    delivery: Any = SimpleNamespace(sizes={"a": {"use": "full"}, "b": {"use": "print"}})
    files: list[Any] = [SimpleNamespace(name="x.jpg", size_slug="a"), SimpleNamespace(name="y.jpg", size_slug="b")]
    assert [groups.path_in_archive(delivery, file) for file in files] == ["full-frame/x.jpg", "print/y.jpg"]
    assert [group.items for group in groups.of_files(delivery, files)] == [files[1:], files[:1]]
