"""STORAGES entries of an S3-compatible store. Every call has an end: a store that hangs holds nobody for long."""

from __future__ import annotations

from functools import cache
from typing import Any

CONNECT_SECONDS, READ_SECONDS, TRIES = 5, 20, 2
LINES = 20  # kept open to the store by one process, for all of its threads
IN_MEMORY = 16_000_000  # bytes of a file that is opened; the rest of a larger one lies on the disk meanwhile


def store(bucket: str, *, endpoint: str | None, key: str | None, secret: str | None, region: str) -> dict[str, Any]:
    """One STORAGES entry."""
    return {
        "BACKEND": "galleries.bucket.BucketStore",
        "OPTIONS": {
            "bucket_name": bucket,
            "endpoint_url": endpoint,
            "access_key": key,
            "secret_key": secret,
            "region_name": region,
            "default_acl": None,
            "file_overwrite": True,
            "querystring_auth": True,
            "querystring_expire": 300,
            "max_memory_size": IN_MEMORY,
            "client_config": _config(),
        },
    }


@cache
def _config() -> Any:
    """The same for every bucket, so that those of one account share a client (`galleries.bucket`)."""
    from botocore.config import Config  # half a second of every command, where files lie in folders

    return Config(
        signature_version="s3v4",
        s3={"addressing_style": "path"},
        connect_timeout=CONNECT_SECONDS,
        read_timeout=READ_SECONDS,
        retries={"total_max_attempts": TRIES, "mode": "standard"},
        max_pool_connections=LINES,
    )
