"""Files in an S3-compatible bucket. By itself, since loading the client library takes a good part of a second."""

from __future__ import annotations

from typing import TYPE_CHECKING

from storages.backends.s3 import S3Storage

if TYPE_CHECKING:
    from collections.abc import Iterator


class BucketStore(S3Storage):  # type: ignore[misc]  # django-storages carries no types
    """An S3-compatible bucket."""

    def keys(self, prefix: str) -> Iterator[str]:
        for item in self.bucket.objects.filter(Prefix=prefix.rstrip("/") + "/"):
            yield item.key

    def remove_prefix(self, prefix: str) -> int:
        found = list(self.keys(prefix))
        for key in found:
            self.delete(key)
        return len(found)
