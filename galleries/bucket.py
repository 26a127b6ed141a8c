"""Files in an S3-compatible bucket. By itself, since loading the client library takes a good part of a second."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from botocore.exceptions import ClientError, HTTPClientError, ResponseStreamingError
from storages.backends.s3 import S3Storage

if TYPE_CHECKING:
    from collections.abc import Iterator


class BucketStore(S3Storage):  # type: ignore[misc]  # django-storages carries no types
    """An S3-compatible bucket."""

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
        parts = urlsplit(self.url(key, http_method=method))
        return f"{parts.path}?{parts.query}"

    def keys(self, prefix: str) -> Iterator[str]:
        for item in self.bucket.objects.filter(Prefix=prefix.rstrip("/") + "/"):
            yield item.key

    def remove_prefix(self, prefix: str) -> int:
        keys = list(self.keys(prefix))
        for key in keys:
            self.delete(key)
        return len(keys)
