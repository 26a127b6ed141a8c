"""The files of a delivery for one use as one archive, made while it is sent and kept nowhere."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from galleries import storage
from galleries.access import Act, Visitor, files_shown_to, require
from galleries.errors import Missing
from galleries.models import DeliveredFile, Delivery, Invite
from galleries.steps import stored_zip
from galleries.steps.delivering import groups
from galleries.steps.stored_zip import Member

CHUNK = 1 << 20


@dataclass(frozen=True)
class Bundle:
    """The files of one delivery that are for one use, as one person may have them; `name` is the archive's."""

    delivery: Delivery
    use: str
    folder: str
    files: Sequence[DeliveredFile]

    @property
    def name(self) -> str:
        return f"{self.delivery.archive_name.removesuffix('.zip')}_{self.folder}.zip"

    @property
    def size(self) -> int:
        return stored_zip.length(self._shapes())

    @property
    def fits(self) -> bool:
        """Is it an archive that can be sent so? A larger one is fetched file by file, or with everything."""
        return stored_zip.fits(self._shapes())

    @property
    def sha256(self) -> str:
        """Of what the archive is made from: the same files give the same archive, byte for byte."""
        parts = [self.delivery.created_at.isoformat(), *(f"{one.name} {one.sha256}" for one in self.files)]
        return hashlib.sha256("\n".join(parts).encode()).hexdigest()

    def _shapes(self) -> list[tuple[str, int]]:
        return [(self._inside(one), one.bytes) for one in self.files]

    def _inside(self, file: DeliveredFile) -> str:
        return f"{self.name.removesuffix('.zip')}/{file.name}"

    def pieces(self, first: int, stop: int) -> Iterator[bytes]:
        """The archive's bytes. The files are read once before, for their check sums.

        Raises:
            FileNotFoundError: a file is not in the store.
        """

        def read(key: str, start: int, end: int) -> Iterator[bytes]:
            return storage.private().pieces(key, start, end, CHUNK)  # type: ignore[attr-defined,no-any-return]

        members = [
            Member(self._inside(one), one.key, one.bytes, stored_zip.crc32(read(one.key, 0, one.bytes)))
            for one in self.files
        ]
        parts = stored_zip.layout(members, self.delivery.created_at)
        return stored_zip.pieces(parts, first, stop, read)


def bundles(delivery: Delivery, files: Iterable[DeliveredFile]) -> list[Bundle]:
    """These files by use, in the order of `groups`; uses without a file are left out."""
    return [Bundle(delivery, group.use, group.folder, group.items) for group in groups.of_files(delivery, files)]


def bundle(delivery: Delivery, use: str, by: Visitor) -> Bundle:
    """What this person may fetch for one use.

    Raises:
        Refused: the delivery is not theirs to fetch.
        Missing: nothing of it is shown to them, or more than goes into one archive.
    """
    require(by, Act.FETCH, delivery, _("This delivery is not yours to fetch, or not any more."))
    shown = bundles(delivery, files_shown_to(by, delivery).order_by("name"))
    one = next((one for one in shown if one.use == use and one.fits), None)
    if one is None:
        raise Missing(_("There is nothing for this use in the delivery."))
    return one


def length_of(delivery: Delivery, name: str, invite: Invite | None) -> int | None:
    """How long the archive of this name is as this person gets it; None when it is none of the delivery's uses."""
    files = files_shown_to(Visitor(invite=invite), delivery) if invite is not None else delivery.files.all()
    return next((one.size for one in bundles(delivery, files.order_by("name")) if one.name == name), None)
