"""Bells for the worker, put into the queue as Celery puts them, but not composed anew each time.

What Celery sends for a piece of work is the same but for an id and the piece's number. It composes it through all its
layers, and makes a client of the queue for each: 0.43 ms of CPU where this takes 0.12. So Celery writes one
message for each time limit, into no queue but this process's memory; the others are that text with their own id and
number, by a client that stays with Celery's own connection.
"""

from __future__ import annotations

import base64
import json
import threading
import uuid
from collections.abc import Iterable
from functools import lru_cache
from typing import Any, NamedTuple
from weakref import WeakKeyDictionary

from portal.celery import app

TASK = "galleries.work"
# Stand for what is a message's own in the text of one.
_ID, _TAG, _BODY = "{id}", "{tag}", "{body}"
_NUMBER = 2_110_000_000
_composing = threading.Lock()  # the memory is one for all threads
_clients: WeakKeyDictionary[Any, Any] = WeakKeyDictionary()


class _Written(NamedTuple):
    """A message's text, and that of its body before it is encoded for the way."""

    text: str
    body: str

    def of(self, number: int) -> str:
        """The message for this piece of work."""
        body = base64.b64encode(self.body.replace(str(_NUMBER), str(number)).encode()).decode()
        text = self.text.replace(str(_NUMBER), str(number)).replace(_ID, str(uuid.uuid4()))
        return text.replace(_TAG, str(uuid.uuid4())).replace(_BODY, body)


@lru_cache(maxsize=64)
def _written(time_limit: int) -> _Written:
    queue = app.conf.task_default_queue
    with _composing, app.connection_for_write("memory://") as line:
        app.send_task(TASK, args=[_NUMBER], task_id=_ID, time_limit=time_limit, connection=line, retry=False)
        message = line.default_channel._get(queue)
    # A worker's own piece may have been in hand: what it rings for is no part of it.
    message["headers"] |= {"root_id": _ID, "parent_id": None}
    message["properties"]["delivery_tag"] = _TAG
    body = base64.b64decode(message["body"]).decode()
    message["body"] = _BODY
    return _Written(json.dumps(message), body)


def ring(pieces: Iterable[tuple[int, int]]) -> None:
    """Tell the worker of each (number of a job, the most seconds that it may take). Raises what the transport raises:
    some may have been told by then."""
    messages = [_written(limit).of(number) for number, limit in pieces]
    with app.producer_pool.acquire(block=True) as producer:
        client = _client(producer.channel)
        for message in messages:
            client.lpush(app.conf.task_default_queue, message)


def _client(channel: Any) -> Any:
    """The channel's client for one command after the other; it takes connections from the channel's own pool."""
    client = _clients.get(channel)
    if client is None:
        with channel.conn_or_acquire() as client:
            _clients[channel] = client
    return client
