"""What a killed worker stored without naming it goes when the work is done, and nothing else does."""

from __future__ import annotations

import os
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone

from galleries import storage
from galleries.models import DeliveredFile, Delivery, DeliverySize, Studio
from galleries.steps.delivering import build, left_behind, licences, orders, sizes
from galleries.steps.finishing import approvals
from galleries.steps.keeping import inventory
from tests import painted
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db


class Killed(BaseException):
    """As SIGKILL would: nothing of the program's own hears of it."""


@pytest.fixture
def cast() -> Cast:
    return make_cast()


def asked(cast: Cast) -> Delivery:
    sizes.load()
    if not cast.sitting.finals.exists():
        for final in painted.finals_of(cast, 2):
            approvals.deliver_as_it_is(final, cast.as_owner)
    licence = licences.compose(cast.sitting, licences.draft(cast.sitting), cast.as_owner)
    wanted = [DeliverySize.objects.get(slug="web-square")]
    return orders.prepare(cast.sitting, wanted, licence, cast.as_owner)


def stored(cast: Cast) -> set[str]:
    return set(storage.private().keys(f"{storage.home(cast.sitting.uid)}/final"))  # type: ignore[attr-defined]


def named(delivery: Delivery) -> set[str]:
    return set(delivery.files.values_list("key", flat=True))


def put(cast: Cast, digit: str, *, old: bool) -> str:
    key = storage.derived_key(cast.sitting.uid, "final", digit * 64)
    storage.put(storage.private(), key, b"of another time")
    if old:
        an_hour_ago = timezone.now().timestamp() - 3600
        os.utime(Path(storage.private().path(key)), (an_hour_ago, an_hour_ago))
    return key


@pytest.mark.parametrize("signed", [True, False])
def test_killed_between_a_file_and_its_row(cast: Cast, monkeypatch: pytest.MonkeyPatch, *, signed: bool) -> None:
    Studio.objects.update(sign_finals=signed)
    delivery, real = asked(cast), build._row

    def killed(*args: Any, **values: Any) -> DeliveredFile:
        if not DeliveredFile.objects.exists():
            return real(*args, **values)
        raise Killed

    monkeypatch.setattr(build, "_row", killed)
    with pytest.raises(Killed):
        build.build(delivery.pk)
    assert len(stored(cast)) == 2
    assert len(named(delivery)) == 1
    monkeypatch.setattr(build, "_row", real)
    build.build(delivery.pk)
    delivery.refresh_from_db()
    assert delivery.state == Delivery.State.READY, delivery.problem
    assert len(named(delivery)) == 2
    assert stored(cast) == named(delivery)
    assert inventory.compare(cast.sitting).good


def test_what_is_younger_than_the_work_stays(cast: Cast) -> None:
    delivery = asked(cast)
    old, young = put(cast, "1", old=True), put(cast, "2", old=False)
    assert left_behind.clear(delivery, timezone.now() - timedelta(minutes=5)) == 1
    assert stored(cast) == {young}
    assert old != young


def test_what_another_delivery_names_or_may_be_about_to_name_stays(cast: Cast) -> None:
    first = asked(cast)
    build.build(first.pk)
    kept = named(first)
    second = asked(cast)
    assert named(second) == set()
    assert left_behind.clear(second, timezone.now() + timedelta(hours=1)) == 0
    assert stored(cast) == kept
    third, left = asked(cast), put(cast, "1", old=True)
    assert left_behind.clear(second, timezone.now()) == 0, "the third is being made"
    Delivery.objects.filter(pk=third.pk).update(state=Delivery.State.WITHDRAWN)
    assert left_behind.clear(second, timezone.now()) == 1
    assert stored(cast) == kept != kept | {left}
