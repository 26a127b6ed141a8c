"""Frames of a day go into the sittings of its sitters, from there into others, and back.

The row says where a frame is to lie (`DayFrame.target`); the worker copies its files into that sitting's folder, turns
the rows over in one transaction, and removes the files where they were. So a frame and its files are always of one
sitting, whichever moment anything is stopped at, and removing a sitting removes all that is its own.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from galleries import stages, storage
from galleries.access import PROGRAM, Act, Visitor, require
from galleries.errors import BadInput, Conflict
from galleries.models import Day, DayFrame, Frame, Job, JournalLine, Mark, Proof, RawFile, Sitting, Verb
from galleries.models.sittings import FrameSet
from galleries.steps import derived, jobs
from galleries.steps.keeping import inventory

MOST_ACTS = 20  # that can be taken back


def frames_of(day: Day) -> FrameSet:
    """Every frame of the day's cards, wherever it lies now."""
    return Frame.objects.filter(of_day__isnull=False, sitting__in=_sittings(day)).select_related("of_day", "sitting")


def _sittings(day: Day) -> list[int]:
    return [day.holding_id, *day.sitters.values_list("sitting", flat=True)]


def place(day: Day, by: Visitor, places: Mapping[int, int], *, as_frames: bool = False) -> int:
    """Frames (by number) are to lie in these sittings of the day; returns how many are on their way. `as_frames`: one
    of them that was taken for a slate that could not be read is none; a slate that was read stays one.

    Raises:
        Refused: not this person's to do, with the day or with one of the sittings.
        BadInput: a frame or a sitting that is none of the day's.
        Conflict: a frame was shown to somebody already, or its sitting is archived.
    """
    require(by, Act.RUN, day.holding, _("The frames of a day are its photographer's to arrange."))
    with transaction.atomic():
        _lock(day)
        if as_frames:
            unread = DayFrame.objects.filter(
                frame__in=frames_of(day).filter(pk__in=places), sight=DayFrame.Sight.UNREAD
            )
            unread.update(sight=DayFrame.Sight.NONE)
        before = _place(day, by, places)
        if not before:
            return 0
        day.acts = [*day.acts, before][-MOST_ACTS:]
        day.save(update_fields=["acts"])
        JournalLine.write(day.holding, by.who, Verb.FRAMES_PLACED, f"{len(before)} frames")
    return len(before)


def take_back(day: Day, by: Visitor) -> int:
    """Undo the latest `place`; again, the one before. Returns how many frames go back.

    Raises:
        Refused, Conflict: as `place`; or there is nothing to take back.
    """
    require(by, Act.RUN, day.holding, _("The frames of a day are its photographer's to arrange."))
    with transaction.atomic():
        _lock(day)
        if not day.acts:
            raise Conflict(_("There is nothing to take back."))
        *day.acts, last = day.acts
        there = set(frames_of(day).filter(pk__in=[pk for pk, _where in last]).values_list("pk", flat=True))
        alive = set(_sittings(day))
        before = _place(day, by, {pk: where for pk, where in last if pk in there and where in alive})
        day.save(update_fields=["acts"])
        JournalLine.write(day.holding, by.who, Verb.PLACING_UNDONE, f"{len(before)} frames")
    return len(before)


def _lock(day: Day) -> None:
    stages.touch(day.holding)  # holds its row: two people at one day come one after the other
    day.refresh_from_db(fields=["acts"])


def _place(day: Day, by: Visitor, places: Mapping[int, int]) -> list[tuple[int, int]]:
    """(frame, where it was to lie) of every frame whose place changes. The caller holds the day."""
    sittings = Sitting.objects.in_bulk(_sittings(day))
    frames = {frame.pk: frame for frame in frames_of(day) if frame.pk in places}
    if set(places) - set(frames) or set(places.values()) - set(sittings):
        raise BadInput(_("There is no such frame or sitter in this day."))
    moving = {pk: to for pk, to in places.items() if wanted(frames[pk]) != to}
    touched = {*(moving.values()), *(frames[pk].sitting_id for pk in moving)}
    for pk in sorted(touched):
        require(by, Act.RUN, sittings[pk], _("The frames of a day are its photographer's to arrange."))
    _check(sittings, frames, moving)
    before = [(pk, wanted(frames[pk])) for pk in sorted(moving)]
    for pk, to in moving.items():
        DayFrame.objects.filter(frame=pk).update(target=to)
        jobs.enqueue("place", pk, day.holding, again=True)
    return before


def wanted(frame: Frame) -> int:
    """The sitting it is to lie in."""
    target: int | None = frame.of_day.target_id
    return target or frame.sitting_id


def _check(sittings: Mapping[int, Sitting], frames: Mapping[int, Frame], moving: Mapping[int, int]) -> None:
    """
    Raises:
        Conflict: somebody invited has seen the frame where it lies, or it goes where no frames are taken in.
    """
    shown = [pk for pk in moving if not _is_unseen(sittings[frames[pk].sitting_id])]
    if shown:
        raise Conflict(
            _("“%s” was shown to the people invited already: its frames stay. Hide one at the desk instead.")
            % sittings[frames[shown[0]].sitting_id].title
        )
    if Mark.objects.filter(frame__in=list(moving)).exists():
        raise Conflict(_("Somebody has marked one of these frames already: they stay."))
    for pk in sorted(set(moving.values())):
        if not sittings[pk].is_open_to_frames:
            raise Conflict(_("“%s” is archived: no frames can be added. Bring it back first.") % sittings[pk].title)


def _is_unseen(sitting: Sitting) -> bool:
    return sitting.stage == Sitting.Stage.PLANNING and sitting.published_at is None


def waits_for_frames(day: Day) -> set[int]:
    """The sittings that frames are to leave or to come into."""
    ways = [(frame.sitting_id, wanted(frame)) for frame in frames_of(day)]
    return {sitting for here, there in ways if here != there for sitting in (here, there)}


def on_their_way(day: Day) -> int:
    """How many frames are to lie elsewhere than they do."""
    return sum(wanted(frame) != frame.sitting_id for frame in frames_of(day))


# --- the worker's part ----------------------------------------------------------------------------------


def move(frame_id: int) -> None:
    """The job: bring a frame and its files where they are to lie. Again is harmless, and goes on where it was.

    Raises:
        Conflict: its sitting was shown meanwhile; it stays.
    """
    frame = _loaded(frame_id)
    if frame is None:
        return
    target = frame.of_day.target or frame.sitting
    if not _is_home(frame, target):
        _copy(frame, target)
        _turn_over(frame, target)
    frame = _loaded(frame_id)
    if frame is not None:
        _clear(frame)


def _loaded(frame_id: int) -> Frame | None:
    frames = Frame.objects.select_related("sitting", "of_day__target", "raw")
    return frames.filter(pk=frame_id, of_day__isnull=False).first()


def _files(frame: Frame) -> list[Frame | RawFile]:
    return [frame, *([frame.raw_beside] if frame.raw_beside else [])]


def _is_home(frame: Frame, sitting: Sitting) -> bool:
    home = f"{storage.home(sitting.uid)}/"
    return frame.sitting_id == sitting.pk and all(one.key.startswith(home) for one in _files(frame))


def _copy(frame: Frame, target: Sitting) -> None:
    store = storage.private()
    for one in _files(frame):
        with storage.at_hand(store, one.key) as path, open(path, "rb") as file:
            storage.put(store, storage.original_key(target.uid, one.sha256, one.file_format), file)


def _turn_over(frame: Frame, target: Sitting) -> None:
    """The rows, in one transaction. What was read of its looks and runs is the old sitting's."""
    source = frame.sitting
    with transaction.atomic():
        for sitting in sorted({source, target}, key=lambda one: one.pk):
            stages.touch(sitting)
        row = Frame.objects.select_for_update(of=("self",)).get(pk=frame.pk)
        kept = DayFrame.objects.get(frame=frame)
        if row.sitting_id != source.pk or (kept.target_id or row.sitting_id) != target.pk:
            jobs.enqueue("place", frame.pk, source, again=True)  # somebody wants it elsewhere by now
            return
        goes = source.pk != target.pk
        if goes and not _is_unseen(Sitting.objects.get(pk=source.pk)):
            raise Conflict(_("“%s” was shown to the people invited already: its frames stay.") % source.title)
        if goes and target.frames.filter(sha256=frame.sha256).exists():
            DayFrame.objects.filter(pk=kept.pk).update(target=None)  # it was brought there by itself: this one stays
            return
        left = _what_it_leaves(frame, source if goes else None)
        DayFrame.objects.filter(pk=kept.pk).update(left=[*kept.left, *left])
        for one in _files(frame):
            key = storage.original_key(target.uid, one.sha256, one.file_format)
            type(one)._default_manager.filter(pk=one.pk).update(key=key)
        if goes:
            _give(row, source, target, hidden=kept.is_slate)


def _what_it_leaves(frame: Frame, source: Sitting | None) -> list[str]:
    """Its files where it lies now, and the pictures made of it there when it goes to another sitting."""
    places = [f"{inventory.PRIVATE}:{one.key}" for one in _files(frame)]
    if source is None:
        return places
    sides = (derived.DESK_SIDE, derived.VIEW_SIDE)
    places += [f"{inventory.PRIVATE}:{derived.view_place(source, frame.sha256, side).key}" for side in sides]
    for keys in Proof.objects.filter(frame=frame).values_list("large_key", "middle_key", "small_key"):
        places += [f"{inventory.PROOFS}:{key}" for key in keys if key]
    return places


def _give(frame: Frame, source: Sitting, target: Sitting, *, hidden: bool) -> None:
    """A slate goes along with its sitter's frames, hidden: it bears their name, and is removed when they are."""
    Proof.objects.filter(frame=frame).delete()
    Frame.objects.filter(pk=frame.pk).update(
        sitting=target, look=None, placed_by_hand=False, run=None, run_place=0, hidden=hidden, suggested=False,
        kept_by_subject=False,
    )  # fmt: skip
    Job.objects.filter(kind__in=["proof", "slate", "develop"], thing=frame.pk).update(sitting=target)
    if not target.is_holding:
        jobs.enqueue("proof", frame.pk, target, recipe=derived.stamp_recipe(), again=True)
    JournalLine.write(target, PROGRAM.who, Verb.FRAME_CAME, frame.name, sha256=frame.sha256)
    JournalLine.write(source, PROGRAM.who, Verb.FRAME_LEFT, frame.name, sha256=frame.sha256)


def _clear(frame: Frame) -> None:
    """Remove what the frame left. Whoever is stopped here leaves the rest to the next try: the row still names it."""
    left: Sequence[str] = frame.of_day.left
    own = {f"{inventory.PRIVATE}:{one.key}" for one in _files(frame)}
    for place_left in left:
        where, _colon, key = place_left.partition(":")
        if place_left in own:
            continue  # it came back meanwhile
        if Proof.objects.filter(Q(large_key=key) | Q(middle_key=key) | Q(small_key=key)).exists():
            continue
        inventory.store(where).delete(key)
    if left:
        DayFrame.objects.filter(frame=frame, left=left).update(left=[])


def counts(day: Day) -> Counter[int]:
    """sitting → frames that lie there or are to."""
    return Counter(wanted(frame) for frame in frames_of(day))


def unsorted(day: Day) -> int:
    """How many frames, slates left out, are to lie in no sitter's sitting yet."""
    frames = frames_of(day).exclude(of_day__sight__in=[DayFrame.Sight.READ, DayFrame.Sight.UNREAD])
    return sum(wanted(frame) == day.holding_id for frame in frames)


def not_looked_at(day: Day) -> int:
    """How many frames nobody has looked at for a slate yet."""
    return frames_of(day).filter(of_day__sight="").count()
