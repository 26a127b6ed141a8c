"""Frames come in: from a folder, the browser or a watched folder. One file, one outcome, nothing stored twice."""

from __future__ import annotations

import hashlib
import os
import re
from collections import deque
from collections.abc import Callable, Container, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

from django.conf import settings
from django.db import IntegrityError, transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from galleries import stages, storage
from galleries.access import Act, Visitor, require
from galleries.errors import BadInput, Refused
from galleries.imaging.contained import door
from galleries.imaging.errors import ImagingError
from galleries.imaging.opening.picture import FrameFacts
from galleries.models import DayFrame, Frame, JournalLine, RawFile, Refusal, Sitting, Verb
from galleries.models.compiled import Compiled, CompiledDelete
from galleries.models.sittings import FrameSet
from galleries.steps import clashes, derived, jobs, scanner
from galleries.steps.ingesting import file_names, incoming, pairs
from galleries.steps.ingesting.incoming import Arrived
from galleries.steps.limits import limits
from galleries.steps.sorting import looks
from galleries.told import Told, following, told
from galleries.words.steps import Code
from galleries.words.told import sentence

CHUNK = 1 << 20
# What a camera's card and a computer put beside pictures; passed over without a word.
NOT_FOR_US = re.compile(r"^(\.|Thumbs\.db$|desktop\.ini$)", re.IGNORECASE)
# How raw files' names end, for pages that say which files to choose: what a file is, its content tells.
RAW = {".dng", ".raw", ".cr2", ".cr3", ".nef", ".arw", ".raf", ".orf", ".rw2", ".pef", ".iiq", ".3fr"}
# Files that stand beside a frame and are no picture for the sheet.
COMPANIONS = {".xmp", ".thm", ".wav", ".mp4", ".mov", ".txt", ".csv", ".ctg", ".dat"}


@dataclass(frozen=True)
class Outcome:
    """What became of one file."""

    name: str
    state: Literal["new", "same", "refused"]
    frame: Frame | None = None
    told: Told | None = None

    @property
    def reason(self) -> str:
        """Why it was refused, or what to know of it, in the reader's language."""
        return sentence(self.told) if self.told else ""


def sha256_of(path: Path) -> str:
    digest = hashlib.sha256()
    with open(path, "rb") as file:
        while chunk := file.read(CHUNK):
            digest.update(chunk)
    return digest.hexdigest()


def frame_number(name: str) -> int | None:
    """The number a camera put at the end of a file's name: 'KAL_0412.JPG' is 412. None where there is none."""
    digits = re.search(r"(\d{1,9})\D*$", name.rsplit(".", 1)[0])
    return int(digits.group(1)) if digits else None


def clean_name(name: str) -> str:
    """The last part of a path, without control characters; what a person will read on the sheet."""
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(character for character in last if character.isprintable())[:200] or "unnamed"


def check_open(sitting: Sitting) -> None:
    """
    Raises:
        Refused: the sitting is archived.
    """
    if not sitting.is_open_to_frames:
        raise Refused(_("“%s” is archived: no frames can be added. Bring it back first.") % sitting.title)


def frames_of(sitting: Sitting) -> FrameSet:
    """The frames among which a file may be already: of a day's cards also those that were put into its sittings."""
    return (pairs.in_day if sitting.is_holding else pairs.in_sitting)(sitting.pk)


def known(sitting: Sitting, digests: Iterable[str]) -> set[str]:
    """Which of these SHA-256 digests the sitting has already."""
    asked = list(digests)
    there = frames_of(sitting)
    beside = RawFile.objects.filter(frame__in=there, sha256__in=asked).values_list("sha256", flat=True)
    return {*there.filter(sha256__in=asked).values_list("sha256", flat=True), *beside}


def add_frame(sitting: Sitting, source: Path | Arrived, name: str, by: Visitor, *, digest: str = "") -> Outcome:
    """Verify one file, store it and list it as a frame; a file that is no good picture is listed with its reason.

    What is kept are the very bytes that were verified: those that arrived, or a copy made while they were hashed.

    `digest` is what the sender says the SHA-256 is; when it differs the transfer went wrong and nothing is kept.

    Raises:
        Refused: the sitting is archived.
        Conflict: the bytes are not those that the sender announced.
    """
    require(by, Act.RUN, sitting, _("Frames are the photographer's to bring."))
    check_open(sitting)
    name = clean_name(name)
    arrived = _brought(source) if isinstance(source, Path) else source
    try:
        incoming.check_whole(arrived, name, digest)
        there = _here(sitting, arrived.sha256)
        if there is not None:
            return _same(there, arrived.sha256, name, by)
        return _keep(sitting, arrived, name, by, _looked_at(arrived.path))
    finally:
        if isinstance(source, Path):
            arrived.let_go()


def _brought(path: Path, likely_here: Container[tuple[str, int]] = ()) -> Arrived:
    """The file with its digest, copied in the same pass; not copied what is likely here already, or too large."""
    size = path.stat().st_size
    if size > settings.MAX_FRAME_BYTES or (clean_name(path.name), size) in likely_here:
        return Arrived(path, sha256_of(path), size)
    return incoming.copied(path)


def _looked_at(path: Path) -> FrameFacts | Told:
    """What a file is, or why it is no good picture. Asks no table, so that several may be looked at side by side."""
    try:
        scanner.check(path)
        return door.verify(path, limits(), seconds=settings.VERIFY_SECONDS)
    except (ImagingError, BadInput) as error:
        return error.told


def _keep(sitting: Sitting, arrived: Arrived, name: str, by: Visitor, facts: FrameFacts | Told) -> Outcome:
    """Store a file that was looked at and list it, or why it is no frame."""
    if isinstance(facts, Told):
        return refuse(sitting, name, arrived.path, facts)
    sha256 = arrived.sha256
    key = storage.original_key(sitting.uid, sha256, facts.format)
    incoming.keep(arrived, key)
    try:
        with transaction.atomic():
            stages.touch(sitting)  # holds its row: of two files of one exposure, the second sees the first
            there = _here(sitting, sha256)
            if there is not None:  # the same bytes came at the same moment
                return _same(there, sha256, name, by)
            row = _row(sha256, key, name, arrived.bytes, facts)
            frame = pairs.other_half(sitting, row)
            if frame is None:
                frame = _add(sitting, row, by)
            else:
                pairs.join(frame, row, by.who)
                if frame.sitting_id != sitting.pk:  # its file is to follow it
                    jobs.enqueue("place", frame.pk, sitting, again=True)
            _forget_refusal(sitting.pk, name)
    except IntegrityError as error:  # perhaps the same bytes came twice at the same moment
        if not clashes.at_once(error):
            raise
        return _same(Frame.objects.get(sitting=sitting, sha256=sha256), sha256, name, by)
    return Outcome(name, "new", frame, colours_told(frame.profile_unread))


def colours_told(profile_unread: str) -> Told | None:
    """That the colours a frame's file names are not used, and why, of the frame's column; None where they are."""
    if not profile_unread:
        return None
    return following((told(Code.READ_AS_SRGB), Told.from_stored(profile_unread)))


_forget_refusal = CompiledDelete(lambda sitting, name: Refusal.objects.filter(sitting=sitting, name=name).order_by())


def _add(sitting: Sitting, row: dict[str, Any], by: Visitor) -> Frame:
    frame = Frame(sitting=sitting, **row)
    if sitting.is_holding:  # no proof: nobody is invited to where it lies
        frame.save()
        DayFrame.objects.create(frame=frame)
        jobs.enqueue("slate", frame.pk, sitting)
    else:
        looks.place_at_once(frame)
        jobs.enqueue("proof", frame.pk, sitting, recipe=derived.stamp_recipe())
    JournalLine.write(sitting, by.who, Verb.FRAME_ADDED, frame.name, sha256=frame.sha256)
    return frame


def _with_file(frames: FrameSet, sha256: str) -> QuerySet[Frame, Any]:
    own, beside = frames.filter(sha256=sha256), frames.filter(raw__sha256=sha256)
    return own.order_by().values_list("pk").union(beside.order_by().values_list("pk"))


# Asked twice for each file that comes in: composed anew they took a third of what an upload takes beside its picture.
_IN_SITTING = Compiled(lambda pk, sha256: _with_file(pairs.in_sitting(pk), sha256), by_keys=True)
_IN_DAY = Compiled(lambda pk, sha256: _with_file(pairs.in_day(pk), sha256))


def _here(sitting: Sitting, sha256: str) -> Frame | None:
    """The frame that has this file, as its own or beside it."""
    ids = (_IN_DAY if sitting.is_holding else _IN_SITTING)(sitting.pk, sha256)
    return Frame.objects.get(pk=ids[0][0]) if ids else None


def _same(frame: Frame, sha256: str, name: str, by: Visitor) -> Outcome:
    return Outcome(name, "same", next(iter(take_names(frame.sitting, {sha256: name}, by)), frame))


def take_names(sitting: Sitting, names: Mapping[str, str], by: Visitor) -> list[Frame]:
    """Frames that are here, seen again: SHA-256 → the name of the file. The camera's own name wins over a copy's,
    since editors' lists, the CSV and the sidecars go by it. Returns the frames that were renamed.

    Raises:
        Refused: not this person's to do, or the sitting is archived.
    """
    require(by, Act.RUN, sitting, _("Frames are the photographer's to bring."))
    check_open(sitting)
    renamed = []
    with transaction.atomic():
        there = frames_of(sitting).filter(sha256__in=list(names)).values("pk")
        for frame in Frame.objects.select_for_update().filter(pk__in=there).order_by("pk"):
            name = clean_name(names[frame.sha256])
            if file_names.wins(name, frame.name):
                JournalLine.write(frame.sitting, by.who, Verb.FRAME_NAMED, name, was=frame.name)
                frame.name, frame.number = name, frame_number(name)
                frame.save(update_fields=["name", "number"])
                renamed.append(frame)
        if renamed:
            stages.touch(sitting)
    return renamed


def _row(digest: str, key: str, name: str, size: int, facts: FrameFacts) -> dict[str, Any]:
    """A frame's values, as the file tells them."""
    return {
        "sha256": digest,
        "key": key,
        "name": name,
        "number": frame_number(name),
        "bytes": size,
        "file_format": facts.format,
        "width": facts.width,
        "height": facts.height,
        "bits": facts.bits,
        "orientation": facts.orientation,
        "profile": facts.profile_name[:120],
        "profile_assumed": facts.profile_assumed,
        "profile_unread": facts.profile_problem.as_text(300) if facts.profile_problem else "",
        "camera": facts.camera[:120],
        "captured_at": _camera_clock(facts.captured_at),
        "shown": facts.shown,
        "sensor_width": facts.sensor_width,
        "sensor_height": facts.sensor_height,
    }


def _camera_clock(at: datetime | None) -> datetime | None:
    """The camera's clock knows no zone: its reading is kept as it stands, under the label UTC."""
    return at.replace(tzinfo=UTC) if at is not None else None


def refuse(sitting: Sitting, name: str, path: Path, why: Told) -> Outcome:
    """List a file that did not become a frame, and why."""
    Refusal.objects.update_or_create(
        sitting=sitting, name=name, bytes=path.stat().st_size, defaults={"reason": why.as_text(500)}
    )
    return Outcome(name, "refused", None, why)


def files_in(folder: Path) -> list[Path]:
    """The files of a card or folder, at any depth, in the order of their names, a raw file after the others of its
    name; companions left out."""
    files = (
        path
        for path in folder.rglob("*")
        if path.is_file()
        and not path.is_symlink()
        and not any(NOT_FOR_US.match(part) for part in path.relative_to(folder).parts)
        and path.suffix.lower() not in COMPANIONS
    )
    return sorted(files, key=lambda path: (path.with_suffix(""), path.suffix.lower() in RAW, path))


def add_folder(
    sitting: Sitting, folder: Path, by: Visitor, *, seen: Callable[[int, int], None] | None = None
) -> Iterator[Outcome]:
    """Ingest every file of a folder, one outcome each; `seen(done, of)` hears of the progress.

    Raises:
        Refused: the sitting is archived.
    """
    require(by, Act.RUN, sitting, _("Frames are the photographer's to bring."))
    check_open(sitting)
    files = files_in(folder)
    for count, (path, arrived, facts) in enumerate(_side_by_side(files, known_here(sitting), names_here(sitting)), 1):
        there = _here(sitting, arrived.sha256)
        name = clean_name(path.name)
        if there is not None:
            yield _same(there, arrived.sha256, name, by)
        else:
            yield _kept(sitting, path, arrived, name, by, facts)
        if seen is not None:
            seen(count, len(files))


def _kept(
    sitting: Sitting, path: Path, arrived: Arrived, name: str, by: Visitor, facts: FrameFacts | Told | None
) -> Outcome:
    """As `_keep`, of a file that was perhaps taken for one that is here, and so not brought."""
    if facts is not None and (arrived.own or isinstance(facts, Told)):
        return _keep(sitting, arrived, name, by, facts)
    return add_frame(sitting, path, name, by)


def names_here(sitting: Sitting) -> set[tuple[str, int]]:
    """Names and lengths of the files that the sitting has: what is on the card with both is likely one of them."""
    beside = RawFile.objects.filter(frame__sitting=sitting).values_list("name", "bytes")
    return {*sitting.frames.values_list("name", "bytes"), *beside}


def known_here(sitting: Sitting) -> set[str]:
    """The SHA-256 digests of all files that the sitting has."""
    beside = RawFile.objects.filter(frame__sitting=sitting).values_list("sha256", flat=True)
    return {*sitting.frames.values_list("sha256", flat=True), *beside}


def _side_by_side(
    files: Sequence[Path], there: set[str], names: set[tuple[str, int]]
) -> Iterator[tuple[Path, Arrived, FrameFacts | Told | None]]:
    """(file, its bytes here, what it is) in the order of the files, looked at on all cores; what it is only of those
    that are not there yet. What was brought lies here until the next is asked for. No further ahead than there are
    cores, so that a broken-off card has cost nothing."""
    cores = len(os.sched_getaffinity(0))

    def look(path: Path) -> tuple[Arrived, FrameFacts | Told | None]:
        arrived = _brought(path, names)
        try:
            return arrived, None if arrived.sha256 in there else _looked_at(arrived.path)
        except BaseException:
            arrived.let_go()
            raise

    def next_of() -> Iterator[tuple[Path, Arrived, FrameFacts | Told | None]]:
        first, looked = ahead.popleft()
        arrived, facts = looked.result()
        try:
            yield first, arrived, facts
        finally:
            arrived.let_go()

    with ThreadPoolExecutor(cores, "look") as pool, door.kept_warm(cores):
        ahead: deque[tuple[Path, Future[tuple[Arrived, FrameFacts | Told | None]]]] = deque()
        try:
            for nth, path in enumerate(files):
                ahead.append((path, pool.submit(look, path)))
                if nth == 0:  # meanwhile, so that the first frame is rung for at once
                    pool.submit(jobs.get_ready)
                if len(ahead) > cores:
                    yield from next_of()
            while ahead:
                yield from next_of()
        finally:
            pool.shutdown(cancel_futures=True)
            for _path, looked in ahead:
                if not looked.cancelled() and looked.exception() is None:
                    looked.result()[0].let_go()


def clear_refusals(sitting: Sitting) -> None:
    """The photographer has read the list."""
    Refusal.objects.filter(sitting=sitting).delete()
