"""An earlier release's database is migrated, and the work in it goes on: every release kept in `releases/`.

`tests/services/test_postgresql.py` runs this again on PostgreSQL.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from django.db import connection
from django.test import Client
from django.urls import reverse

from galleries import storage
from galleries.access import Visitor
from galleries.errors import Conflict
from galleries.models import Delivery, DeliverySize, Frame, Job, JournalLine, Letter, Look, Sitting, journal_guard
from galleries.steps import jobs
from galleries.steps.agreeing import agree
from galleries.steps.delivering import offer, orders
from galleries.steps.keeping import erase
from galleries.steps.picking import pick
from galleries.steps.sorting import take_back
from tests import kept_tables
from tests.cast import body_of
from tests.upgrading import release as past
from tests.upgrading.schema import schema

pytestmark = pytest.mark.django_db(transaction=True)
_ready: dict[str, str] = {}  # release -> the database that was migrated once, to be copied for each test


@pytest.fixture(params=past.RELEASES)
def release(request: pytest.FixtureRequest) -> str:
    return str(request.param)


def _migrated(own: str, release: str) -> str:
    """The database to be copied; the processes of a run make it once."""

    def make(name: str) -> None:
        past.create(name)
        with past.standing_in(name):
            past.load_rows(release)
            past.migrate_to_now()

    if connection.vendor == "sqlite":
        template = f"{own}_{release}"
        with kept_tables.one_at_a_time():
            if not kept_tables.give(Path(template), past.file(release)):
                make(template)
                kept_tables.keep_copy(template, past.file(release))
        return template
    template = f"upgraded_{release}_{os.environ.get('PYTEST_XDIST_TESTRUNUID', own)}"[:60]
    with connection._nodb_cursor() as cursor:  # type: ignore[attr-defined]
        cursor.execute("SELECT pg_advisory_lock(hashtext(%s))", [template])  # held until this cursor's line is closed
        cursor.execute("SELECT 1 FROM pg_database WHERE datname = %s", [template])
        if cursor.fetchone() is None:
            make(f"{own}_{release}")
            cursor.execute(f'ALTER DATABASE "{own}_{release}" RENAME TO "{template}"')
    return template


@contextmanager
def at_now(release: str) -> Iterator[None]:
    """All queries go to a database of the release, migrated to this code."""
    own = str(connection.settings_dict["NAME"])
    name = f"{own}_{release}_now"
    connection.close()
    if release not in _ready:
        _ready[release] = _migrated(own, release)
    past.create(name, like=_ready[release])
    with past.standing_in(name):
        yield
    past.drop(name)


@pytest.fixture
def upgraded(release: str, transactional_db: None) -> Iterator[dict[str, str]]:
    """A site of it; gives its sittings' slugs by stage."""
    with at_now(release):
        past.load_files(release)
        yield past.names_of(release)["slugs"]


def sitting_of(slugs: dict[str, str], which: str) -> Sitting:
    return Sitting.objects.get(slug=slugs[which])


def owner_of(sitting: Sitting) -> Visitor:
    return Visitor(user=sitting.photographer)


def invited(sitting: Sitting, role: str) -> Visitor:
    return Visitor(invite=sitting.invites.get(role=role, passed_from=None, revoked_at=None))


def let_in(release: str, person: str) -> Client:
    """A browser that has followed the link its person was once given."""
    client = Client()
    path = past.names_of(release)["links"][person].split("/", 3)[3]
    assert client.post(f"/{path}", follow=True).status_code == 200, person
    return client


def test_its_tables_are_those_of_a_new_site(release: str, transactional_db: None) -> None:
    """One after the other the migrations come to what the one for new sites makes at once."""
    new_site = schema()
    with at_now(release):
        assert {name.split()[0] for name in new_site} >= {
            "table" if connection.vendor == "sqlite" else "column",
            "trigger",
        }
        assert schema() == new_site
        with connection.cursor() as cursor:
            cursor.execute("ALTER TABLE galleries_look ADD COLUMN planted integer NULL")
        journal_guard.take_down(connection)
        planted = new_site.items() ^ schema().items()
    assert len([name for name, _ in planted if "planted" in name]) == 1
    assert {name.split()[1] for name, _ in planted if name.startswith("trigger")} == set(
        journal_guard._triggers(connection)
    )


def test_nothing_of_the_old_rows_is_missing(upgraded: dict[str, str], release: str) -> None:
    """Every row that was there is there, and the database holds to its own keys."""
    from django.apps import apps

    for label in {row["model"] for row in past.remains(release)["rows"]}:
        keys = {row["pk"] for row in past.remains(release)["rows"] if row["model"] == label}
        there = set(apps.get_model(label)._base_manager.values_list("pk", flat=True))
        assert keys <= there, label
    connection.check_constraints()


def test_marks_still_count_and_can_be_given(upgraded: dict[str, str]) -> None:
    sitting = sitting_of(upgraded, "proofing")
    subject, agent = invited(sitting, "subject"), invited(sitting, "representation")
    marks = {frame.name: mark.kind for frame, mark in _marks(subject)}
    assert marks == {"DAM_0417.JPG": "pick", "DAM_0418.JPG": "strike"}
    assert pick.count(subject, sitting).picks == 1
    assert [line.frame.name for line in agree.tally(sitting, owner_of(sitting)).agreed] == ["DAM_0417.JPG"]
    frame = sitting.frames.get(name="DAM_0418.JPG")
    assert pick.set_mark(subject, frame.pk, kind="pick").revision == 2
    assert pick.marks_by(agent.invite)[frame.pk].note == "for the theatre"  # a colleague's, on the shared shortlist


def _marks(person: Visitor) -> list[tuple[Frame, object]]:
    assert person.invite is not None
    return [(mark.frame, mark) for mark in pick.marks_by(person.invite).values()]


def test_what_was_kept_back_stays_kept_back(upgraded: dict[str, str], release: str) -> None:
    sitting = sitting_of(upgraded, "proofing")
    coat = sitting.looks.get(title="Green coat")
    assert coat.kept_from_representation
    assert coat.kept_by_subject
    page = let_in(release, f"{sitting.slug} representation Piet").get(reverse("sheet", args=[sitting.slug]))
    assert page.status_code == 200
    assert "Green coat" not in page.content.decode()


def test_the_list_can_be_closed(upgraded: dict[str, str]) -> None:
    sitting = sitting_of(upgraded, "proofing")
    agree.close(sitting, [sitting.frames.get(name="DAM_0417.JPG").pk], owner_of(sitting))
    sitting.refresh_from_db()
    assert sitting.stage == Sitting.Stage.FINISHING


def test_acts_on_frames_can_still_be_taken_back(upgraded: dict[str, str]) -> None:
    """Hidden, then split off, then merged: each undone in turn, and the merged look is there again."""
    sitting = sitting_of(upgraded, "proofing")
    by = owner_of(sitting)
    third, second = (sitting.frames.get(name=name) for name in ("DAM_0429.JPG", "DAM_0418.JPG"))
    assert third.hidden
    take_back.undo(sitting, by)
    third.refresh_from_db()
    assert not third.hidden
    assert second.look == sitting.looks.get(title="Linen, seated")
    take_back.undo(sitting, by)
    second.refresh_from_db()
    assert second.look == sitting.frames.get(name="DAM_0417.JPG").look
    assert not sitting.looks.filter(title="Linen, seated").exists()
    take_back.undo(sitting, by)  # not the hiding that was taken back in the earlier release already
    brought = sitting.looks.get(title="Test shots")
    assert brought.notes == "colour card first"
    assert [frame.name for frame in brought.frames.all()] == ["DAM_0430.JPG"]
    take_back.undo(sitting, by)
    take_back.undo(sitting, by)
    with pytest.raises(Conflict):
        take_back.undo(sitting, by)


def test_the_waiting_delivery_is_made(upgraded: dict[str, str], release: str) -> None:
    """By its orders as the earlier release wrote them."""
    sitting = sitting_of(upgraded, "finishing")
    delivery = sitting.deliveries.get()
    assert delivery.state == Delivery.State.WAITING
    assert not delivery.files.exists()
    jobs.run_waiting(sitting, kinds=["delivery"])
    delivery.refresh_from_db()
    assert delivery.state == Delivery.State.MADE, offer.problem_of(delivery)
    assert sorted(file.name for file in delivery.files.all()) == sorted(
        order["name"] for order in _orders(release, delivery)
    )
    for file in delivery.files.all():
        assert hashlib.sha256(storage.get(storage.private(), file.key)).hexdigest() == file.sha256
    offer.send(delivery, owner_of(sitting))
    delivery.refresh_from_db()
    assert delivery.state == Delivery.State.READY


def _orders(release: str, delivery: Delivery) -> list[dict[str, str]]:
    """As the release's own rows have them."""
    rows = past.remains(release)["rows"]
    return next(
        row["fields"]["orders"] for row in rows if row["model"] == "galleries.delivery" and row["pk"] == delivery.pk
    )  # type: ignore[no-any-return]


def test_the_ready_delivery_is_fetched(upgraded: dict[str, str], release: str) -> None:
    sitting = sitting_of(upgraded, "delivered")
    file = sitting.deliveries.get().files.get()
    client = let_in(release, f"{sitting.slug} subject Cato")
    address = reverse("delivered-file", args=[sitting.slug, file.pk])
    assert client.get(address).status_code == 403  # the passcode of then is asked for
    opened = client.post(reverse("passcode", args=[sitting.slug, file.delivery_id]), {"passcode": "harbour"})
    assert opened.status_code == 302
    assert hashlib.sha256(body_of(client.get(address))).hexdigest() == file.sha256
    stranger = let_in(release, f"{upgraded['proofing']} subject Ilse")
    assert stranger.get(address).status_code in {403, 404}


def test_the_same_can_be_delivered_again(upgraded: dict[str, str]) -> None:
    """The file that an earlier release cut stays as it was, whatever is made beside it."""
    sitting = sitting_of(upgraded, "delivered")
    by, old = owner_of(sitting), sitting.deliveries.get()
    was = old.files.get()
    again = orders.prepare(sitting, list(DeliverySize.objects.filter(slug=was.size_slug)), old.licence, by)
    jobs.run_waiting(sitting, kinds=["delivery"])
    again.refresh_from_db()
    assert again.state == Delivery.State.MADE, offer.problem_of(again)
    made = again.files.get()
    assert (made.size_slug, made.width, made.height) == (was.size_slug, was.width, was.height)
    assert hashlib.sha256(storage.get(storage.private(), made.key)).hexdigest() == made.sha256
    assert hashlib.sha256(storage.get(storage.private(), was.key)).hexdigest() == old.files.get().sha256 == was.sha256


def test_links_open_for_those_who_had_them(upgraded: dict[str, str], release: str) -> None:
    links = past.names_of(release)["links"]
    revoked = f"{upgraded['proofing']} recipient Old"
    for person in links:
        if person != revoked:
            let_in(release, person)
    path = links[revoked].split("/", 3)[3]
    assert Client().get(f"/{path}", follow=True).status_code == 404


def test_every_page_of_the_studio_opens(upgraded: dict[str, str]) -> None:
    for slug in upgraded.values():
        sitting = Sitting.objects.get(slug=slug)
        client = Client()
        client.force_login(sitting.photographer)
        names = [
            "studio-sitting",
            "studio-settings",
            "studio-journal",
            "studio-desk",
            "studio-desk-data",
            "studio-people",
        ]
        names += ["studio-lists", "studio-finals", "studio-delivery", "studio-usage", "studio-upload", "studio-set"]
        for name in names:
            assert client.get(reverse(name, args=[slug])).status_code == 200, (slug, name)
        for final in sitting.finals.all():
            assert client.get(reverse("studio-crops", args=[slug, final.pk])).status_code == 200, final
        for look in sitting.looks.all():
            assert client.get(reverse("studio-look", args=[slug, look.pk])).status_code == 200, look


def test_the_photographers_word_and_password_hold(upgraded: dict[str, str]) -> None:
    client = Client()
    sent = client.post(reverse("sign-in"), {"name": "hedda", "password": "lanterns-at-noon"})
    assert sent.status_code == 302
    assert client.get(reverse("studio")).status_code == 200


def test_work_that_was_under_way_goes_on(upgraded: dict[str, str]) -> None:
    """A sorting whose worker is gone, asked for once more meanwhile; letters that were not sent yet."""
    sitting = sitting_of(upgraded, "proofing")
    job = Job.objects.get(sitting=sitting, kind="sort")
    assert job.state == Job.State.RUNNING
    jobs.sweep()
    jobs.run_waiting(sitting)
    job.refresh_from_db()
    assert job.state == Job.State.DONE, job.reason
    assert not Letter.objects.filter(sitting=sitting, sent_at=None).exists()


def test_how_a_retouch_was_made_is_still_known(upgraded: dict[str, str]) -> None:
    sitting = sitting_of(upgraded, "finishing")
    first, second = (final.versions.get() for final in sitting.finals.order_by("position")[:2])
    assert (first.kind, second.kind) == ("humanEdits", "algorithmicallyEnhanced")
    assert orders.undeclared(sitting.finals.all()) == []


def test_two_sittings_of_one_tracer_key_get_one_each(upgraded: dict[str, str]) -> None:
    """The release before gave all that were there the same. The old one still traces what was served under it."""
    first, second = sorted((sitting_of(upgraded, "planned"), sitting_of(upgraded, "delivered")), key=lambda one: one.pk)
    assert first.tracer_key_before == ""
    assert second.tracer_key_before == first.tracer_key
    keys = list(Sitting.objects.values_list("tracer_key", flat=True))
    assert len(keys) == len(set(keys)) > 2
    assert all(len(bytes.fromhex(key)) == 32 for key in keys)


def test_a_sitting_can_be_erased(upgraded: dict[str, str], release: str) -> None:
    """Its files of then are found by their keys of then; only the note that it was done stays."""
    sitting = sitting_of(upgraded, "delivered")
    slug, uid = sitting.slug, sitting.uid
    keys = [key for key in past.remains(release)["files"] if uid.hex in key]
    assert keys
    assert all(storage.private().exists(key) for key in keys)
    assert erase.erase(sitting, owner_of(sitting), "asked for by the subject").left == ()
    assert not any(storage.private().exists(key) for key in keys)
    assert not Sitting.objects.filter(slug=slug).exists()
    assert not Look.objects.filter(sitting__slug=slug).exists()
    assert not JournalLine.objects.filter(sitting_slug=slug).exists()
    assert JournalLine.objects.filter(sitting_slug=uid.hex).count() == 2  # begun, done
