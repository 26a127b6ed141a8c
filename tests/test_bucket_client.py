"""One client of an account at a store for all threads of a process: each took 0.2 s of processor time and 10 MB, and a
health answer, whose questions have threads of their own, made two."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from django.test import override_settings

from galleries.bucket import BucketStore
from portal import buckets, warm


def bucket(name: str = "originals", owner: str = "ours") -> BucketStore:
    options = buckets.store(name, endpoint="http://127.0.0.1:1", key=owner, secret="a-secret", region="us-east-1")
    return BucketStore(**options["OPTIONS"])


def clients(*stores: BucketStore) -> set[int]:
    """As eight threads at work see them, by each way that the stores go."""

    def seen(_one: int) -> set[int]:
        return {id(one) for store in stores for one in (store.connection.meta.client, store.bucket.meta.client)}

    with ThreadPoolExecutor(8) as pool:
        return set().union(*pool.map(seen, range(16)))


def test_threads_and_both_stores_of_an_account_share_one_client(monkeypatch: pytest.MonkeyPatch) -> None:
    originals, proofs = bucket(), bucket("proofs")
    shared = originals.connection.meta.client
    assert clients(originals, proofs) == {id(shared)}
    assert (originals.bucket.name, proofs.bucket.name) == ("originals", "proofs")
    assert originals.connection is not originals.connection  # what threads may not share is each one's own
    assert clients(bucket(owner="theirs")) != {id(shared)}
    monkeypatch.setattr(os, "getpid", lambda: 1)
    child = clients(originals)
    assert len(child) == 1
    assert child != {id(shared)}  # a child does not speak on its parent's lines


def test_a_web_process_has_it_before_it_is_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    opened: list[Any] = []
    monkeypatch.setattr(BucketStore, "connection", property(opened.append))
    entry = buckets.store("originals", endpoint="http://127.0.0.1:1", key="a-key", secret="a-secret", region="x")
    with override_settings(FILES="s3", STORAGES={"private": entry, "proofs": entry}):
        warm.warm()
    assert [store.bucket_name for store in opened] == ["originals"]
