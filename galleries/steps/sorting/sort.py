"""The program's proposals for a sitting that has been read: looks, and runs of near-identical frames.

It proposes and never decides: a frame that a person placed stays where it is, a look that a person named stays,
nothing is hidden. A proposed look carries its reason until the photographer accepts or changes it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from django.db import transaction
from django.utils.translation import gettext as _

from galleries import stages
from galleries.access import PROGRAM
from galleries.models import Frame, JournalLine, Look, Sitting, Verb
from galleries.sorting.cast import AB, Cast, casts
from galleries.sorting.eyes import usual
from galleries.sorting.frames import FrameNumbers
from galleries.sorting.looks import LookProposal, propose_looks
from galleries.sorting.runs import find_runs, rank_key
from galleries.steps.sorting.looks import next_position
from galleries.told import Told, following, told
from galleries.words.steps import Code

REASON_LENGTH = 1000


def numbers(frame: Frame) -> FrameNumbers:
    """A frame as the arithmetic of sorting sees it."""
    captured = frame.captured_at.replace(tzinfo=None) if frame.captured_at else None
    return FrameNumbers.from_reading(
        str(frame.pk), frame.read, captured_at=captured, camera=frame.camera, sequence=frame.number
    )


def proposal(sitting: Sitting) -> LookProposal:
    """What the program would say of this sitting's looks now; nothing is stored."""
    return propose_looks([numbers(frame) for frame in sitting.frames.all()])


def sort_sitting(sitting_id: int) -> None:
    """The job: propose looks and stack runs from what has been read so far. Again is harmless."""
    sitting = Sitting.objects.filter(pk=sitting_id).first()
    if sitting is None or not sitting.is_open_to_frames:
        return
    while True:
        read_before = sitting.frames.exclude(reading=None).count()
        place(sitting)
        stack(sitting)
        # Frames that were read meanwhile asked for this job while it was running, and were not heard.
        if sitting.frames.exclude(reading=None).count() == read_before:
            return


def place(sitting: Sitting) -> int:
    """Put the frames nobody has placed into the proposed looks; returns how many changed their look."""
    suggestion = proposal(sitting)
    frames = {str(frame.pk): frame for frame in sitting.frames.select_related("look")}
    reasons = {boundary.first: following(boundary.reasons) for boundary in suggestion.boundaries}
    moved = 0
    with transaction.atomic():
        used: list[int] = []
        lies_in: dict[int | None, Look] = {}
        for at, group in enumerate(suggestion.looks):
            members = [frames[pk] for pk in group.frames]
            if any(frame.placed_by_hand and frame.look_id for frame in members):
                moves = _beside_hands(members)
                used += _own_looks(members)
            else:
                came_back_to = lies_in.get(group.like)
                look = lies_in[at] = came_back_to or _look_for(sitting, members, used) or _new_look(sitting)
                moves = {look.pk: [frame.pk for frame in members if not frame.placed_by_hand]}
                used.append(look.pk)
                why = reasons.get(group.frames[0], told(Code.FIRST_FRAMES))
                if came_back_to is None:
                    _say_why(look, members, why, group.monochrome)
            for pk, free in moves.items():
                rows = Frame.objects.filter(pk__in=free, placed_by_hand=False).exclude(look=pk)
                moved += rows.update(look=pk)
        _drop_empty(sitting)
        _put_in_order(sitting, list(dict.fromkeys(used)))
        if moved:
            stages.touch(sitting)
            JournalLine.write(sitting, PROGRAM.who, Verb.LOOKS_PROPOSED, str(len(suggestion.looks)), moved=moved)
    return moved


def _new_look(sitting: Sitting) -> Look:
    return Look.objects.create(
        sitting=sitting,
        title=_("Look %d") % (sitting.looks.count() + 1),
        position=next_position(sitting),
        made_by_program=True,
    )


def _look_for(sitting: Sitting, members: Sequence[Frame], used: Sequence[int]) -> Look | None:
    """Where a group that no hand has touched belongs: where most of it lies, else a planned look that is empty."""
    lying = Counter(frame.look_id for frame in members if frame.look_id and frame.look_id not in used)
    for pk, count in lying.most_common():
        # More frames laid there by hand than by the program: the look is another group's, this one came near in time.
        if Frame.objects.filter(look=pk, placed_by_hand=True).count() < count:
            return Look.objects.get(pk=pk)
    return sitting.looks.filter(frames=None).exclude(pk__in=used).order_by("position", "pk").first()


def _own_looks(members: Sequence[Frame]) -> list[int]:
    """The looks of a group that a person has touched. One to which only single frames of it were moved is not."""
    lying = Counter(frame.look_id for frame in members if frame.look_id)
    free = {frame.look_id for frame in members if not frame.placed_by_hand}
    return [pk for pk, count in lying.items() if pk in free or 2 * count >= Frame.objects.filter(look=pk).count()]


def _beside_hands(members: Sequence[Frame]) -> dict[int, list[int]]:
    """Look → frames to put there, in a group where a person has placed some.

    What lies before the first placed frame stays: 'a new look starts here' was said of that frame. What comes after
    one goes with it, unless the placed ones are the exceptions among more frames that lie elsewhere.
    """
    first = next(at for at, frame in enumerate(members) if frame.placed_by_hand and frame.look_id)
    hands = Counter(frame.look_id for frame in members if frame.placed_by_hand)
    leading = Counter(frame.look_id for frame in members[:first] if frame.look_id)
    near = leading.most_common(1)[0][0] if leading else members[first].look_id
    places: dict[int, list[int]] = {}
    for at, frame in enumerate(members):
        if frame.placed_by_hand:
            near = frame.look_id or near
            continue
        others = sum(not one.placed_by_hand and one.look_id not in {None, near} for one in members[first:])
        if near is not None and (frame.look_id is None or (at > first and hands[near] > others)):
            places.setdefault(near, []).append(frame.pk)
    return places


def _say_why(look: Look, members: Sequence[Frame], reason: Told, monochrome: bool) -> None:
    if any(frame.placed_by_hand for frame in members) or look.frames.filter(placed_by_hand=True).exists():
        return  # a person has been here
    fields = {"proposed_reason": reason.as_text(REASON_LENGTH)}
    if monochrome:
        fields["treatment"] = Look.Treatment.MONOCHROME
    Look.objects.filter(pk=look.pk).update(**fields)


def _drop_empty(sitting: Sitting) -> None:
    """A look that only the program made goes when a better proposal leaves it empty."""
    sitting.looks.filter(frames=None, made_by_program=True).delete()


def _put_in_order(sitting: Sitting, order: Sequence[int]) -> None:
    """Number looks that only the program made in the order of the sitting; with a person's look among them, not."""
    if sitting.looks.filter(made_by_program=False).exists():
        return
    for position, pk in enumerate(order):
        Look.objects.filter(pk=pk).update(position=position, title=_("Look %d") % (position + 1))


def stack(sitting: Sitting) -> None:
    """Number the runs of near-identical neighbours within each look, best frame first. No frame is hidden."""
    by_look: dict[int | None, list[FrameNumbers]] = {}
    for frame in sitting.frames.order_by("captured_at", "name", "pk"):
        by_look.setdefault(frame.look_id, []).append(numbers(frame))
    rows: list[Frame] = []
    number = 0
    for frames in by_look.values():
        here = usual(frames)
        known = {frame.id: frame for frame in frames}
        for run in find_runs(frames):
            number += 1
            ranked = sorted(run.frames, key=lambda pk: rank_key(known[pk], here), reverse=True)
            alone = len(ranked) == 1
            rows += [Frame(pk=int(pk), run=None if alone else number, run_place=at) for at, pk in enumerate(ranked)]
    with transaction.atomic():
        Frame.objects.bulk_update(rows, ["run", "run_place"], batch_size=200)
        stages.touch(sitting)


def skin_casts(frames: Iterable[tuple[int, int | None, AB | None]]) -> dict[int, Cast]:
    """How far the skin of each frame lies from its look's median, by frame; of (frame, look, a* and b* of its skin).
    A frame without a look has none."""
    by_look: dict[int, dict[str, AB | None]] = {}
    for frame, look, ab in frames:
        if look is not None:
            by_look.setdefault(look, {})[str(frame)] = ab
    return {int(pk): cast for skin in by_look.values() for pk, cast in casts(skin).items()}
