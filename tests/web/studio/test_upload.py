"""Frames from the browser, seen from the server: known digests, one file a request, refusals, limits, broken bodies."""

from __future__ import annotations

import hashlib
import io
import json
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from django.conf import settings as django_settings
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from PIL import Image

from galleries.errors import Conflict
from galleries.models import Frame, Refusal, Sitting
from galleries.steps.ingesting import incoming
from tests.cast import Cast, make_cast
from tests.imaging.core_pictures import exif, painted, saved

pytestmark = pytest.mark.django_db


def jpeg(shade: int = 100) -> bytes:
    out = io.BytesIO()
    Image.effect_noise((96, 128), shade).convert("RGB").save(out, "JPEG")
    return out.getvalue()


def taken_at(second: int) -> bytes:
    return saved(painted(96 + second), exif=exif(taken=f"2026:03:02 12:00:{second:02d}"))


def put(client: Client, cast: Cast, data: bytes, name: str = "KAL_0001.JPG", digest: str | None = None) -> Any:
    headers = {"X-File-Name": quote(name), "Accept": "application/json"}
    if digest is not None:
        headers["X-File-Sha256"] = digest
    at = reverse("studio-upload-file", args=[cast.sitting.slug])
    return client.put(at, data, content_type="application/octet-stream", headers=headers)


def leftovers() -> list[Path]:
    return list(Path(django_settings.INCOMING_DIR).glob("*"))


def test_a_file_becomes_a_frame_and_the_same_bytes_stay_one(cast: Cast, client: Client) -> None:
    data = jpeg()
    digest = hashlib.sha256(data).hexdigest()
    first = put(client, cast, data, digest=digest)
    assert (first.status_code, first.json()["state"]) == (201, "new")
    again = put(client, cast, data, name="copy of it.jpg")
    assert (again.status_code, again.json()["state"], again.json()["stored_as"]) == (200, "same", "KAL_0001.JPG")
    assert Frame.objects.get().sha256 == digest
    assert not leftovers()


def test_a_frame_that_comes_in_takes_few_statements_however_many_are_there(cast: Cast, client: Client) -> None:
    """Session, account, its row, sitting; twice whether it is here; the sitting's row held; other file of the exposure,
    neighbours before and after; frame, stamp, job, journal; refusals of its name."""
    for number in range(1, 4):
        put(client, cast, taken_at(number), name=f"KAL_{number:04d}.JPG")
    with CaptureQueriesContext(connection) as seen:
        answer = put(client, cast, taken_at(9), name="KAL_0009.JPG")
    assert answer.status_code == 201
    assert len(set(Frame.objects.values_list("look", flat=True))) == 1
    assert len([one for one in seen if "SAVEPOINT" not in one["sql"]]) <= 15


def test_known_digests_need_not_be_sent(cast: Cast, client: Client) -> None:
    data = jpeg()
    digest = hashlib.sha256(data).hexdigest()
    put(client, cast, data)
    at = reverse("studio-upload-known", args=[cast.sitting.slug])
    asked = {"digests": [digest.upper(), "0" * 64]}
    answer = client.post(at, asked, content_type="application/json")
    assert answer.json() == {"known": [digest]}
    for bad in ({"digests": ["x"]}, {"digests": "x"}, {"digests": ["0" * 64] * 2001}, []):
        assert client.post(at, json.dumps(bad), content_type="application/json").status_code == 400
    assert client.post(at, b"{", content_type="application/json").status_code == 400


def test_a_digest_of_another_sitting_is_not_known_here(cast: Cast, client: Client) -> None:
    data = jpeg()
    put(client, cast, data)
    other = make_cast("other-sitting")
    at = reverse("studio-upload-known", args=[other.sitting.slug])
    asked = {"digests": [hashlib.sha256(data).hexdigest()]}
    answer = other.client_of(other.owner).post(at, asked, content_type="application/json")
    assert answer.json() == {"known": []}


@pytest.mark.parametrize(
    ("data", "words"),
    [(b"%PDF-1.4 hello", "picture"), (jpeg()[:-900], ""), (b"GIF89a" + b"\0" * 40, "")],
    ids=["a paper named as a picture", "truncated", "another format"],
)
def test_what_is_no_good_picture_is_listed_with_its_reason(cast: Cast, client: Client, data: bytes, words: str) -> None:
    answer = put(client, cast, data)
    assert (answer.status_code, answer.json()["state"]) == (200, "refused")
    assert words in answer.json()["reason"]
    assert Refusal.objects.get().why == answer.json()["reason"]
    assert not Frame.objects.exists()
    listed = client.get(reverse("studio-refusals", args=[cast.sitting.slug])).json()
    assert [row["name"] for row in listed["refused"]] == ["KAL_0001.JPG"]
    client.post(reverse("studio-refusals-clear", args=[cast.sitting.slug]))
    assert not Refusal.objects.exists()


def test_bytes_damaged_on_the_way_are_asked_for_again(cast: Cast, client: Client) -> None:
    answer = put(client, cast, jpeg(), digest=hashlib.sha256(jpeg(7)).hexdigest())
    assert answer.status_code == 409
    assert "Send it again" in answer.json()["error"]
    assert not Frame.objects.exists()
    assert not leftovers()


def test_a_name_from_elsewhere_is_only_a_name(cast: Cast, client: Client) -> None:
    put(client, cast, jpeg(), name="../../etc/öffnung\n0007.jpg")
    assert Frame.objects.get().name == "öffnung0007.jpg"
    assert put(client, cast, jpeg(3), name="").status_code == 400
    assert put(client, cast, jpeg(3), digest="nonsense").status_code == 400


def test_a_body_over_the_limit_is_turned_away(cast: Cast, client: Client, settings: Any) -> None:
    settings.MAX_FRAME_BYTES = 500
    answer = put(client, cast, jpeg())
    assert (answer.status_code, answer.json()["state"]) == (413, "refused")
    assert not leftovers()


def test_a_body_longer_than_it_said_is_cut_off_while_it_streams(settings: Any, tmp_path: Path) -> None:
    settings.MAX_FRAME_BYTES, settings.INCOMING_DIR = 3 * incoming.CHUNK, tmp_path
    asked = 0

    def endless(count: int) -> bytes:  # a sender that never stops
        nonlocal asked
        asked += count
        return b"x" * count

    with pytest.raises(incoming.TooMuch), incoming.arriving(endless, 10 * incoming.CHUNK):
        pass
    assert asked == 0  # announced too large: not a byte is read
    settings.MAX_FRAME_BYTES = 2**62
    with incoming.arriving(endless, 4 * incoming.CHUNK) as arrived:
        assert (arrived.bytes, arrived.path.stat().st_size) == (4 * incoming.CHUNK, 4 * incoming.CHUNK)
    assert asked == 4 * incoming.CHUNK  # no byte beyond what was announced
    settings.MAX_FRAME_BYTES = 3 * incoming.CHUNK
    with pytest.raises(incoming.TooMuch):
        incoming._take(endless, 2**40, tmp_path / "lying.part")  # the count holds where an announcement does not
    assert asked <= 8 * incoming.CHUNK


def test_a_connection_that_ends_early_leaves_nothing(tmp_path: Path, settings: Any) -> None:
    settings.INCOMING_DIR = tmp_path
    data = jpeg()
    cut = incoming.arriving(io.BytesIO(data[:100]).read, len(data))
    with pytest.raises(Conflict, match=f"100 of {len(data)} bytes"), cut:
        pass
    assert not list(tmp_path.iterdir())


def test_an_empty_body_is_no_file(cast: Cast, client: Client) -> None:
    assert put(client, cast, b"").status_code == 400


def test_an_archived_sitting_takes_no_frames_and_says_so(cast: Cast, client: Client) -> None:
    Sitting.objects.filter(pk=cast.sitting.pk).update(stage=Sitting.Stage.ARCHIVED)
    answer = put(client, cast, jpeg())
    assert answer.status_code == 403
    assert "archived" in answer.json()["error"]
    at = reverse("studio-upload-known", args=[cast.sitting.slug])
    assert client.post(at, {"digests": []}, content_type="application/json").status_code == 403
    page = client.get(reverse("studio-upload", args=[cast.sitting.slug])).content.decode()
    assert "is archived: no frames can be added" in page
    assert "uploader" not in page


def test_a_form_of_another_site_cannot_send(cast: Cast) -> None:
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(cast.owner)
    answer = put(strict, cast, jpeg())
    assert answer.status_code == 403
    assert not Frame.objects.exists()


def test_what_a_killed_process_left_is_swept_and_fresh_files_are_not(tmp_path: Path, settings: Any) -> None:
    import os

    settings.INCOMING_DIR = tmp_path
    old, fresh, other = tmp_path / "1-a.part", tmp_path / "2-b.part", tmp_path / "keep.txt"
    for path in (old, fresh, other):
        path.write_bytes(b"x")
    os.utime(old, (1, 1))
    os.utime(other, (1, 1))
    assert incoming.sweep() == 1
    assert sorted(tmp_path.iterdir()) == [fresh, other]


@pytest.mark.django_db(transaction=True)
def test_a_line_cut_in_the_middle_of_a_body_leaves_nothing_and_the_next_try_works(cast: Cast, live_server: Any) -> None:
    """Over a real socket: half the body, then silence for ever."""
    import socket
    import time
    from urllib.parse import urlsplit

    data, client = jpeg(), cast.client_of(cast.owner)
    session = client.cookies[django_settings.SESSION_COOKIE_NAME].value
    token = "a" * 32
    where = urlsplit(live_server.url)
    head = [
        f"PUT {reverse('studio-upload-file', args=[cast.sitting.slug])} HTTP/1.1",
        f"Host: {where.netloc}",
        f"Cookie: {django_settings.SESSION_COOKIE_NAME}={session}; {django_settings.CSRF_COOKIE_NAME}={token}",
        f"X-CSRFToken: {token}",
        "X-File-Name: KAL_0001.JPG",
        f"Content-Length: {len(data)}",
    ]
    with socket.create_connection((where.hostname, where.port)) as line:
        line.sendall("\r\n".join([*head, "", ""]).encode() + data[: len(data) // 2])
        until = time.monotonic() + 10
        while not leftovers() and time.monotonic() < until:
            time.sleep(0.02)
        assert leftovers()  # it is on its way in
    until = time.monotonic() + 10
    while leftovers() and time.monotonic() < until:
        time.sleep(0.02)
    assert not leftovers()
    assert not Frame.objects.exists()
    assert put(client, cast, data).status_code == 201


def test_the_names_on_the_card_come_with_the_question_what_is_here(cast: Cast) -> None:
    """The browser does not send again what is here; so it says under which name it has it."""
    client = cast.client_of(cast.owner)
    frame = cast.frame(1, name="copy of KAL_0412.JPG", sha256="a" * 64)
    at = reverse("studio-upload-known", args=[cast.sitting.slug])

    def ask(**body: object) -> Any:
        return client.post(at, {"digests": ["a" * 64, "b" * 64], **body}, content_type="application/json")

    assert ask(names={"a" * 64: "KAL_0412.JPG", "c" * 64: "KAL_0001.JPG"}).json() == {"known": ["a" * 64]}
    frame.refresh_from_db()
    assert (frame.name, frame.number) == ("KAL_0412.JPG", 412)
    for odd in ([], "x", {"a" * 64: 7}, {"a" * 64: None}):
        assert ask(names=odd).status_code == 400
    assert ask().status_code == 200  # a page from before this release asks without names
