"""The cache. By itself, so that what needs none does not load the client library."""

from __future__ import annotations

from typing import Any

from django.core.cache.backends.redis import RedisCache
from redis.backoff import NoBackoff
from redis.retry import Retry


class OneTry(RedisCache):
    """A cache that is down must not hold up every page: one try, and on without it."""

    def __init__(self, server: str, params: dict[str, Any]) -> None:
        options = {"retry": Retry(NoBackoff(), 1), **params.get("OPTIONS", {})}
        super().__init__(server, {**params, "OPTIONS": options})
