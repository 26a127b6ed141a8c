"""One row per thing of the trade. Verbs that span rows, the store or the queue live in `galleries.steps`."""

from galleries.models.accounts import AccountLetter, KnownDevice, StudioRole, StudioSession
from galleries.models.arrivals import Arrival
from galleries.models.days import Day, DayFrame, Sitter
from galleries.models.deliveries import DeliveredFile, Delivery, Receipt
from galleries.models.erasures import Erasure
from galleries.models.extras import ExtraTerms, Payer, Statement, StatementBook
from galleries.models.factors import CodeApp, Passkey, RecoveryCode
from galleries.models.finals import Approval, Crop, DeliverySize, Final, PinnedNote, StrayRetouch, Version
from galleries.models.jobs import Job
from galleries.models.journal import JournalLine, Leaving
from galleries.models.marks import Mark, Remark, Round, Standing
from galleries.models.opinions import OpinionFrame, SecondOpinion
from galleries.models.own_copies import OwnCopy
from galleries.models.people import Invite, InviteLink, Letter, Opening, SignInLink, Studio
from galleries.models.retouchers import RetoucherAcceptance, RetoucherReceipt
from galleries.models.rights import Acceptance, Licence, UsageRequest
from galleries.models.sittings import Frame, Look, PlanComment, Proof, RawFile, ReferencePicture, Refusal, Sitting
from galleries.models.undoables import Undoable
from galleries.models.verbs import Verb

__all__ = [
    "Acceptance",
    "AccountLetter",
    "Approval",
    "Arrival",
    "CodeApp",
    "Crop",
    "Day",
    "DayFrame",
    "DeliveredFile",
    "Delivery",
    "DeliverySize",
    "Erasure",
    "ExtraTerms",
    "Final",
    "Frame",
    "Invite",
    "InviteLink",
    "Job",
    "JournalLine",
    "KnownDevice",
    "Leaving",
    "Letter",
    "Licence",
    "Look",
    "Mark",
    "Opening",
    "OpinionFrame",
    "OwnCopy",
    "Passkey",
    "Payer",
    "PinnedNote",
    "PlanComment",
    "Proof",
    "RawFile",
    "Receipt",
    "RecoveryCode",
    "ReferencePicture",
    "Refusal",
    "Remark",
    "RetoucherAcceptance",
    "RetoucherReceipt",
    "Round",
    "SecondOpinion",
    "SignInLink",
    "Sitter",
    "Sitting",
    "Standing",
    "Statement",
    "StatementBook",
    "StrayRetouch",
    "Studio",
    "StudioRole",
    "StudioSession",
    "Undoable",
    "UsageRequest",
    "Verb",
    "Version",
]
