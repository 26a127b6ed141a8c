"""XMP sidecars: an editor's rating and keywords beside a camera file, in the open standard (ISO 16684-1)."""

from __future__ import annotations

from collections.abc import Sequence

from galleries.imaging.rights.fields import to_xmp
from galleries.imaging.rights.record import RightsRecord
from galleries.imaging.rights.xmp import Bag, Value, packet


def sidecar(rating: int | None, keywords: Sequence[str] = (), record: RightsRecord | None = None) -> str:
    """The text of a sidecar file.

    `rating` is -1 (rejected) to 5, as ISO 16684-1 defines xmp:Rating; None writes none. Raises ValueError.
    """
    if rating is not None and not -1 <= rating <= 5:
        raise ValueError(f"A rating is -1 to 5, not {rating}.")
    properties: dict[str, Value] = {}
    if rating is not None:
        properties["xmp:Rating"] = str(rating)
    words = list(dict.fromkeys(word.strip() for word in keywords if word.strip()))
    if words:
        properties["dc:subject"] = Bag(words)
    if record:
        tidy = record.tidied()
        tidy.validate()
        properties.update(to_xmp(tidy))
    return packet(properties)
