"""What a killed worker had put into the store and did not come to name.

A file comes before its row. One that is signed is not the same bytes a second time, so that the work that goes on
stores it under another key, and nothing would ever name the first.
"""

from __future__ import annotations

from datetime import datetime

from galleries import storage
from galleries.models import DeliveredFile, Delivery

KIND = "final"  # the folder of delivered pictures among a sitting's files


def clear(delivery: Delivery, before: datetime) -> int:
    """Remove delivered pictures of the sitting that no row names and that are older than `before`, when this work
    began; how many. None while another delivery of the sitting is being made: it may be about to name its own."""
    sitting = delivery.sitting
    if sitting.deliveries.being_made().exclude(pk=delivery.pk).exists():
        return 0
    store, gone = storage.private(), 0
    keys = list(store.keys(f"{storage.home(sitting.uid)}/{KIND}"))  # type: ignore[attr-defined]
    named = set(DeliveredFile.objects.filter(delivery__sitting=sitting).values_list("key", flat=True))
    for key in keys:
        if key not in named and store.get_modified_time(key) < before:
            store.delete(key)
            gone += 1
    return gone
