"""The only door to rows: who may do which act with which thing.

`may` is the whole of it. Everything else here loads a row and asks `may`. An invitee is told 'there is no such
thing' (`Missing`) for whatever is not theirs, and a reason (`Refused`) only where they know that the thing exists.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

from django.contrib.auth.models import User
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils.translation import gettext as _

from galleries.errors import Missing, NotYet, Refused
from galleries.models import (
    DeliveredFile,
    Delivery,
    Final,
    Frame,
    Invite,
    Licence,
    Look,
    Mark,
    OwnCopy,
    ReferencePicture,
    RetoucherAcceptance,
    SecondOpinion,
    Sitting,
    Statement,
    StrayRetouch,
    Studio,
    StudioRole,
    UsageRequest,
)
from galleries.models.compiled import CompiledRows
from galleries.models.finals import FinalSet
from galleries.models.sittings import PICKING, FrameSet, LookSet

Stage = Sitting.Stage


class Act(StrEnum):
    RUN = "run"  # everything the photographer does with a sitting
    SEE_ORIGINAL = "see original"
    SEE_PLAN = "see plan"
    COMMENT_PLAN = "comment plan"
    SEE_SHEET = "see sheet"
    SEE_FRAME = "see frame"
    MARK = "mark"
    REMARK = "remark"
    COMPARE_LISTS = "compare lists"
    CLOSE_LIST = "close list"
    REOPEN_LIST = "reopen list"
    CHOOSE_LOOKS = "choose looks"
    LET_GO = "let go"  # what the subject kept from the representation
    OBJECT = "object"  # to the list that the agent closed, while there is time
    SEE_FINALS = "see finals"
    PIN_NOTE = "pin note"
    APPROVE = "approve"
    SEE_DELIVERY = "see delivery"
    ACCEPT_LICENCE = "accept licence"
    FETCH = "fetch"
    ASK_USE = "ask use"
    SEE_EXTRAS = "see extras"  # how many finals are beyond the allowance
    SEE_STATEMENT = "see statement"  # what is owed for them
    RUN_STUDIO = "run the studio"  # what belongs to no one sitting: its data, stamp, delivery sizes, colleagues
    KEEP_ACCOUNT = "keep account"  # one's own name, address, password, second factor, sessions
    FETCH_OWN_COPY = "fetch own copy"  # of everything that is kept about the subject
    SEE_RETOUCHING = "see retouching"  # what there is to retouch, once the terms are accepted, and the terms before
    ACCEPT_TERMS = "accept terms"  # a retoucher's
    FETCH_ORIGINALS = "fetch originals"  # of the finals of the list, unstamped, and their raw files
    SEND_VERSION = "send version"  # a retoucher, to the photographer
    ASK_OPINION = "ask for a second opinion"
    KEEP_OPINION = "keep a second opinion"  # end it, remove it, let the representation read it: whose asked it
    SEE_OPINIONS = "see second opinions"
    GIVE_OPINION = "give a second opinion"  # by the link alone
    PASS_ON = "pass on"  # noqa: S105 - an act, no password  # nosec B105


SHOWN = frozenset({Stage.PROOFING, Stage.AGREEING, Stage.FINISHING, Stage.DELIVERED})
AGREED = frozenset({Stage.FINISHING, Stage.DELIVERED})
UNTIL_ARCHIVED = SHOWN | {Stage.PLANNING}

SUBJECT, REPRESENTATION = Invite.Role.SUBJECT, Invite.Role.REPRESENTATION
ASSISTANT, RECIPIENT = Invite.Role.ASSISTANT, Invite.Role.RECIPIENT
RETOUCHER = Invite.Role.RETOUCHER

# What an invite allows: the roles, and the stages in which the act makes sense.
INVITEES: dict[Act, tuple[frozenset[str], frozenset[str]]] = {
    Act.SEE_PLAN: (frozenset({SUBJECT, REPRESENTATION, ASSISTANT}), frozenset(UNTIL_ARCHIVED)),
    Act.COMMENT_PLAN: (frozenset({SUBJECT, REPRESENTATION, ASSISTANT}), frozenset(UNTIL_ARCHIVED)),
    Act.SEE_SHEET: (frozenset({SUBJECT, REPRESENTATION, ASSISTANT}), frozenset(SHOWN)),
    Act.SEE_FRAME: (frozenset({SUBJECT, REPRESENTATION, ASSISTANT}), frozenset(SHOWN)),
    Act.MARK: (frozenset({SUBJECT, REPRESENTATION}), frozenset(PICKING)),
    Act.REMARK: (frozenset({SUBJECT, REPRESENTATION, ASSISTANT}), frozenset(SHOWN)),
    Act.COMPARE_LISTS: (frozenset({REPRESENTATION}), frozenset(SHOWN)),
    Act.CLOSE_LIST: (frozenset({REPRESENTATION}), frozenset(PICKING)),
    Act.CHOOSE_LOOKS: (frozenset({SUBJECT}), frozenset(PICKING)),
    Act.LET_GO: (frozenset({SUBJECT}), frozenset(SHOWN)),
    Act.OBJECT: (frozenset({SUBJECT}), frozenset(AGREED)),
    Act.SEE_FINALS: (frozenset({SUBJECT, REPRESENTATION, ASSISTANT}), frozenset(AGREED)),
    Act.PIN_NOTE: (frozenset({SUBJECT, REPRESENTATION}), frozenset(AGREED)),
    Act.APPROVE: (frozenset({SUBJECT, REPRESENTATION}), frozenset(AGREED)),
    Act.SEE_DELIVERY: (frozenset({SUBJECT, REPRESENTATION, RECIPIENT}), frozenset(AGREED)),
    Act.ACCEPT_LICENCE: (frozenset({SUBJECT, REPRESENTATION, RECIPIENT}), frozenset(AGREED)),
    Act.FETCH: (frozenset({SUBJECT, REPRESENTATION, RECIPIENT}), frozenset(AGREED)),
    Act.ASK_USE: (frozenset({SUBJECT, REPRESENTATION, RECIPIENT}), frozenset(AGREED)),
    Act.SEE_EXTRAS: (frozenset({SUBJECT, REPRESENTATION}), frozenset(SHOWN)),
    Act.SEE_STATEMENT: (frozenset({SUBJECT, REPRESENTATION}), frozenset(SHOWN)),
    Act.FETCH_OWN_COPY: (frozenset({SUBJECT}), frozenset(Stage.values)),  # the right to it ends with no stage
    Act.SEE_RETOUCHING: (frozenset({RETOUCHER}), frozenset(AGREED)),
    Act.ACCEPT_TERMS: (frozenset({RETOUCHER}), frozenset(AGREED)),
    Act.FETCH_ORIGINALS: (frozenset({RETOUCHER}), frozenset(AGREED)),
    Act.SEND_VERSION: (frozenset({RETOUCHER}), frozenset(AGREED)),
    Act.ASK_OPINION: (frozenset({SUBJECT}), frozenset(PICKING)),
    Act.KEEP_OPINION: (frozenset({SUBJECT}), frozenset(SHOWN)),
    Act.SEE_OPINIONS: (frozenset({SUBJECT, REPRESENTATION}), frozenset(SHOWN)),
    Act.PASS_ON: (frozenset({REPRESENTATION}), frozenset(UNTIL_ARCHIVED)),
}

Thing = (
    Sitting
    | Look
    | Frame
    | Final
    | Delivery
    | ReferencePicture
    | Invite
    | Licence
    | StrayRetouch
    | UsageRequest
    | OwnCopy
    | SecondOpinion
    | Statement
    | Studio
    | User
)
# An invitee's own word: neither the photographer nor the program gives it for them.
OWN_WORD = frozenset(
    {Act.MARK, Act.PASS_ON, Act.CHOOSE_LOOKS, Act.LET_GO, Act.OBJECT, Act.ACCEPT_LICENCE, Act.ASK_USE, Act.ACCEPT_TERMS}
    # Between the subject and whom they trust: the studio neither gives such a word nor reads it.
    | {Act.ASK_OPINION, Act.KEEP_OPINION, Act.SEE_OPINIONS, Act.GIVE_OPINION}
)
FINISHING_ACTS = frozenset({Act.APPROVE, Act.PIN_NOTE, Act.FETCH_ORIGINALS, Act.SEND_VERSION})


# What somebody is stands in brackets behind their name, and only the program writes it there.
_BRACKETS = dict.fromkeys(map(ord, "()（）"))


def has_brackets(text: str) -> bool:
    return any(ord(sign) in _BRACKETS for sign in text)


def one_line(text: str) -> str:
    """Without line breaks and doubled spaces, so that nobody's words look like another line or another person's."""
    return " ".join(text.split())


NOBODY = "nobody"  # in the journal: who has shown no right to anything


@dataclass(frozen=True)
class Visitor:
    """Who is asking: a signed-in user of the studio, or the holder of one invite, or whoever was asked for a second
    opinion, or nobody."""

    user: User | None = None
    invite: Invite | None = None
    program: bool = False
    opinion: SecondOpinion | None = None

    @property
    def name(self) -> str:
        if self.user is not None:
            return self.user.get_full_name() or self.user.get_username()
        return one_line(self.invite.name.translate(_BRACKETS)) if self.invite is not None else ""

    @property
    def who(self) -> str:
        """For the journal."""
        if self.user is not None:
            return f"{self.name} (photographer)"
        return (
            f"{self.name} ({self.invite.role})"
            if self.invite is not None
            else "the program"
            if self.program
            else NOBODY
        )


# The worker and the clock, in verbs that a person set going.
PROGRAM = Visitor(program=True)


def runs(user: User | None, sitting: Sitting) -> bool:
    """Is this user the sitting's photographer, or a colleague let in by them?"""
    if user is None or not user.is_active:
        return False
    return sitting.photographer_id == user.pk or sitting.colleagues.filter(pk=user.pk).exists()


def heads(user: User | None) -> bool:
    """May this user change what is the whole studio's? The operator may."""
    if user is None or not user.is_active:
        return False
    return user.is_superuser or StudioRole.objects.heads().filter(account=user).exists()


def _sitting_of(thing: Thing) -> Sitting:
    if isinstance(thing, (Studio, User)):
        raise TypeError("The studio and its people's accounts belong to no sitting.")
    return thing if isinstance(thing, Sitting) else thing.sitting


def may(visitor: Visitor, act: Act, thing: Thing) -> bool:
    """May this person do this act with this thing, at the thing's present stage?"""
    if isinstance(thing, Studio) or act is Act.RUN_STUDIO:
        fits = isinstance(thing, Studio) and act is Act.RUN_STUDIO
        return fits and heads(visitor.user)
    if isinstance(thing, User):
        own = visitor.user is not None and visitor.user.pk == thing.pk
        return own and act is Act.KEEP_ACCOUNT and thing.is_active
    if act is Act.KEEP_ACCOUNT:
        return False
    sitting = _sitting_of(thing)
    if visitor.opinion is not None:
        return act is Act.GIVE_OPINION and _asked_of(visitor.opinion, sitting, thing)
    if visitor.program:
        return act not in OWN_WORD
    if visitor.user is not None:
        if not runs(visitor.user, sitting) or act in OWN_WORD:
            return False
        return act is not Act.CLOSE_LIST or sitting.stage in PICKING
    invite = visitor.invite
    if invite is None or invite.sitting_id != sitting.pk or not invite.holds() or act not in INVITEES:
        return False
    if sitting.lacks_consent or sitting.is_holding:
        return False  # asked at every door, not only at inviting: it may be taken back, or the mark of age set later
    roles, stages = INVITEES[act]
    if invite.role not in roles or sitting.stage not in stages:
        return False
    if act in FINISHING_ACTS and sitting.stage == Stage.DELIVERED and not sitting.finals.open().exists():
        return False  # while any final of the list is open, finishing is not over, whatever was delivered already
    if act is Act.APPROVE and invite.is_representation and not sitting.representation_approves:
        return False
    if act is Act.OBJECT and sitting.objection_until is None:
        return False
    if act in {Act.FETCH_ORIGINALS, Act.SEND_VERSION} and not RetoucherAcceptance.holds_for(invite, sitting):
        return False
    if act is Act.FETCH_ORIGINALS and sitting.objection_until is not None:
        return False  # the list is not the agreed one before the subject's time to object is over
    if act is Act.CHOOSE_LOOKS and not sitting.subject_chooses_looks:
        return False
    if act is Act.PASS_ON and not invite.may_pass_on:
        return False
    if isinstance(thing, SecondOpinion):  # whose asked it; the representation only reads, and only when let
        return thing.asked_by_id == invite.pk or (invite.is_representation and thing.for_representation)
    if isinstance(thing, OwnCopy):  # made for one person, and for no other subject of the sitting
        return thing.invite_id == invite.pk
    if isinstance(thing, Statement):  # whoever is asked to pay; the other side hears that there are extras
        return thing.payer == invite.role
    if isinstance(thing, Frame):
        return frames_shown_to(visitor, sitting).filter(pk=thing.pk).exists()
    if isinstance(thing, Final):  # a frame kept back is not to be seen as a final, a retouch or a file either
        return (invite.is_subject or not thing.frame.is_kept_back) and (thing.on_list or not invite.is_retoucher)
    if isinstance(thing, Look):
        return looks_shown_to(visitor, sitting).filter(pk=thing.pk).exists()
    return True


def _asked_of(opinion: SecondOpinion, sitting: Sitting, thing: Thing) -> bool:
    """Is the thing what somebody was asked about: the opinion itself, or one of its frames, while it holds?"""
    if opinion.sitting_id != sitting.pk or not opinion.holds() or sitting.lacks_consent:
        return False
    if isinstance(thing, SecondOpinion):
        return thing.pk == opinion.pk
    return isinstance(thing, Frame) and frames_shown_to(Visitor(opinion=opinion), sitting).filter(pk=thing.pk).exists()


def require(visitor: Visitor, act: Act, thing: Thing, why: str = "") -> None:
    """The one way in which a verb asks: nothing when this person may do this act with this thing now.

    `why` is the sentence for somebody who knows the thing, where the verb can say more than the table.

    Raises:
        Missing: as far as this person may know there is no such thing.
        Refused: there is, but the act is not for them, or not now (NotYet: but later).
    """
    if may(visitor, act, thing):
        return
    if isinstance(thing, Studio):
        raise Refused(why or _("This is the studio's to do."))
    if isinstance(thing, User):
        raise Missing(_("There is no such account, or it is not yours."))
    if not _knows(visitor, act, thing):
        raise Missing(_MISSING.get(type(thing), _MISSING[Sitting])())
    sitting = _sitting_of(thing)
    early = visitor.invite is not None and _early(act, sitting) and visitor.invite.role in INVITEES[act][0]
    raise (NotYet if early else Refused)(why or why_not(visitor, act, sitting))


def _early(act: Act, sitting: Sitting) -> bool:
    """Is it a page that comes with a stage the sitting has not reached?"""
    if sitting.lacks_consent or sitting.stage == Stage.ARCHIVED:
        return False
    if act in {Act.SEE_SHEET, Act.SEE_FRAME}:
        return sitting.stage == Stage.PLANNING
    return act in {Act.SEE_FINALS, Act.SEE_DELIVERY, Act.FETCH, Act.SEE_RETOUCHING} and sitting.stage not in AGREED


def _knows(visitor: Visitor, act: Act, thing: Thing) -> bool:
    """May this person know of the thing, which they may not do the act with?"""
    if isinstance(thing, Studio):
        return visitor.user is not None
    sitting = _sitting_of(thing)
    if not belongs(visitor, sitting) or (
        isinstance(thing, Frame) and act in {Act.SEE_FRAME, Act.SEE_ORIGINAL, Act.RUN}
    ):
        return False
    if isinstance(thing, Frame):
        return may(visitor, Act.SEE_FRAME, thing)
    if isinstance(thing, SecondOpinion):
        return may(visitor, Act.SEE_OPINIONS, thing) or thing.pk == getattr(visitor.opinion, "pk", None)
    if isinstance(thing, OwnCopy):
        return visitor.user is not None or may(visitor, Act.FETCH_OWN_COPY, thing)
    if isinstance(thing, Statement):
        return visitor.user is not None or thing.payer == (visitor.invite.role if visitor.invite else "")
    if isinstance(thing, Look):
        return looks_shown_to(visitor, sitting).filter(pk=thing.pk).exists()
    if isinstance(thing, Final):
        return finals_shown_to(visitor, sitting).filter(pk=thing.pk).exists()
    return True


_MISSING: dict[type, Callable[[], str]] = {
    Sitting: lambda: _("There is no such sitting, or your link does not lead to it."),
    Frame: lambda: _("There is no such frame, or your link does not lead to it."),
    Final: lambda: _("There is no such final, or your link does not lead to it."),
    Delivery: lambda: _("There is no such delivery, or your link does not lead to it."),
    SecondOpinion: lambda: _("There is no such second opinion, or your link does not lead to it."),
    Statement: lambda: _("There is no such statement, or it is not yours to see."),
    OwnCopy: lambda: _("There is no such copy, or your link does not lead to it."),
}


def frames_shown_to(visitor: Visitor, sitting: Sitting) -> FrameSet:
    """The frames of a sitting that this person may see; the photographer sees hidden ones too."""
    frames = Frame.objects.filter(sitting=sitting)
    if visitor.opinion is not None:  # as long as the subject sees them, too
        return frames_of_sheets(True).filter(sitting=sitting, pk__in=visitor.opinion.shown.values("frame"))
    if visitor.user is not None:
        return frames if runs(visitor.user, sitting) else frames.none()
    invite = sheet_invite(visitor, sitting)
    return frames.none() if invite is None else frames_of_sheets(invite.is_subject).filter(sitting=sitting)


def sheet_invite(visitor: Visitor, sitting: Sitting) -> Invite | None:
    """The invite by which they see the sitting's frames; None where they see them by another right, or none."""
    invite = visitor.invite
    if visitor.user is not None or visitor.opinion is not None or invite is None or invite.sitting_id != sitting.pk:
        return None
    return None if invite.is_retoucher else invite  # finals of the list are a retoucher's, no frame is


def frames_of_sheets(is_subject: bool) -> FrameSet:
    """The frames that stand on the subject's sheet, or on everybody else's, of any sitting: filter by those whose
    invite you hold."""
    frames = Frame.objects.unhidden().filter(Q(look=None) | Q(look__hidden=False))
    if is_subject:
        return frames
    struck = Mark.objects.filter(frame=OuterRef("pk"), kind=Mark.Kind.STRIKE, invite__role=SUBJECT)
    return frames.let_go().filter(Q(sitting__strikes_hide=False) | ~Exists(struck))


def looks_shown_to(visitor: Visitor, sitting: Sitting) -> LookSet:
    looks = Look.objects.filter(sitting=sitting)
    if visitor.user is not None:
        return looks if runs(visitor.user, sitting) else looks.none()
    invite = visitor.invite
    if invite is None or invite.sitting_id != sitting.pk or invite.is_retoucher:
        return looks.none()
    return looks_of_sheets(invite.is_subject).filter(sitting=sitting)


def looks_of_sheets(is_subject: bool) -> LookSet:
    """As `frames_of_sheets`."""
    looks = Look.objects.unhidden()
    return looks if is_subject else looks.let_go()


def finals_shown_to(visitor: Visitor, sitting: Sitting) -> FinalSet:
    """The finals whose frames nobody keeps from this person; whether finals are theirs to see now, `may` says."""
    finals = Final.objects.filter(sitting=sitting)
    if visitor.user is not None:
        return finals if runs(visitor.user, sitting) else finals.none()
    invite = visitor.invite
    if invite is None or invite.sitting_id != sitting.pk:
        return finals.none()
    if invite.is_retoucher:
        finals = finals.listed()
    return finals if invite.is_subject else finals.filter(frame__in=Frame.objects.filter(sitting=sitting).let_go())


def files_shown_to(visitor: Visitor, delivery: Delivery) -> QuerySet[DeliveredFile]:
    """The files of a delivery that show this person no frame that is kept from them."""
    shown = finals_shown_to(visitor, delivery.sitting)
    return DeliveredFile.objects.filter(delivery=delivery).filter(Q(final=None) | Q(final__in=shown))


def sees_whole(visitor: Visitor, delivery: Delivery) -> bool:
    """Is no file of the delivery kept from this person?"""
    return files_shown_to(visitor, delivery).count() == delivery.files.count()


def run_by(account: int) -> QuerySet[Sitting]:
    """The sittings that the account with this key, while it is active, runs: as `runs`, for a question put ahead."""
    shared = Sitting.colleagues.through.objects.filter(user=account).values("sitting")
    return Sitting.objects.filter(Q(photographer=account) | Q(pk__in=shared)).order_by()


def sittings_of(user: User) -> QuerySet[Sitting]:
    return Sitting.objects.filter(Q(photographer=user) | Q(colleagues=user)).distinct()


def sitting_for(visitor: Visitor, act: Act, slug: str) -> Sitting:
    """The sitting, when this person may do this act with it.

    Raises:
        Missing: there is none, or it is none of theirs.
        Refused: it is theirs, but the act is not for their role or not for this stage.
    """
    sitting = sitting_at(slug)
    require(visitor, act, sitting)
    return sitting


_ask_sitting = CompiledRows(
    lambda slug: Sitting.objects.select_related("photographer").filter(slug=slug).order_by(), by_keys=True
)


def sitting_at(slug: str) -> Sitting:
    """The sitting of that name: whoever takes it has still to ask what its visitor may.

    Raises:
        Missing: there is none.
    """
    sitting = _ask_sitting.first(slug)
    if sitting is None:
        raise Missing(_MISSING[Sitting]())
    return sitting


def belongs(visitor: Visitor, sitting: Sitting) -> bool:
    """Does the person know that the sitting exists?"""
    if visitor.user is not None:
        return runs(visitor.user, sitting)
    if visitor.opinion is not None:
        return visitor.opinion.sitting_id == sitting.pk and visitor.opinion.holds()
    return visitor.invite is not None and visitor.invite.sitting_id == sitting.pk and visitor.invite.holds()


def why_not(visitor: Visitor, act: Act, sitting: Sitting) -> str:
    """One sentence for a person who knows the sitting but may not do this now."""
    if sitting.lacks_consent and visitor.user is None:
        return _("The studio has to record the consent of a parent or guardian first. Ask the studio.")
    if sitting.stage == Stage.ARCHIVED:
        return _("This sitting is archived; nothing in it can be changed or fetched. Ask the studio.")
    early = _early(act, sitting)
    if early and act in {Act.SEE_SHEET, Act.SEE_FRAME}:
        return _("The proofs are not out yet. You will get a letter as soon as they are.")
    if act in {Act.MARK, Act.CLOSE_LIST, Act.CHOOSE_LOOKS} and sitting.stage in AGREED:
        return _("The list is closed, so marks can no longer change. What you marked before is kept.")
    if act is Act.OBJECT and sitting.stage in AGREED and visitor.invite is not None and visitor.invite.is_subject:
        return _("There is no time to object any more: the list holds. Speak with the studio.")
    invite = visitor.invite
    if invite is not None and act in {Act.APPROVE, Act.PIN_NOTE, Act.SEE_FINALS} and invite.role in INVITEES[act][0]:
        if early and sitting.finals.exists():
            return _("The list of finals was opened again. You will get a letter when it is closed.")
        if sitting.stage == Stage.DELIVERED and not sitting.finals.open().exists():
            return _("All finals are finished and delivered; nothing is approved, sent back or pinned any more.")
    if early and visitor.invite is not None and visitor.invite.role == RECIPIENT:
        return _("The pictures are not ready yet. You will get a letter as soon as they can be fetched.")
    if early:
        return _("There is nothing here yet: the list of finals is still open.")
    if act is Act.FETCH_ORIGINALS and sitting.objection_until is not None:
        return _("The subject may still object to the list. The files can be fetched once that time is over.")
    if act in {Act.FETCH_ORIGINALS, Act.SEND_VERSION} and visitor.invite is not None and visitor.invite.is_retoucher:
        if not RetoucherAcceptance.holds_for(visitor.invite, sitting):
            return _("Accept the terms first.")
        return _("The work is done: nothing is to be fetched or sent any more.")
    return _("This is not yours to do in this sitting.")


def frame_for(visitor: Visitor, act: Act, frame_id: int) -> Frame:
    """The frame, when this person may do this act with it.

    Raises:
        Missing: there is none, it is hidden from them, or it is none of theirs.
        Refused: they see it, but the act is not for them or not now.
    """
    frame = Frame.objects.select_related("sitting", "look").filter(pk=frame_id).first()
    if frame is None:
        raise Missing(_MISSING[Frame]())
    require(visitor, act, frame)
    return frame


def final_for(visitor: Visitor, act: Act, final_id: int) -> Final:
    """As `frame_for`, for a final."""
    final = Final.objects.select_related("sitting", "frame__look").filter(pk=final_id).first()
    if final is None:
        raise Missing(_MISSING[Final]())
    require(visitor, act, final)
    return final


def delivery_for(visitor: Visitor, act: Act, delivery_id: int) -> Delivery:
    """As `frame_for`, for a delivery."""
    delivery = Delivery.objects.select_related("sitting", "licence").filter(pk=delivery_id).first()
    if delivery is None:
        raise Missing(_MISSING[Delivery]())
    require(visitor, act, delivery)
    return delivery


def own_copy_for(visitor: Visitor, act: Act, copy_id: int) -> OwnCopy:
    """As `frame_for`, for a copy of everything kept about the subject."""
    copy = OwnCopy.objects.select_related("sitting__photographer", "invite__passed_from").filter(pk=copy_id).first()
    if copy is None:
        raise Missing(_MISSING[OwnCopy]())
    require(visitor, act, copy)
    return copy


def statement_for(visitor: Visitor, sitting: Sitting, number: int) -> Statement:
    """As `frame_for`, for a statement of extra finals, by its number."""
    rows = Statement.objects.select_related("sitting__photographer").filter(sitting=sitting, number=number)
    statement = rows.order_by("-pk").first()
    if statement is None:
        raise Missing(_MISSING[Statement]())
    require(visitor, Act.SEE_STATEMENT, statement)
    return statement
