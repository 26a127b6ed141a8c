"""Second opinions: asked by the subject, given by link, read by the subject and whom they let.

What the studio learns, decided once: that the subject asked for a second opinion, of how many frames, and that it was
ended (two lines of the journal, by the subject's name as for all they do). Neither who was asked, nor whether they came
or answered, nor a word of it: a friend's opinion is the subject's own affair, and known words would press on the picks.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterable
from dataclasses import dataclass

from django.conf import settings
from django.db import transaction
from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _

from galleries.access import Act, Visitor, frames_shown_to, has_brackets, one_line, require
from galleries.errors import BadInput, Missing
from galleries.models import Frame, JournalLine, Mark, OpinionFrame, Proof, SecondOpinion, Sitting, Verb
from galleries.models.opinions import BROWSERS
from galleries.steps.people import caps
from galleries.steps.people.invite import TOKEN_BYTES, hash_of

MOST_FRAMES = 40
SENTENCE_LENGTH, NAME_LENGTH = 500, 40


@dataclass(frozen=True)
class Shown:
    """A frame with its stamped proof, and the word on it."""

    frame: Frame
    proof: Proof
    this_one: bool


def picks_of(by: Visitor, sitting: Sitting) -> list[Frame]:
    """The subject's picks, which may be shown to somebody."""
    require(by, Act.ASK_OPINION, sitting)
    voice = by.invite.voice if by.invite is not None else None
    picked = Mark.objects.filter(invite=voice, kind=Mark.Kind.PICK).values("frame")
    return list(frames_shown_to(by, sitting).unhidden().filter(pk__in=picked))


def ask(
    sitting: Sitting, by: Visitor, name: str, frame_ids: Iterable[int], *, for_representation: bool = False
) -> tuple[SecondOpinion, str]:
    """Let somebody see these frames, stamped, by a link that is told once and kept as a hash; (what was asked, link).

    Raises:
        Refused: only the subject asks, while picks are open, with the consent where they are a minor; or too often.
        BadInput: no first name, no frame, too many, or one that is not theirs to show.
    """
    require(by, Act.ASK_OPINION, sitting, _("Only the subject asks for a second opinion, while picks are open."))
    if by.invite is None:
        raise BadInput(_("Only the subject asks for a second opinion, while picks are open."))
    name, wanted = one_line(name), set(frame_ids)
    if not name or len(name) > NAME_LENGTH or has_brackets(name):
        raise BadInput(_("Give a first name, without brackets, of at most %d characters.") % NAME_LENGTH)
    caps.plain_name(name)
    frames = list(frames_shown_to(by, sitting).unhidden().filter(pk__in=wanted))
    if not frames or len(frames) != len(wanted):
        raise BadInput(_("Choose frames of your sheet."))
    if len(frames) > MOST_FRAMES:
        raise BadInput(_("At most %d frames can be shown for one opinion.") % MOST_FRAMES)
    token = secrets.token_urlsafe(TOKEN_BYTES)
    with transaction.atomic():
        Sitting.objects.select_for_update(of=("self",)).get(pk=sitting.pk)  # two at once are counted one by one
        caps.asking_opinions(by.invite)
        opinion = SecondOpinion.objects.create(
            sitting=sitting, asked_by=by.invite, name=name, token_hash=hash_of(token),
            for_representation=for_representation,
        )  # fmt: skip
        OpinionFrame.objects.bulk_create(OpinionFrame(opinion=opinion, frame=frame) for frame in frames)
        JournalLine.write(sitting, by.who, Verb.OPINION_ASKED, f"{len(frames)} frames")
    return opinion, f"{settings.BASE_URL}/i/{token}/opinion"


def _own(opinion: SecondOpinion, by: Visitor) -> None:
    require(by, Act.KEEP_OPINION, opinion)


def end(opinion: SecondOpinion, by: Visitor) -> None:
    """From the next request on nobody comes in by the link; the words are kept for the subject.

    Raises:
        Missing, Refused: not the subject's who asked.
    """
    _own(opinion, by)
    with transaction.atomic():
        if SecondOpinion.objects.unended().filter(pk=opinion.pk).update(ended_at=timezone.now()):
            JournalLine.write(opinion.sitting, by.who, Verb.OPINION_ENDED, opinion.sitting.title)


def remove(opinion: SecondOpinion, by: Visitor) -> None:
    """As `end`, and the words and the name are gone.

    Raises:
        Missing, Refused: not the subject's who asked.
    """
    _own(opinion, by)
    with transaction.atomic():
        end(opinion, by)
        SecondOpinion.objects.filter(pk=opinion.pk).delete()


def let_representation(opinion: SecondOpinion, by: Visitor, allowed: bool) -> None:
    """The representation may read it, or not any more.

    Raises:
        Missing, Refused: not the subject's who asked.
    """
    _own(opinion, by)
    SecondOpinion.objects.filter(pk=opinion.pk).update(for_representation=allowed)


def come_in(token: str) -> SecondOpinion:
    """By the link, in up to `BROWSERS` browsers.

    Raises:
        Missing: no such link, or ended, or opened in as many browsers already; which of these is not told.
    """
    opinion = SecondOpinion.objects.select_related("sitting", "asked_by__passed_from")
    asked = opinion.filter(token_hash=hash_of(token)).first()
    if asked is None or not asked.holds() or asked.sitting.lacks_consent:
        raise Missing(gone())
    if not SecondOpinion.objects.filter(pk=asked.pk, browsers__lt=BROWSERS).update(browsers=F("browsers") + 1):
        raise Missing(gone())
    return asked


def gone() -> str:
    return _("This link does not work any more. Ask whoever sent it to you.")


def shown_in(opinion: SecondOpinion, by: Visitor) -> list[Shown]:
    """The frames of it that this person may still see.

    Raises:
        Missing, Refused: not theirs to see.
    """
    require(by, Act.GIVE_OPINION if by.opinion is not None else Act.SEE_OPINIONS, opinion)
    rows = list(opinion.shown.filter(frame__in=frames_shown_to(by, opinion.sitting)).select_related("frame__look"))
    proofs = Proof.objects.newest_of(row.frame_id for row in rows)
    return [Shown(row.frame, proofs[row.frame_id], row.this_one) for row in rows if row.frame_id in proofs]


def say(opinion: SecondOpinion, by: Visitor, this_ones: Iterable[int], sentence: str) -> None:
    """'This one', of any number of the frames, and a sentence; said again it takes the place of what was said.

    Raises:
        Missing, Refused: not asked of this person, or over.
        BadInput: a frame that is not shown, or too long a sentence.
    """
    require(by, Act.GIVE_OPINION, opinion)
    chosen, sentence = set(this_ones), sentence.strip()
    if len(sentence) > SENTENCE_LENGTH:
        raise BadInput(_("That is too long: say it in %d characters.") % SENTENCE_LENGTH)
    if not chosen <= {one.frame.pk for one in shown_in(opinion, by)}:
        raise BadInput(_("Choose among the frames that you were shown."))
    with transaction.atomic():
        SecondOpinion.objects.filter(pk=opinion.pk).update(sentence=sentence, said_at=timezone.now())
        opinion.shown.update(this_one=False)
        opinion.shown.filter(frame__in=chosen).update(this_one=True)


def read_by(by: Visitor, sitting: Sitting) -> list[tuple[SecondOpinion, list[Shown]]]:
    """What this person may read: the subject all they asked for, the representation what it was let to read.

    Raises:
        Refused: not theirs to read.
    """
    require(by, Act.SEE_OPINIONS, sitting)
    asked = sitting.second_opinions.select_related("asked_by__passed_from", "sitting").order_by("-pk")
    if by.invite is not None and by.invite.is_subject:
        asked = asked.filter(asked_by=by.invite)
    else:
        asked = asked.filter(for_representation=True).exclude(said_at=None)
    return [(one, shown_in(one, by)) for one in asked]
