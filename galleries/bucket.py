"""Files in an S3-compatible bucket. By itself, since loading the client library takes a good part of a second."""

from __future__ import annotations

import os
import threading
from datetime import datetime
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from botocore.exceptions import ClientError, HTTPClientError, ResponseStreamingError
from storages.backends.s3 import S3Storage

# What stores answer to an upload that they do not know (any more), and to one in parts where they know none.
NO_UPLOAD, NO_PARTS = {"NoSuchUpload", "NoSuchKey", "404"}, {"NotImplemented", "MethodNotAllowed", "501", "405"}

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping


# Of each process, for lines to the store are no child's. A client may be shared by threads (boto3's guide, "Clients");
# to make one takes 0.2 s of processor time and 10 MB, to make what stands around it for a bucket 3 ms.
_resources: dict[tuple[Any, ...], Any] = {}
_buckets: dict[tuple[Any, ...], Any] = {}
_making = threading.Lock()


def _forked() -> None:
    """Whoever was making one in the parent does not go on here."""
    global _making
    _making = threading.Lock()


os.register_at_fork(after_in_child=_forked)


class BucketStore(S3Storage):  # type: ignore[misc]  # django-storages carries no types
    """An S3-compatible bucket."""

    @property
    def _account(self) -> tuple[Any, ...]:
        return (os.getpid(), self.endpoint_url, self.region_name, self.access_key, self.secret_key, self.client_config)

    @property
    def connection(self) -> Any:
        """A resource for whoever asks, around the one client of this account; nothing is asked of the store."""
        key = self._account
        with _making:
            if key not in _resources:
                self._connections.connection = None  # a parent's
                _resources[key] = super().connection
        shared = _resources[key]
        return type(shared)(client=shared.meta.client)

    @property
    def bucket(self) -> Any:
        key = (*self._account, self.bucket_name)
        if key not in _buckets:
            _buckets[key] = self.connection.Bucket(self.bucket_name)
        return _buckets[key]

    def pieces(self, key: str, start: int, stop: int, size: int) -> Iterator[bytes]:
        """The bytes from `start` up to `stop`, at most `size` at a time, as the store sends them: never all at once.

        A connection that breaks in the middle is taken up again where it broke, as often as it gives anything.

        Raises:
            FileNotFoundError: there is no such file.
        """
        begun = -1
        while start < stop:
            if start == begun:  # nothing came since the last try
                raise ConnectionError(f"The store sends nothing of {key} from byte {start} on.")
            begun = start
            try:
                for piece in self._range(key, start, stop).iter_chunks(size):
                    start += len(piece)
                    yield piece
            except (HTTPClientError, ResponseStreamingError):
                continue

    def _range(self, key: str, start: int, stop: int) -> Any:
        try:
            return self.bucket.Object(key).get(Range=f"bytes={start}-{stop - 1}")["Body"]
        except ClientError as error:
            if error.response["ResponseMetadata"]["HTTPStatusCode"] == 404:
                raise FileNotFoundError(key) from error
            raise

    def signed(self, key: str, method: str | None) -> str:
        """Path and query of the file's address in the store, signed for this method and for minutes: for the proxy
        alone, never for a visitor."""
        return _behind_host(self.url(key, http_method=method))

    # --- a file in parts (S3's multipart upload): nothing of it is a file before all are joined ---

    @property
    def _client(self) -> Any:
        return self.bucket.meta.client

    def begin(self, key: str) -> str:
        """The store's name of an upload in parts; '' where the store takes none."""
        try:
            return str(self._client.create_multipart_upload(Bucket=self.bucket_name, Key=key)["UploadId"])
        except ClientError as error:
            if error.response["Error"]["Code"] in NO_PARTS:
                return ""
            raise

    def parts(self, key: str, upload: str) -> dict[int, tuple[int, str]]:
        """number → (bytes, tag) of each part that is there.

        Raises:
            FileNotFoundError: there is no such upload (any more).
        """
        pages = self._client.get_paginator("list_parts").paginate(Bucket=self.bucket_name, Key=key, UploadId=upload)
        try:
            return {
                part["PartNumber"]: (part["Size"], part["ETag"]) for page in pages for part in page.get("Parts", [])
            }
        except ClientError as error:
            raise self._gone(error, key) from error

    def signed_part(self, key: str, upload: str, number: int, size: int) -> str:
        """Path and query to which one part of this many bytes can be sent for minutes: for the proxy alone."""
        named = {"Bucket": self.bucket_name, "Key": key, "UploadId": upload, "PartNumber": number}
        return _behind_host(
            self._client.generate_presigned_url(
                "upload_part", named | {"ContentLength": size}, ExpiresIn=self.querystring_expire
            )
        )

    def join(self, key: str, upload: str, there: Mapping[int, tuple[int, str]]) -> None:
        """The parts that are there (as `parts` tells them) become the file.

        Raises:
            FileNotFoundError: there is no such upload (any more).
        """
        parts = [{"PartNumber": number, "ETag": tag} for number, (_size, tag) in sorted(there.items())]
        try:
            self._client.complete_multipart_upload(
                Bucket=self.bucket_name, Key=key, UploadId=upload, MultipartUpload={"Parts": parts}
            )
        except ClientError as error:
            raise self._gone(error, key) from error

    def break_off(self, key: str, upload: str) -> None:
        """Let an upload and its parts go; one that is gone is no error."""
        try:
            self._client.abort_multipart_upload(Bucket=self.bucket_name, Key=key, UploadId=upload)
        except ClientError as error:
            self._gone(error, key)

    def unfinished(self, prefix: str) -> Iterator[tuple[str, str, datetime]]:
        """(key, upload, begun) of uploads whose parts were never joined."""
        pages = self._client.get_paginator("list_multipart_uploads").paginate(Bucket=self.bucket_name, Prefix=prefix)
        for page in pages:
            for one in page.get("Uploads", []):
                yield one["Key"], one["UploadId"], one["Initiated"]

    @staticmethod
    def _gone(error: ClientError, key: str) -> FileNotFoundError:
        """Raises `error` itself where it says anything else than that there is no such upload."""
        if error.response["Error"]["Code"] not in NO_UPLOAD:
            raise error
        return FileNotFoundError(key)

    def copy_within(self, key: str, to: str) -> None:
        """The store copies by itself: no byte comes here.

        Raises:
            FileNotFoundError: there is no such file.
        """
        try:
            self._client.copy_object(
                Bucket=self.bucket_name, Key=to, CopySource={"Bucket": self.bucket_name, "Key": key}
            )
        except ClientError as error:
            raise self._gone(error, key) from error

    def keys(self, prefix: str) -> Iterator[str]:
        for item in self.bucket.objects.filter(Prefix=prefix.rstrip("/") + "/"):
            yield item.key

    def remove_prefix(self, prefix: str) -> int:
        keys = list(self.keys(prefix))
        for key in keys:
            self.delete(key)
        for key, upload, _begun in list(self.unfinished(prefix.rstrip("/") + "/")):
            self.break_off(key, upload)
        return len(keys)


def _behind_host(address: str) -> str:
    """Path and query."""
    parts = urlsplit(address)
    return f"{parts.path}?{parts.query}"
