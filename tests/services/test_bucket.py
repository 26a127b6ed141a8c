"""The grown way's stores: an S3-compatible server over its real protocol, through the class the site uses.

The server checks signatures (AWS Signature Version 4); that it does is tested here too, since a server that
accepts everything would make the rest of these tests worthless.
"""

from __future__ import annotations

import hashlib
import tracemalloc
import urllib.error
import urllib.request
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit, urlunsplit
from uuid import UUID

import boto3
import pytest
from botocore.auth import S3SigV4QueryAuth
from botocore.awsrequest import AWSRequest
from botocore.config import Config
from botocore.credentials import Credentials
from botocore.exceptions import ClientError, ResponseStreamingError
from django.core.files.base import ContentFile

from galleries import storage
from galleries.bucket import BucketStore
from galleries.management import moving_files
from portal import buckets
from tests.servers import Server, bucket_server

pytestmark = pytest.mark.services
KEY, SECRET = "portal-test-key", "portal-test-secret-1234567890"
SITTING, OTHER = UUID(int=1), UUID(int=2)


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    with bucket_server(tmp_path_factory.mktemp("s3"), KEY, SECRET) as server:
        client(server).create_bucket(Bucket="proofs")
        yield server


def client(server: Server, secret: str = SECRET) -> Any:
    return boto3.client(
        "s3",
        endpoint_url=server.address,
        aws_access_key_id=KEY,
        aws_secret_access_key=secret,
        region_name="us-east-1",
        config=Config(s3={"addressing_style": "path"}, retries={"max_attempts": 1}),
    )


def bucket(server: Server, secret: str = SECRET, **more: Any) -> BucketStore:
    """With the options of the settings' own store."""
    options = buckets.store("proofs", endpoint=server.address, key=KEY, secret=secret, region="us-east-1")["OPTIONS"]
    return BucketStore(**{**options, **more})


def fetch(address: str) -> tuple[int, bytes]:
    try:
        with urllib.request.urlopen(address, timeout=20) as answer:
            return answer.status, answer.read()
    except urllib.error.HTTPError as error:
        return error.code, error.read()


@pytest.fixture
def picture(server: Server) -> Iterator[tuple[BucketStore, str, bytes]]:
    data = bytes(range(256)) * 40
    store = bucket(server)
    key = storage.derived_key(SITTING, "proof", hashlib.sha256(data).hexdigest())
    storage.put(store, key, data)
    yield store, key, data
    store.remove_prefix("sittings")


def test_what_is_put_is_got_and_listed_and_sized(picture: tuple[BucketStore, str, bytes]) -> None:
    store, key, data = picture
    assert store.exists(key)
    assert storage.get(store, key) == data
    assert store.size(key) == len(data)
    assert list(store.keys("sittings")) == [key]


def test_the_same_key_again_is_the_same_file(picture: tuple[BucketStore, str, bytes]) -> None:
    store, key, data = picture
    assert storage.put(store, key, data) == key
    assert list(store.keys("sittings")) == [key]


def test_a_file_in_parts_arrives_whole(server: Server) -> None:
    """Larger than one part of a multipart upload (8 MiB), from a file object."""
    data = b"".join(hashlib.sha256(str(place).encode()).digest() for place in range(300_000))
    store = bucket(server)
    key = storage.derived_key(SITTING, "archive", hashlib.sha256(data).hexdigest(), "zip")
    storage.put(store, key, ContentFile(data))
    assert hashlib.sha256(storage.get(store, key)).hexdigest() in key
    store.remove_prefix("sittings")


def test_a_part_of_a_file_can_be_read(picture: tuple[BucketStore, str, bytes]) -> None:
    store, key, data = picture
    with store.open(key, "rb") as file:
        file.seek(1000)
        assert file.read(24) == data[1000:1024]


@pytest.fixture(scope="module")
def large(server: Server) -> tuple[BucketStore, str, bytes]:
    """24 MB in a store."""
    data = b"".join(hashlib.sha256(str(place).encode()).digest() for place in range(750_000))
    store = bucket(server)
    storage.put(store, "large.zip", ContentFile(data))  # not among the sittings, which other tests remove
    return store, "large.zip", data


def test_a_large_file_passes_in_pieces_and_never_whole(large: tuple[BucketStore, str, bytes]) -> None:
    store, key, data = large
    digest, longest = hashlib.sha256(), 0
    tracemalloc.start()
    for piece in store.pieces(key, 0, len(data), 1 << 18):
        digest.update(piece)
        longest = max(longest, len(piece))
    _now, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert digest.digest() == hashlib.sha256(data).digest()
    assert longest <= 1 << 18
    assert most < 4_000_000, f"{most} bytes at once"


def test_of_a_part_only_that_part_is_asked_of_the_store(large: tuple[BucketStore, str, bytes]) -> None:
    store, key, data = large
    sent: list[int] = []
    events = store.connection.meta.client.meta.events

    def told(parsed: dict[str, Any], **_more: object) -> None:
        sent.append(parsed["ContentLength"])

    events.register("after-call.s3.GetObject", told)
    try:
        assert b"".join(store.pieces(key, 20_000_000, 20_000_100, 1 << 18)) == data[20_000_000:20_000_100]
    finally:
        events.unregister("after-call.s3.GetObject", told)
    assert sent == [100]


def test_a_connection_that_breaks_is_taken_up_where_it_broke(
    large: tuple[BucketStore, str, bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    store, key, data = large
    asked: list[int] = []
    whole = BucketStore._range

    class Breaking:
        def __init__(self, body: Any) -> None:
            self.body = body

        def iter_chunks(self, size: int) -> Iterator[bytes]:
            yield self.body.read(size)
            raise ResponseStreamingError(error="the line is cut")

    def cut(self: BucketStore, key: str, start: int, stop: int) -> Any:
        asked.append(start)
        body = whole(self, key, start, stop)
        return Breaking(body) if len(asked) < 4 else body

    monkeypatch.setattr(BucketStore, "_range", cut)
    assert b"".join(store.pieces(key, 5, 2_000_000, 100_000)) == data[5:2_000_000]
    assert asked == [5, 100_005, 200_005, 300_005]


def test_a_store_that_sends_nothing_more_ends_it(
    large: tuple[BucketStore, str, bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    store, key, _data = large

    class Silent:
        def iter_chunks(self, _size: int) -> Iterator[bytes]:
            raise ResponseStreamingError(error="nothing comes")

    monkeypatch.setattr(BucketStore, "_range", lambda *_args: Silent())
    with pytest.raises(ConnectionError, match="from byte 7 on"):
        list(store.pieces(key, 7, 100, 10))


def test_pieces_of_what_is_not_there(large: tuple[BucketStore, str, bytes]) -> None:
    with pytest.raises(FileNotFoundError):
        next(large[0].pieces("sittings/none", 0, 10, 10))


def test_removing_a_sitting_leaves_the_next_one_alone(picture: tuple[BucketStore, str, bytes]) -> None:
    store, key, data = picture
    other = storage.derived_key(OTHER, "proof", hashlib.sha256(data).hexdigest())
    storage.put(store, other, data)
    assert store.remove_prefix(storage.home(SITTING)) == 1
    assert not store.exists(key)
    assert list(store.keys("sittings")) == [other]


def test_files_go_to_a_bucket_and_back(picture: tuple[BucketStore, str, bytes], tmp_path: Path) -> None:
    store, key, data = picture
    folder, back = storage.FolderStore(tmp_path / "folder"), storage.FolderStore(tmp_path / "back")
    other = storage.derived_key(OTHER, "proof", hashlib.sha256(b"another").hexdigest())
    storage.put(folder, other, b"another")
    there = moving_files.move({"proofs": (folder, store)})
    assert (there.copied, there.strangers) == (1, [f"proofs/{key}"])
    assert moving_files.move({"proofs": (store, back)}).copied == 2
    assert (storage.get(back, key), storage.get(back, other)) == (data, b"another")


def test_a_signed_address_works_and_an_unsigned_one_does_not(picture: tuple[BucketStore, str, bytes]) -> None:
    store, key, data = picture
    signed = store.url(key)
    assert fetch(signed) == (200, data)
    status, body = fetch(urlunsplit(urlsplit(signed)._replace(query="")))
    assert status == 403
    assert data[:64] not in body


def test_a_tampered_signature_is_refused(picture: tuple[BucketStore, str, bytes]) -> None:
    store, key, data = picture
    parts = urlsplit(store.url(key))
    query = {name: values[0] for name, values in parse_qs(parts.query).items()}
    last = query["X-Amz-Signature"][-1]
    for change in (
        {"X-Amz-Signature": query["X-Amz-Signature"][:-1] + ("0" if last != "0" else "1")},
        {"X-Amz-Expires": "604800"},
    ):
        status, body = fetch(urlunsplit(parts._replace(query=urlencode({**query, **change}))))
        assert status == 403
        assert data[:64] not in body


def test_a_signature_for_one_file_opens_no_other(picture: tuple[BucketStore, str, bytes]) -> None:
    store, key, data = picture
    other = storage.derived_key(OTHER, "proof", hashlib.sha256(data).hexdigest())
    storage.put(store, other, data)
    parts = urlsplit(store.url(key))
    status, body = fetch(urlunsplit(parts._replace(path=f"/proofs/{other}")))
    assert status == 403
    assert data[:64] not in body


def test_an_expired_signature_is_refused(
    server: Server, picture: tuple[BucketStore, str, bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Signed ten minutes ago for five: made with botocore's own signer and an older clock."""
    _store, key, data = picture
    import botocore.auth

    then = datetime.now(UTC) - timedelta(minutes=10)
    monkeypatch.setattr(botocore.auth, "get_current_datetime", lambda *args, **kwargs: then.replace(tzinfo=None))
    request = AWSRequest("GET", f"{server.address}/proofs/{key}")
    S3SigV4QueryAuth(Credentials(KEY, SECRET), "s3", "us-east-1", expires=300).add_auth(request)
    assert parse_qs(urlsplit(request.url).query)["X-Amz-Date"] == [then.strftime("%Y%m%dT%H%M%SZ")]
    status, body = fetch(request.url)
    assert status == 403
    assert data[:64] not in body


def test_a_wrong_secret_reads_and_writes_nothing(server: Server, picture: tuple[BucketStore, str, bytes]) -> None:
    _store, key, _data = picture
    thief = bucket(server, secret="portal-wrong-secret-000000000")
    with pytest.raises(ClientError, match=r"403|SignatureDoesNotMatch"):
        storage.get(thief, key)
    with pytest.raises(ClientError, match=r"403|SignatureDoesNotMatch"):
        thief.save("sittings/x/proof/aa/thief.jpg", ContentFile(b"thief"))
    assert list(bucket(server).keys("sittings")) == [key]
