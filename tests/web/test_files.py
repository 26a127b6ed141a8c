"""Bytes leave after the permission check only; ranges as RFC 9110, section 14, has them."""

from __future__ import annotations

import io

import pytest
from PIL import Image

from galleries import storage
from galleries.models import Proof, Sitting
from galleries.steps.people import invite as invites
from tests.cast import body_of, make_cast

pytestmark = pytest.mark.django_db


def _jpeg() -> bytes:
    """A real JPEG (too small to carry the tracer's mark), 5,120 bytes long."""
    out = io.BytesIO()
    Image.linear_gradient("L").resize((60, 40)).convert("RGB").save(out, "JPEG")
    return out.getvalue().ljust(5120, b"\0")


BODY = _jpeg()


@pytest.fixture
def cast():
    return make_cast()


@pytest.fixture
def frame(cast):
    frame = cast.frame(1)
    key = storage.put(storage.proofs(), storage.derived_key(cast.sitting.uid, "proof", "a" * 64), BODY)
    storage.put(storage.private(), frame.key, b"the original")
    Proof.objects.create(
        frame=frame, recipe="p1", large_key=key, large_width=10, large_height=10,
        small_key=key, small_width=5, small_height=5,
    )  # fmt: skip
    return frame


def address(frame, kind="large"):
    return f"/files/proof/{frame.pk}/{kind}/{frame.proofs.get().pk}.jpg"


@pytest.mark.parametrize("kind", ["large", "middle", "small"])
def test_no_size_is_shown_to_anybody_else(cast, frame, kind):
    Proof.objects.update(middle_key=frame.proofs.get().large_key)
    assert cast.client_of(cast.subject).get(address(frame, kind)).status_code == 200
    for person in (None, cast.stranger, cast.recipient):
        assert cast.client_of(person).get(address(frame, kind)).status_code == 404


def test_a_size_that_a_proof_has_not_is_missing(cast, frame):
    for kind in ("middle", "original"):  # one from before there was a middle size
        assert cast.client_of(cast.subject).get(address(frame, kind)).status_code == 404


def test_those_who_may_see_it_get_it_with_private_headers(cast, frame):
    for person in (cast.owner, cast.subject, cast.representation):
        response = cast.client_of(person).get(address(frame))
        assert response.status_code == 200
        assert body_of(response) == BODY
        assert response["Cache-Control"] == "private, max-age=31536000, immutable"
        assert response["Content-Type"] == "image/jpeg"
        assert response["X-Content-Type-Options"] == "nosniff"
        assert response["Cross-Origin-Resource-Policy"] == "same-origin"
        assert "noimageindex" in response["X-Robots-Tag"]


def test_everybody_else_is_told_that_there_is_nothing(cast, frame):
    other = make_cast("another")
    for person in (None, cast.stranger, cast.colleague, cast.recipient, other.subject, other.owner):
        response = cast.client_of(person).get(address(frame))
        assert response.status_code == 404
        assert BODY[:50] not in body_of(response)


@pytest.mark.parametrize("change", ["hidden", "look hidden", "planning", "archived", "revoked"])
def test_what_is_taken_away_is_away_at_the_next_request(cast, frame, change):
    client = cast.client_of(cast.subject)
    assert client.get(address(frame)).status_code == 200
    if change == "hidden":
        type(frame).objects.update(hidden=True)
    elif change == "look hidden":
        type(frame).objects.update(look=cast.look(hidden=True))
    elif change == "revoked":
        invites.revoke(cast.subject, cast.as_owner)
    else:
        Sitting.objects.update(stage=change)
    assert client.get(address(frame)).status_code == 404


def test_no_invitee_reaches_an_original_or_an_unstamped_view(cast, frame):
    for person in (None, cast.stranger, cast.subject, cast.representation, cast.recipient):
        client = cast.client_of(person)
        assert client.get(f"/files/original/{frame.pk}").status_code == 404
        assert client.get(f"/files/view/{frame.pk}.jpg").status_code == 404
    response = cast.client_of(cast.owner).get(f"/files/original/{frame.pk}")
    assert body_of(response) == b"the original"
    assert response["Cache-Control"] == "private, no-store"
    assert 'filename="KAL_0001.JPG"' in response["Content-Disposition"]


@pytest.mark.parametrize(
    ("asked", "status", "start", "stop"),
    [
        ("bytes=0-0", 206, 0, 1),
        ("bytes=100-199", 206, 100, 200),
        ("bytes=5000-", 206, 5000, 5120),
        ("bytes=-20", 206, 5100, 5120),
        ("bytes=5119-9999", 206, 5119, 5120),
        ("bytes=5120-", 416, None, None),
        ("bytes=-0", 416, None, None),
        ("bytes=9-3", 416, None, None),
        ("lines=1-2", 200, 0, 5120),
        ("bytes=x-", 200, 0, 5120),
        ("bytes=-", 200, 0, 5120),
    ],
)
def test_ranges(cast, frame, asked, status, start, stop):
    response = cast.client_of(cast.subject).get(address(frame), headers={"Range": asked})
    assert response.status_code == status
    if status == 206:
        assert response["Content-Range"] == f"bytes {start}-{stop - 1}/5120"
        assert int(response["Content-Length"]) == stop - start
    if status == 416:
        assert response["Content-Range"] == "bytes */5120"
    else:
        assert body_of(response) == BODY[start:stop]


def test_a_resumed_fetch_of_another_file_starts_over(cast, frame):
    client = cast.client_of(cast.subject)
    tag = client.get(address(frame))["ETag"]
    same = client.get(address(frame), headers={"Range": "bytes=10-", "If-Range": tag})
    changed = client.get(address(frame), headers={"Range": "bytes=10-", "If-Range": '"other"'})
    assert (same.status_code, changed.status_code) == (206, 200)
    assert body_of(changed) == BODY
    assert client.get(address(frame), headers={"If-None-Match": tag}).status_code == 304


def test_behind_the_proxy_the_bytes_are_left_to_it_after_the_check(cast, frame, settings):
    settings.INTERNAL_REDIRECT = True
    response = cast.client_of(cast.subject).get(address(frame))
    assert response["X-Accel-Redirect"] == f"/internal/proofs/{frame.proofs.get().large_key}"
    assert response.content == b""
    assert "X-Accel-Redirect" not in cast.client_of(None).get(address(frame))
