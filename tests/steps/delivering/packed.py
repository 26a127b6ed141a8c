"""The archive of a delivery whose files are all there, packed once more."""

from __future__ import annotations

from galleries.models import Delivery
from galleries.steps.delivering import package


def pack(delivery: Delivery) -> package.Package:
    files = list(delivery.files.all())
    with package.begun(delivery, [file.name for file in files]) as archive:
        for file in files:
            archive.add(file)
        return archive.finish()
