"""Holes an audit found, each shut: guessing, links to the wrong address, large bodies, secrets in the log, races."""

from __future__ import annotations

import io
import json
import logging
import os
import subprocess
import sys
import tracemalloc
from contextlib import nullcontext
from datetime import timedelta
from pathlib import Path

import pytest
from django.conf import settings as site_settings
from django.contrib.auth.hashers import make_password
from django.contrib.auth.models import User
from django.core import mail
from django.core.cache import cache
from django.core.files.uploadhandler import TemporaryFileUploadHandler
from django.db import DataError
from django.http import HttpResponse
from django.test import Client, RequestFactory
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from galleries import storage
from galleries.errors import BadInput, Conflict, Refused
from galleries.models import Invite, Job, Mark, Round, Sitting
from galleries.steps import derived, jobs
from galleries.steps.agreeing import agree
from galleries.steps.delivering import licences, orders
from galleries.steps.finishing import versions
from galleries.steps.ingesting import proof
from galleries.steps.keeping import restore, upkeep
from galleries.steps.people import invite as invites
from galleries.steps.picking import pick
from galleries.steps.planning import sitting_plan
from galleries.web.errors import DomainErrors
from galleries.web.files import _headers
from tests.cast import Cast, make_cast
from tests.web.invitee.sheets import proved
from tests.web.invitee.test_finals_delivery import delivered, version

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    return make_cast()


# --- doors ---


def test_a_right_guess_among_too_many_does_not_open(cast: Cast, settings: object) -> None:
    settings.DOOR_TRIES = 2  # type: ignore[attr-defined]
    cast.owner.set_password("a long enough secret")
    cast.owner.save()
    client = Client()
    right = {"name": cast.owner.username, "password": "a long enough secret"}
    for _ in range(2):
        assert client.post("/sign-in", {**right, "password": "guess"}).status_code == 400
    assert client.post("/sign-in", right).status_code == 429
    cache.clear()  # a minute later
    assert client.post("/sign-in", right).status_code == 302


def test_a_passcode_cannot_be_guessed_from_many_addresses(cast: Cast, settings: object) -> None:
    settings.DOOR_TRIES = 2  # type: ignore[attr-defined]
    Sitting.objects.update(stage="delivered")
    made = delivered(cast, passcode_hash=make_password("4711"))
    client, address = cast.client_of(cast.recipient), reverse("passcode", args=[cast.sitting.slug, made.pk])
    for n in range(2):
        client.post(address, {"passcode": "0000"}, REMOTE_ADDR=f"192.0.2.{n}")
    assert client.post(address, {"passcode": "4711"}, REMOTE_ADDR="192.0.2.9").status_code == 429
    assert "passcodes" not in client.session


def test_the_upkeep_has_no_door_of_its_own(cast: Cast) -> None:
    User.objects.create_superuser("keeper", password="a long enough secret")
    client = Client()
    client.post("/upkeep/login/", {"username": "keeper", "password": "a long enough secret"})
    assert "_auth_user_id" not in client.session
    assert client.get("/upkeep/login/?next=/upkeep/")["Location"] == "/sign-in?next=/upkeep/"


def test_a_sign_in_link_goes_to_the_address_on_record() -> None:
    User.objects.create_user("mike", email="Mike@studio.example")
    assert invites.mail_sign_in_link("mike@studio.example")
    assert mail.outbox[0].to == ["Mike@studio.example"]
    # What upper-cases to the same letters is another address, whatever the database thinks of it.
    assert not invites.mail_sign_in_link("mıke@studio.example")
    assert not invites.mail_sign_in_link("mike@ſtudio.example")


def test_a_mail_server_that_is_away_does_not_tell_who_is_known(cast: Cast, settings: object) -> None:
    settings.EMAIL_BACKEND = "tests.nowhere.Backend"  # type: ignore[attr-defined]
    client = Client(raise_request_exception=False)
    assert client.post("/sign-in/link", {"email": "tamsin@northlight.example"}).status_code == 200


def test_the_desk_opens_a_sitting_again_after_a_new_invite(cast: Cast) -> None:
    client = cast.client_of(cast.representation)
    session = client.session
    session["desk"] = cast.representation.email
    session.save()
    invites.revoke(cast.representation, cast.as_owner)
    again = invites.invite(cast.sitting, "representation", "Ruben", "ruben@achterberg.example", cast.as_owner)
    assert client.get(reverse("sheet", args=[cast.sitting.slug])).status_code == 404
    client.get("/desk")
    assert client.session["invites"][str(cast.sitting.pk)] == again.pk


def test_passing_on_leaves_no_invite_of_its_own_behind(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    Invite.objects.filter(pk=cast.representation.pk).update(may_pass_on=True)
    cast.representation.refresh_from_db()

    def killed(*args: object, **kwargs: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(Invite, "refresh_from_db", killed)
    monkeypatch.setattr("django.db.models.query.QuerySet.update", killed)
    with pytest.raises(KeyboardInterrupt):
        invites.pass_on("Colleague", "colleague@achterberg.example", cast.as_representation)
    monkeypatch.undo()
    assert not Invite.objects.filter(email="colleague@achterberg.example").exists()


def test_a_link_in_a_refused_address_is_not_written_to_the_log(capfd: pytest.CaptureFixture[str]) -> None:
    token = "x" * 20 + "SECRET-of_32"
    handler = next(one for one in logging.getLogger().handlers if type(one) is logging.StreamHandler)
    out = io.StringIO()
    old = handler.setStream(out)
    try:
        Client().get(f"/i/{token}")
        Client().post(f"/in/{token}")
    finally:
        handler.setStream(old)
    assert "/i/-" in out.getvalue()
    assert "/in/-" in out.getvalue()
    assert "SECRET" not in out.getvalue()


# --- what comes in ---


def test_a_stranger_cannot_fill_the_disk(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    written: list[int] = []
    monkeypatch.setattr(TemporaryFileUploadHandler, "receive_data_chunk", lambda self, data, start: written.append(1))
    body = (
        b'--x\r\nContent-Disposition: form-data; name="a"; filename="a"\r\n\r\n' + bytes(33_000_000) + b"\r\n--x--\r\n"
    )
    for client in (Client(enforce_csrf_checks=True), cast.client_of(cast.subject)):
        client.cookies[site_settings.CSRF_COOKIE_NAME] = "a" * 32
        answer = client.post("/sign-in", body, content_type="multipart/form-data; boundary=x")
        assert answer.status_code == 413
    assert not written


def test_a_small_file_of_many_pixels_is_no_reference(cast: Cast) -> None:
    out = io.BytesIO()
    Image.new("1", (12_000, 12_000)).save(out, "PNG")
    assert len(out.getvalue()) < 100_000
    tracemalloc.start()
    with pytest.raises(BadInput, match="pixels"):
        sitting_plan.add_reference(cast.as_subject, cast.sitting, out.getvalue())
    assert tracemalloc.get_traced_memory()[1] < 50_000_000
    tracemalloc.stop()


def test_half_an_emoji_does_not_hold_up_a_devices_other_marks(cast: Cast) -> None:
    frames = [proved(cast, n, cast.look(f"Look {n}")) for n in (1, 2, 3)]
    now = timezone.now().isoformat()
    notes = ["cut off \ud83d", "zero \0 byte", "fine"]
    acts = [
        {"frame": f.pk, "kind": "pick", "note": n, "act": f"a{f.pk}", "at": now}
        for f, n in zip(frames, notes, strict=True)
    ]
    acts[1]["at"] = "0001-01-01T00:00:00+23:59"  # a device whose clock has never been set
    client = cast.client_of(cast.subject)
    answer = client.post(reverse("marks", args=[cast.sitting.slug]), json.dumps(acts), "application/json")
    assert answer.status_code == 200
    assert ["error" in one for one in answer.json()["answers"]] == [False, True, False]
    assert {mark.note for mark in Mark.objects.all()} == {"cut off ?", "fine"}


@pytest.mark.parametrize(
    "error", [DataError("value too long for type character varying(120)"), OverflowError("too large")]
)
def test_what_a_database_cannot_keep_is_the_senders_error(error: Exception) -> None:
    answer = DomainErrors(lambda request: None).process_exception(  # type: ignore[arg-type,return-value]
        RequestFactory().post("/", HTTP_ACCEPT="application/json"), error
    )
    assert answer is not None
    assert answer.status_code == 400


@pytest.mark.parametrize("wanted", ["²", "9" * 30])
def test_odd_numbers_are_no_server_error(cast: Cast, wanted: str) -> None:
    client = cast.client_of(cast.representation)
    for name, field in (("lists", "frame"), ("marks", "mark"), ("plan", "look")):
        answer = client.post(reverse(name, args=[cast.sitting.slug]), {field: f"{wanted}:pick", "sure": "1"})
        assert answer.status_code in {400, 404}, name
        answer = client.post(reverse(name, args=[cast.sitting.slug]), {field: wanted, "sure": "1", "text": "x"})
        assert answer.status_code in {400, 404}, name


def test_a_range_of_ten_thousand_digits_and_a_kind_with_a_line_break(cast: Cast) -> None:
    frame = proved(cast, 1, cast.look())
    client = cast.client_of(cast.owner)
    address = reverse("proof-picture", args=[frame.pk, "small", frame.proofs.get().pk])
    assert client.get(address, HTTP_RANGE="bytes=" + "9" * 10_000 + "-").status_code == 200
    assert client.get(address.replace("small", "small%0A")).status_code == 404


def test_a_name_with_quotes_and_umlauts_is_one_field_of_its_header(cast: Cast) -> None:
    said = _headers(HttpResponse(), 'a"; x="', "", "no-store")["Content-Disposition"]
    assert said == 'attachment; filename="a\\"; x=\\""'
    said = _headers(HttpResponse(), "Größe.jpg", "", "no-store")["Content-Disposition"]
    assert said == "attachment; filename*=utf-8''Gr%C3%B6%C3%9Fe.jpg"  # RFC 6266, RFC 8187


# --- who may know what ---


def test_the_representation_does_not_learn_the_names_of_looks_kept_from_it(cast: Cast) -> None:
    shown, kept = cast.look("Linen"), cast.look("Lingerie", kept_from_representation=True)
    frame = proved(cast, 1, shown)
    proved(cast, 2, kept)
    pick.set_mark(cast.as_subject, frame.pk, kind="pick")
    page = cast.client_of(cast.representation).get(reverse("lists", args=[cast.sitting.slug]))
    assert b"Lingerie" not in page.content
    assert not any("Lingerie" in words for words in agree.tally(cast.sitting, cast.as_representation).words)
    assert any("Lingerie" in words for words in agree.tally(cast.sitting, cast.as_owner).words)


# --- at the same moment ---


def test_a_mark_that_comes_while_the_list_is_being_closed_is_refused(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    frame = proved(cast, 1, cast.look())
    atomic = pick.transaction.atomic

    def closed_meanwhile() -> object:
        """The list is closed after the mark came in and before its lock: what was read by then must not count."""
        monkeypatch.setattr(pick.transaction, "atomic", atomic)
        agree.close(Sitting.objects.get(pk=cast.sitting.pk), [frame.pk], cast.as_owner)
        return atomic()

    monkeypatch.setattr(pick.transaction, "atomic", closed_meanwhile)
    with pytest.raises(Refused, match="closed"):
        pick.set_mark(cast.as_subject, frame.pk, kind="pick")
    assert not Mark.objects.exists()


def test_pressing_reopen_or_publish_twice_says_so(cast: Cast) -> None:
    frame = proved(cast, 1, cast.look())
    agree.close(cast.sitting, [frame.pk], cast.as_owner)
    stale = Sitting.objects.get(pk=cast.sitting.pk)
    agree.reopen(cast.sitting, cast.as_owner, "another look")
    with pytest.raises(Conflict):
        agree.reopen(stale, cast.as_owner, "another look")
    assert Round.objects.filter(closed_at=None).count() == 1
    fresh = make_cast("fresh", stage="planning")
    proved(fresh, 5, fresh.look())
    Round.objects.filter(sitting=fresh.sitting).delete()
    stale = Sitting.objects.get(pk=fresh.sitting.pk)
    agree.publish(fresh.sitting, fresh.as_owner)
    with pytest.raises(Conflict):
        agree.publish(stale, fresh.as_owner)


def test_a_delivery_asked_for_twice_is_made_once(cast: Cast) -> None:
    from galleries.models import DeliverySize, Final

    Sitting.objects.update(stage="finishing")
    cast.sitting.refresh_from_db()
    frame = proved(cast, 1, cast.look())
    Final.objects.create(sitting=cast.sitting, frame=frame, round=cast.sitting.rounds.get(), state="as_it_is")
    licence = licences.compose(cast.sitting, licences.draft(cast.sitting), cast.as_owner)
    size = DeliverySize.objects.create(
        slug="square", title="Square", use="casting", width=300, height=300, source="t", source_kind="t",
        checked_on=timezone.localdate(),
    )  # fmt: skip
    orders.prepare(cast.sitting, [size], licence, cast.as_owner)
    with pytest.raises(Conflict, match="already"):
        orders.prepare(cast.sitting, [size], licence, cast.as_owner)
    assert cast.sitting.deliveries.count() == 1
    with pytest.raises(BadInput, match="days"):
        orders.prepare(cast.sitting, [size], licence, cast.as_owner, days=10**12)


def test_the_last_two_proofs_made_at_once_still_ask_for_sorting(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    """Both jobs are 'running' while either looks for others: one of them must ask all the same."""
    frames = [cast.frame(n) for n in (1, 2)]
    for frame in frames:
        jobs.claim(jobs.enqueue("proof", frame.pk, cast.sitting, recipe=derived.stamp_recipe()).pk)
    _without_pixels(monkeypatch)
    for frame in frames:
        proof.render(frame.pk)
    assert Job.objects.filter(kind="sort").exists()


def test_the_last_two_versions_made_at_once_still_send_their_letter(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    Sitting.objects.update(stage="finishing")
    first = version(cast, 1)
    second = version(cast, 2, first.final)
    for one in (first, second):
        type(one).objects.filter(pk=one.pk).update(proof_key="")
        jobs.claim(jobs.enqueue("version", one.pk, cast.sitting).pk)
    _without_pixels(monkeypatch)
    for one in (first, second):
        versions.render_version(one.pk)
    assert cast.sitting.letters.filter(kind="retouch").exists()


def _without_pixels(monkeypatch: pytest.MonkeyPatch) -> None:
    """The recipe's answer without its work; what is asked here is who rings for whom."""
    from types import SimpleNamespace

    reading = SimpleNamespace(as_dict=dict, reader_version=1)
    files = {"large": b"l", "middle": b"m", "small": b"s", "plain": b"p", "large_size": (2, 3), "small_size": (1, 2)}
    made = SimpleNamespace(**files, reading=reading)
    monkeypatch.setattr(derived.door, "make_proof", lambda *args, **how: made)
    monkeypatch.setattr(storage, "get", lambda *args: b"")
    monkeypatch.setattr(storage, "at_hand", lambda *args: nullcontext(Path(os.devnull)))
    monkeypatch.setattr(versions, "_changes", lambda *args: (None, None))
    monkeypatch.setattr("galleries.steps.finishing.source_type.read_from_file", lambda *args: None, raising=False)


def test_work_asked_for_again_while_it_runs_is_done_once_more(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    calls: list[int] = []

    def ask(thing: int) -> None:
        calls.append(thing)
        if len(calls) == 1:
            jobs.enqueue("record", thing, cast.sitting, again=True)

    monkeypatch.setitem(jobs.KINDS, "record", ask)
    assert jobs.work(jobs.enqueue("record", 5, cast.sitting).pk) == "waiting"
    assert jobs.run_waiting() == 1
    assert calls == [5, 5]


# --- kept and brought back ---


def test_a_row_of_another_table_is_no_part_of_an_archive() -> None:
    user = {"model": "auth.user", "pk": 77, "fields": {"username": "intruder", "is_superuser": True, "password": "!"}}
    numbers = restore._Numbers({})
    with pytest.raises(BadInput, match=r"auth\.user"):
        restore._put_row(Sitting, user, numbers)
    people = {"5": {"username": "helper", "first_name": "", "last_name": "", "email": "", "is_superuser": True}}
    restore._people({"people": people, "rows": {"Sitting": [{"fields": {"photographer": 5}}]}}, "")
    assert not User.objects.filter(is_superuser=True).exists()


def test_sessions_and_used_links_do_not_pile_up(cast: Cast) -> None:
    from django.contrib.sessions.models import Session

    from galleries.models import SignInLink

    client = cast.client_of(cast.subject)
    invites.sign_in_link(user=cast.owner)
    Session.objects.filter(pk=client.session.session_key).update(expire_date=timezone.now() - timedelta(days=1))
    SignInLink.objects.update(expires_at=timezone.now() - timedelta(days=2))
    upkeep.run()
    assert not Session.objects.exists()
    assert not SignInLink.objects.exists()


def test_the_sites_folder_is_the_owners_alone(tmp_path: Path) -> None:
    home = tmp_path / "site"
    command = [sys.executable, "-c", "import portal.settings"]
    subprocess.run(command, cwd=Path(__file__).parents[1], env={**os.environ, "PORTAL_HOME": str(home)}, check=True)
    assert home.stat().st_mode & 0o077 == 0
