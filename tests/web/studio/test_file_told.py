"""A file read for the photographer: whole, changed, no picture; deliveries of other people's sittings stay unsaid."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from galleries.steps.delivering import sizes
from galleries.web.studio import file_told
from tests import painted
from tests.cast import Cast, make_cast
from tests.steps.delivering.test_signing import asked, built, bytes_of, ready

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    sizes.load()
    return make_cast()


def read(client: Client, data: bytes, name: str = "turned-up.jpg") -> str:
    answer = client.post(reverse("studio-file"), {"file": SimpleUploadedFile(name, data)})
    assert answer.status_code == 200, answer.content.decode()
    return " ".join(answer.content.decode().split())


def test_a_final_says_where_it_comes_from_and_a_changed_one_is_told(cast: Cast, tmp_path: Path) -> None:
    ready(cast)
    delivery = built(asked(cast))
    (data,) = bytes_of(delivery)
    client = cast.client_of(cast.owner)
    page = read(client, data)
    assert "The file is as it was when it was signed." in page
    assert f"Delivered as {delivery.files.get().name} in delivery 1" in page
    assert "The copyright belongs to" in page
    assert "changed after" not in page
    changed = read(client, data[:-2] + b"\0" + data[-2:])
    assert "This file was changed after it was signed." in changed
    assert "No delivery of yours holds exactly these bytes." in changed
    other = read(cast.client_of(cast.stranger), data)  # of the studio, and of no sitting
    assert "The file is as it was when it was signed." in other
    assert "Delivered as" not in other
    assert cast.sitting.title not in other


def test_a_camera_file_and_no_picture(cast: Cast) -> None:
    client = cast.client_of(cast.owner)
    assert "It carries no content credentials" in read(client, painted.camera_files()[0][1])
    assert "this file is none of them" in read(client, b"no picture at all")
    page = read(client, painted.camera_files()[0][1], "<b>bold</b>.jpg")
    assert "<b>bold" not in page


def test_what_is_too_large_or_missing_is_said_in_the_page(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    client = cast.client_of(cast.owner)
    monkeypatch.setattr(file_told, "MOST_BYTES", 1000)
    for given in ({}, {"file": SimpleUploadedFile("large.jpg", bytes(1001))}):
        answer = client.post(reverse("studio-file"), given)
        assert answer.status_code == 400
        assert "data-kept-form" in answer.content.decode()


def test_it_is_the_studios_page(cast: Cast) -> None:
    at = reverse("studio-file")
    assert cast.client_of(cast.owner).get(at).status_code == 200
    for person in (None, cast.subject, cast.representation, cast.recipient):
        client = cast.client_of(person)
        for answer in (client.get(at), client.post(at, {"file": SimpleUploadedFile("a.jpg", b"x")})):
            assert answer.status_code == 302
            assert answer.headers["Location"].startswith("/sign-in")
    assert cast.client_of(cast.owner).put(at).status_code == 405
