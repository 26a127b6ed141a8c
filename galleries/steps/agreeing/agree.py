"""From two people's marks to one closed list."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from django.db import transaction
from django.db.models import Max
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from galleries import stages
from galleries.access import Act, Visitor, finals_shown_to, frames_shown_to, looks_shown_to, require
from galleries.errors import BadInput, Conflict, Refused
from galleries.models import Final, Frame, Invite, Look, Mark, Round, Sitting, Standing, Verb
from galleries.models.marks import MarkSet
from galleries.models.sittings import LookSet, stem_of
from galleries.papers import table
from galleries.sorting import sides
from galleries.steps.agreeing import extras, marked, objection, rounds, statements
from galleries.steps.agreeing.marked import MarkedFrame
from galleries.steps.people import letters

Kind = Mark.Kind
# As plain texts: members of an enumeration take ten times as long to be looked up by, or compared.
_PICK, _SUBJECT, _REPRESENTATION = Kind.PICK.value, Invite.Role.SUBJECT.value, Invite.Role.REPRESENTATION.value
_NOTHING: dict[str, str] = {}


@dataclass(frozen=True)
class Line:
    """One frame with what either side says of it."""

    frame: MarkedFrame
    subject: str
    representation: str
    notes: tuple[tuple[str, str], ...] = ()
    for_studio: tuple[tuple[str, str], ...] = ()  # notes that nobody but the studio reads
    place_subject: int | None = None
    place_representation: int | None = None

    @property
    def standing(self) -> str:
        """agreed, subject (only the subject picks it), representation, or '' (nobody does)."""
        by_subject, by_rep = self.subject == _PICK, self.representation == _PICK
        if by_subject and by_rep:
            return "agreed"
        return "subject" if by_subject else "representation" if by_rep else ""


@dataclass(frozen=True)
class Tally:
    """Both lists side by side, and what they cover."""

    allowance: int
    lines: tuple[Line, ...]
    words: tuple[str, ...] = field(default=())

    def of(self, standing: str) -> list[Line]:
        return [line for line in self.lines if line.standing == standing]

    @property
    def agreed(self) -> list[Line]:
        return self.of("agreed")


def tally(sitting: Sitting, by: Visitor) -> Tally:
    """Every frame that carries a mark or note of the subject or the representation, as this person may see it."""
    require(by, Act.COMPARE_LISTS, sitting)
    marks = Mark.objects.filter(frame__sitting=sitting).of_sides()
    frames = marked.frames(frames_shown_to(by, sitting), sitting)
    by_side, notes, places = marks.by_side(), _notes(marks.noted_openly()), _places(marks, sitting, by)
    for_studio = _notes(marks.noted().filter(note_for_studio=True)) if by.user is not None else {}
    lines = []
    for pk, frame in frames.items():
        if pk not in by_side and pk not in notes and pk not in for_studio:
            continue
        kinds = by_side.get(pk, _NOTHING)
        lines.append(
            Line(
                frame,
                kinds.get(_SUBJECT, ""),
                kinds.get(_REPRESENTATION, ""),
                tuple(notes.get(pk, ())),
                tuple(for_studio.get(pk, ())),
                places.get((pk, _SUBJECT)),
                places.get((pk, _REPRESENTATION)),
            )
        )
    ordered = tuple(sorted(lines, key=lambda line: (_look_place(line.frame.look), line.frame.label)))
    words = [*coverage(sitting, ordered, looks_shown_to(by, sitting)), *(_kept_back(ordered) if by.user else ())]
    return Tally(sitting.allowance, ordered, tuple(words))


def _kept_back(lines: Sequence[Line]) -> list[str]:
    """For the photographer only: picks with which the list cannot be closed."""
    return [_why_kept(line.frame) for line in lines if line.standing and line.frame.is_kept_back]


def _why_kept(frame: Frame | MarkedFrame) -> str:
    """For the photographer only: whose word keeps the frame off the list, and what can be done."""
    if frame.kept_by_subject or (frame.look is not None and frame.look.kept_by_subject):
        words = _(
            "The subject keeps frame %s from the representation. They let it be seen on their own page; until then it"
            " cannot be on the list."
        )
    else:
        words = _(
            "You keep the look of frame %s from the representation. Show the look, or leave the frame off the list."
        )
    return words % frame.label


def _notes(noted: MarkSet) -> dict[int, list[tuple[str, str]]]:
    """frame → (who, note), in the order they were marked."""
    notes: dict[int, list[tuple[str, str]]] = {}
    rows = noted.order_by("acted_at").values_list("frame_id", "invite__name", "note")
    for frame, who, note in rows:
        notes.setdefault(frame, []).append((who, note))
    return notes


def _places(marks: MarkSet, sitting: Sitting, by: Visitor) -> dict[tuple[int, str], int | None]:
    """(frame, role) → where that side ranks it among the frames shown, as `sides.place` has it. Counted without a gap:
    one would tell of a frame that is kept from whoever asks."""
    ranked: Counter[int] = Counter()
    at: dict[tuple[int, int], int] = {}
    standings = Standing.objects.filter(frame__in=frames_shown_to(by, sitting)).order_by("place")
    for voice, frame in standings.values_list("invite_id", "frame_id"):
        ranked[voice] += 1
        at[voice, frame] = ranked[voice]
    voices: dict[tuple[int, str], list[tuple[str, int | None]]] = {}
    for frame, role, kind, voice in marks.values_list("frame_id", "invite__role", "kind", "invite_id") if at else ():
        voices.setdefault((frame, role), []).append((kind, at.get((voice, frame))))
    return {key: sides.place(row) for key, row in voices.items()}


def _look_place(look: Look | None) -> int:
    return look.position if look is not None else 10_000


def coverage(sitting: Sitting, lines: Sequence[Line], shown: LookSet) -> list[str]:
    """What the picks do not cover of the looks this person may know of, in words; never a reason to stop."""
    looks, purposes, kinds = _uncovered([line for line in lines if line.standing], shown)
    words = [_("No pick of either side in “%s”.") % " · ".join(looks)] if looks else []
    words += [_("No pick for %s among them.") % purpose for purpose in purposes]
    words += [_("No look for “%s” among the picks.") % kind for kind in kinds]
    agreed = sum(line.standing == "agreed" for line in lines)
    if agreed > sitting.allowance:
        over = agreed - sitting.allowance
        words.append(
            ngettext(
                "%(n)d agreed frame more than the %(allowance)d included.",
                "%(n)d agreed frames more than the %(allowance)d included.",
                over,
            )
            % {"n": over, "allowance": sitting.allowance}
        )
    return words


def not_on_list(tally: Tally, frame_ids: Iterable[int], sitting: Sitting, by: Visitor) -> list[str]:
    """What a list that is about to be closed leaves out, in words; it is said and never stops anybody."""
    require(by, Act.COMPARE_LISTS, sitting)
    wanted = set(frame_ids)
    chosen = [line for line in tally.lines if line.frame.pk in wanted]
    looks, purposes, kinds = _uncovered(chosen, looks_shown_to(by, sitting))
    words = [_("Nothing of “%s” is on the list.") % " · ".join(looks)] if looks else []
    return words + [_("Nothing for %s is on the list.") % purpose for purpose in (*purposes, *kinds)]


def still_marking(sitting: Sitting) -> list[Invite]:
    """Whose marks are counted and who has not said that they are through; said before the closing, never a bar."""
    return [one for one in sitting.invites.still_marking().order_by("pk") if one.holds()]


def _uncovered(lines: Sequence[Line], shown: LookSet) -> tuple[list[str], list[str], list[str]]:
    """Titles of looks, purposes, and kinds of castings ('theatrical, commercial' are two) that no line stands for."""
    there = list(shown.unhidden().filter(frames__isnull=False).distinct())
    within = {line.frame.look_id for line in lines}
    covered = [look for look in there if look.pk in within]
    purposes = {look.purpose for look in there} - {look.purpose for look in covered}
    spoken = {kind.casefold() for look in covered for kind in _kinds(look)}
    kinds = {kind.casefold(): kind for look in there for kind in _kinds(look)}
    return (
        [look.title for look in there if look.pk not in within],
        [str(purpose.label) for purpose in Look.Purpose if purpose in purposes],
        [kind for folded, kind in kinds.items() if folded not in spoken],
    )


def _kinds(look: Look) -> list[str]:
    return [kind.strip() for kind in look.casting_kind.split(",") if kind.strip()]


def close(sitting: Sitting, frame_ids: Iterable[int], by: Visitor, seen: str | None = None) -> list[Final]:
    """Close the list with exactly these frames, in this order. More than the allowance is allowed, and said; what that
    costs is written down in the same transaction. `seen`: the token of the quote this person saw (`extras.Quote`).

    Raises:
        Refused: not this person's to close, or not now; or, to the photographer, a frame that is kept from the
            representation. (To the representation such a frame does not exist.)
        BadInput: no frames, or one that is hidden or not of this sitting.
        PriceChanged: there is something to pay, and not what this person saw.
        Conflict: somebody closed the list at the same moment.
    """
    require(by, Act.CLOSE_LIST, sitting, _("The list is closed already, or closing it is not yours."))
    order = list(dict.fromkeys(frame_ids))
    if not order:
        raise BadInput(_("Choose at least one frame before closing the list."))
    with transaction.atomic():
        # Locked, so that nothing is kept back between the question and the closing.
        locked = Sitting.objects.select_for_update(no_key=True).get(pk=sitting.pk)
        frames = _wanted(sitting, order, by)
        quoted = extras.quote(locked)
        if locked.is_picking:  # else it was closed meanwhile, which is said below
            extras.check_seen(quoted, len(order), seen)
        until = objection.time_for(sitting, by.invite)
        closed = Round.objects.filter(sitting=sitting, closed_at=None).update(
            closed_at=timezone.now(), closed_by=by.name, closed_by_invite=by.invite, closed_by_user=by.user,
            objection_until=until,
        )  # fmt: skip
        if not closed:
            raise Conflict(_("Somebody closed the list at the same moment. Load the page again."))
        current = sitting.rounds.latest("number")
        sitting.finals.exclude(frame_id__in=order).update(on_list=False)
        finals = []
        for position, pk in enumerate(order):
            final, _new = Final.objects.update_or_create(
                sitting=sitting,
                frame=frames[pk],
                defaults={"round": current, "position": position, "on_list": True},
            )
            finals.append(final)
        sitting.second_opinions.unended().update(ended_at=timezone.now())
        stages.advance(
            sitting, Sitting.Stage.FINISHING, by, verb=Verb.LIST_CLOSED, frames=[frames[pk].name for pk in order],
            **({"objection_until": until.isoformat()} if until else {}),
        )  # fmt: skip
        statements.issue(locked, current, finals, quoted, by.who)
        # To the same people whoever closed it: all who see finals, and the photographer.
        letters.notify(sitting, "closed", rounds.of_the_sheet(sitting), about=f"round-{current.number}")
        letters.notify(sitting, "work", rounds.retouchers(sitting), about=f"round-{current.number}")
        letters.notify_photographer(sitting, "closed", about=f"round-{current.number}")
    return finals


def _wanted(sitting: Sitting, order: Sequence[int], by: Visitor) -> dict[int, Frame]:
    """
    Raises:
        BadInput: one of the frames is hidden or not of this sitting, as far as this person knows.
        Refused: one is kept from the representation; only the photographer comes to hear this.
    """
    shown = frames_shown_to(by, sitting).unhidden().filter(pk__in=order).select_related("look")
    frames = {frame.pk: frame for frame in shown.defer("reading")}
    if len(frames) != len(order):
        raise BadInput(_("A frame on the list is hidden or not of this sitting."))
    kept = [_why_kept(frame) for frame in frames.values() if frame.is_kept_back]
    if kept:
        raise Refused(" ".join(kept))
    return frames


def reopen(sitting: Sitting, by: Visitor, reason: str) -> Round:
    """Open a closed list again, in a new round, with the reason on record. Versions and approvals are kept.

    Raises:
        Refused: only the photographer reopens.
        BadInput: no reason given.
        Conflict: the list is open.
    """
    require(by, Act.REOPEN_LIST, sitting, _("Only the photographer reopens a closed list."))
    if not reason.strip():
        raise BadInput(_("Say why the list is reopened; it is kept with the sitting."))
    if sitting.stage not in {Sitting.Stage.FINISHING, Sitting.Stage.DELIVERED}:
        raise Conflict(_("The list is open."))
    with transaction.atomic():
        return rounds.open_again(sitting, by, reason.strip()[:300], Verb.LIST_REOPENED)


def publish(sitting: Sitting, by: Visitor, *, by_letter: bool = False) -> None:
    """Show the proofs to the people invited, with a letter to each of them when asked.

    Raises:
        BadInput: there is nothing to show.
    """
    require(by, Act.RUN, sitting, _("Only the photographer shows the proofs."))
    if not sitting.frames.unhidden().exists():
        raise BadInput(_("There are no frames to show yet."))
    with transaction.atomic():
        stages.advance(sitting, Sitting.Stage.PROOFING, by, verb=Verb.PROOFS_SHOWN)
        if not sitting.rounds.filter(closed_at=None).exists():
            last = sitting.rounds.aggregate(last=Max("number"))["last"] or 0
            Round.objects.create(sitting=sitting, number=last + 1)
        if by_letter:
            letters.notify(sitting, "proofs", rounds.of_the_sheet(sitting))


def listed(sitting: Sitting) -> list[Final]:
    """The finals of the closed list, in order."""
    return list(sitting.finals.listed().select_related("frame__raw", "frame__look"))


def listed_for(by: Visitor, sitting: Sitting) -> list[Final]:
    """As `listed`, without what is kept from this person."""
    require(by, Act.SEE_FINALS, sitting)
    return list(finals_shown_to(by, sitting).listed().select_related("frame__raw", "frame__look"))


def as_text(finals: Sequence[Final], *, endings: bool = True) -> str:
    """One camera file name a line, for the editor to filter by; a frame's raw file after its picture."""
    return "".join(f"{name}\n" for final in finals for name in names_of(final.frame, endings=endings))


def names_of(frame: Frame, *, endings: bool = True) -> list[str]:
    """The names of its files; without endings both are often the same, which is named once."""
    names = frame.file_names
    return names if endings else list(dict.fromkeys(map(stem_of, names)))


def as_csv(finals: Sequence[Final]) -> str:
    """RFC 4180: position, file, number, look, purpose, brief, raw file beside it."""
    rows: list[list[object]] = [["position", "file", "number", "look", "purpose", "brief", "raw"]]
    for position, final in enumerate(finals, 1):
        look = final.frame.look
        cells = [
            final.frame.name,
            final.frame.number,
            look.title if look else "",
            look.purpose if look else "",
            final.brief,
            final.frame.raw_beside.name if final.frame.raw_beside else "",
        ]
        rows.append([position, *cells])
    return table.written(rows)
