"""The unstamped originals of the finals, for a retoucher: file by file, or all as one archive made while it is sent.

Only finals that are on the list and that nobody keeps back, the frame's own file and the raw file beside it. With them
goes a text: what is wanted of each. Whoever fetches something leaves a receipt.
"""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _

from galleries import stages, storage
from galleries.access import Act, Visitor, finals_shown_to, require
from galleries.errors import Missing
from galleries.models import Final, Frame, JournalLine, RawFile, RetoucherReceipt, Sitting, Verb
from galleries.models.sittings import stem_of
from galleries.steps import clashes, stored_zip
from galleries.steps.stored_zip import Member

CHUNK = 1 << 20
NOTES = "notes"  # stands for the text in place of a key of the store


@dataclass(frozen=True)
class Original:
    """One file as the camera wrote it; `name` is the camera's, and has the final's number where two are alike."""

    final: Final
    name: str
    key: str
    bytes: int
    sha256: str

    @property
    def which(self) -> str:
        """'picture' for the frame's own file (which may be a raw file itself), 'raw' for the one beside it."""
        return "picture" if self.key == self.final.frame.key else "raw"


@dataclass(frozen=True)
class Material:
    """All files and the text, as one archive."""

    name: str
    files: Sequence[Original]
    notes_name: str
    notes: bytes = field(repr=False)
    dated: datetime

    @property
    def size(self) -> int:
        return stored_zip.length(self._shapes())

    @property
    def fits(self) -> bool:
        """Is it an archive that can be sent so? A larger one is fetched file by file."""
        return stored_zip.fits(self._shapes())

    @property
    def sha256(self) -> str:
        """Of what the archive is made from: the same files and words give the same archive, byte for byte."""
        parts = [self.dated.isoformat(), hashlib.sha256(self.notes).hexdigest()]
        return hashlib.sha256(
            "\n".join([*parts, *(f"{one.name} {one.sha256}" for one in self.files)]).encode()
        ).hexdigest()

    def _inside(self, name: str) -> str:
        return f"{self.name.removesuffix('.zip')}/{name}"

    def _shapes(self) -> list[tuple[str, int]]:
        files = [(self._inside(one.name), one.bytes) for one in self.files]
        return [(self._inside(self.notes_name), len(self.notes)), *files]

    def pieces(self, first: int, stop: int) -> Iterator[bytes]:
        """The archive's bytes. The files are read once before, for their check sums.

        Raises:
            FileNotFoundError: a file is not in the store.
        """
        members = [Member(self._inside(self.notes_name), NOTES, len(self.notes), zlib.crc32(self.notes))]
        members += [
            Member(self._inside(one.name), one.key, one.bytes, stored_zip.crc32(self._read(one.key, 0, one.bytes)))
            for one in self.files
        ]
        return stored_zip.pieces(stored_zip.layout(members, self.dated), first, stop, self._read)

    def _read(self, key: str, first: int, stop: int) -> Iterator[bytes]:
        if key == NOTES:
            return iter((self.notes[first:stop],))
        return storage.private().pieces(key, first, stop, CHUNK)  # type: ignore[attr-defined,no-any-return]


def finals_for(by: Visitor, sitting: Sitting) -> list[Final]:
    """The finals that this person is to retouch, in the order of the list.

    Raises:
        Refused: not theirs, or not now.
    """
    require(by, Act.SEE_RETOUCHING, sitting)
    finals = finals_shown_to(by, sitting).listed().select_related("sitting", "round", "frame__raw", "frame__look")
    return list(finals.prefetch_related("pinned_notes__invite", "pinned_notes__version", "versions__approvals__invite"))


def files_of(finals: Sequence[Final]) -> list[Original]:
    """Each frame's file, then its raw file; two of one name get the number of their final behind it."""
    files = [(final, one) for final in finals for one in _files(final.frame)]
    names = [one.name.casefold() for _final, one in files]
    return [
        Original(final, _apart(one.name, final) if names.count(one.name.casefold()) > 1 else one.name, one.key,
                 one.bytes, one.sha256)
        for final, one in files
    ]  # fmt: skip


def _files(frame: Frame) -> list[Frame | RawFile]:
    return [frame, *([frame.raw_beside] if frame.raw_beside else [])]


def _apart(name: str, final: Final) -> str:
    stem = stem_of(name)
    return f"{stem}-final{final.pk}{name[len(stem) :]}"


def material(sitting: Sitting, by: Visitor, notes: str) -> Material:
    """All that this person may fetch of the sitting. `notes`: what is wanted, in their language.

    Raises:
        Refused: not theirs to fetch, or not now.
        Missing: there is nothing to fetch, or more than goes into one archive.
    """
    require(by, Act.FETCH_ORIGINALS, sitting)
    finals = finals_for(by, sitting)
    dated = max((one.round.closed_at or one.round.opened_at for one in finals), default=sitting.created_at)
    archive = Material(f"{sitting.slug}-retouch.zip", files_of(finals), "notes.txt", notes.encode(), dated)
    if not archive.files or not archive.fits:
        raise Missing(_("There is nothing to fetch as one archive."))
    return archive


def original(sitting: Sitting, by: Visitor, final_id: int, *, raw: bool) -> Original:
    """One file.

    Raises:
        Refused: not theirs to fetch, or not now.
        Missing: no such final, or it has no such file.
    """
    require(by, Act.FETCH_ORIGINALS, sitting)
    files = [one for one in files_of(finals_for(by, sitting)) if one.final.pk == final_id]
    wanted = files[1:] if raw else files[:1]
    if not wanted:
        raise Missing(_("There is no such file among the finals."))
    return wanted[0]


def record(
    sitting: Sitting, by: Visitor, name: str, sha256: str, size: int, holds: Sequence[str], last_byte: int = 0, *,
    start: bool = True,
) -> RetoucherReceipt:  # fmt: skip
    """Note a fetch up to and with byte number `last_byte`. `start`: this request began at the first byte; a continued
    one counts as the same fetch. Each fetch writes a line in the journal.

    Raises:
        Refused: not theirs to fetch, or not now.
    """
    require(by, Act.SEE_RETOUCHING, sitting)
    of_one = {"sitting": sitting, "invite": by.invite, "who": by.name[:120], "sha256": sha256}
    with transaction.atomic():
        receipts = RetoucherReceipt.objects.filter(**of_one)
        more = {"fetches": F("fetches") + 1} if start else {}
        again = receipts.update(last_at=timezone.now(), **more)
        receipts.filter(last_byte__lt=last_byte).update(last_byte=last_byte)
        if again and not start:
            return receipts.get()
        if not again:
            try:
                with transaction.atomic():
                    RetoucherReceipt.objects.create(
                        **of_one, name=name[:200], bytes=size, holds=list(holds), last_byte=last_byte
                    )
            except IntegrityError as error:  # perhaps two requests of one browser at the same moment
                if not clashes.at_once(error):
                    raise
                return receipts.get()
        stages.touch(sitting)
        JournalLine.write(sitting, by.who, Verb.ORIGINALS_FETCHED, name[:120], files=list(holds), sha256=sha256)
    return receipts.get()
