"""Bells in the queue are the messages that Celery itself would put there."""

from __future__ import annotations

import base64
import json
import uuid
from collections.abc import Iterator
from typing import Any

import pytest

from portal import bells
from portal.celery import app
from tests.servers import Server

QUEUE = app.conf.task_default_queue


@pytest.fixture
def _empty_queue(queue: Server) -> Iterator[None]:
    app.control.purge()
    yield
    app.control.purge()


def taken() -> list[dict[str, Any]]:
    """What lies in the queue, the first first, as it lies there; taken out."""
    messages = []
    with app.connection_for_write() as line, line.default_channel.conn_or_acquire() as client:
        while (text := client.rpop(QUEUE)) is not None:
            messages.append(json.loads(text))
    return messages


def ids_of(message: dict[str, Any]) -> tuple[str, ...]:
    """What is a message's own, taken out of it; the first and the last."""
    headers, properties = message["headers"], message["properties"]
    first = headers.pop("id")
    assert (headers.pop("root_id"), properties.pop("correlation_id")) == (first, first)
    return first, properties.pop("delivery_tag")


@pytest.mark.usefixtures("_empty_queue")
@pytest.mark.parametrize(("number", "limit"), [(17, 300), (9_223_372_036_854_775_807, 3600), (1, 300)])
def test_a_bell_is_the_message_that_celery_sends(number: int, limit: int) -> None:
    app.send_task(bells.TASK, args=[number], retry=False, time_limit=limit)
    bells.ring([(number, limit)])
    of_celery, ours = taken()
    ids = [*ids_of(of_celery), *ids_of(ours)]
    assert ours == of_celery
    assert len({uuid.UUID(one) for one in ids}) == 4


@pytest.mark.usefixtures("_empty_queue")
def test_bells_say_what_celerys_published_protocol_asks_for() -> None:
    """Celery's documentation, "Message Protocol", version 2: body, headers and properties of a task's message."""
    bells.ring([(5, 300), (6, 900)])
    for message, (number, limit) in zip(taken(), [(5, 300), (6, 900)], strict=True):
        assert json.loads(base64.b64decode(message["body"]))[:2] == [[number], {}]
        assert (message["content-type"], message["content-encoding"]) == ("application/json", "utf-8")
        assert message["headers"]["lang"] == "py"
        assert message["headers"]["task"] == "galleries.work"
        assert message["headers"]["timelimit"] == [limit, None]
        assert message["headers"]["id"] == message["properties"]["correlation_id"]


@pytest.mark.usefixtures("_empty_queue")
def test_what_a_worker_rings_for_is_no_part_of_the_piece_in_hand() -> None:
    bells._written.cache_clear()
    work = app.tasks[bells.TASK]
    work.push_request(id="in-hand", root_id="in-hand", called_directly=False)
    try:
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(type(app), "current_worker_task", work)
            bells.ring([(3, 300)])
    finally:
        work.pop_request()
        bells._written.cache_clear()
    (message,) = taken()
    assert message["headers"]["parent_id"] is None
    assert message["headers"]["root_id"] == message["headers"]["id"] != "in-hand"


@pytest.mark.usefixtures("_empty_queue")
def test_the_same_client_rings_again_and_a_queue_that_is_away_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    with app.producer_pool.acquire(block=True) as producer:
        channel = producer.channel
        assert bells._client(channel) is bells._client(channel)
    bells.ring([(1, 300)])
    assert len(taken()) == 1
    with app.connection_for_write(app.conf.broker_write_url.replace("queue.sock", "nowhere.sock")) as away:
        monkeypatch.setattr(bells, "_client", lambda _channel: away.default_channel.client)
        with pytest.raises(Exception, match=r"nowhere\.sock"):
            bells.ring([(1, 300)])
