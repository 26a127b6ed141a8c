"""A sitting, its looks and plan, its frames and their stamped proofs."""

from __future__ import annotations

import secrets
import uuid
from collections.abc import Iterable
from datetime import datetime
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from galleries.models.compiled import CompiledInsert, CompiledRows
from galleries.words.told import stored

if TYPE_CHECKING:
    from galleries.models.marks import Round


class Stage(models.TextChoices):
    PLANNING = "planning", _("planning")
    PROOFING = "proofing", _("proofing")
    AGREEING = "agreeing", _("agreeing")
    FINISHING = "finishing", _("finishing")
    DELIVERED = "delivered", _("delivered")
    ARCHIVED = "archived", _("archived")


PICKING = frozenset({Stage.PROOFING, Stage.AGREEING})  # marks are given: proofs are out, and the list is not closed


class Sitting(models.Model):
    """One actor before one photographer on one occasion: the unit that everything hangs on."""

    Stage = Stage

    # Names the sitting's folder in the stores; never shown, never a secret.
    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    slug = models.SlugField(_("short name in addresses"), max_length=60, unique=True)
    title = models.CharField(_("title"), max_length=120)
    photographer = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="sittings", verbose_name=_("photographer")
    )
    colleagues = models.ManyToManyField(
        settings.AUTH_USER_MODEL,
        blank=True,
        related_name="shared_sittings",
        verbose_name=_("colleagues who may work on it"),
    )
    stage = models.CharField(_("stage"), max_length=12, choices=Stage, default=Stage.PLANNING)
    subject_given = models.CharField(_("subject's given name"), max_length=60)
    subject_surname = models.CharField(_("subject's surname"), max_length=60, blank=True)
    held_on = models.DateField(_("date of the sitting"), null=True, blank=True)
    place = models.CharField(_("place"), max_length=120, blank=True)
    plan = models.TextField(_("plan"), blank=True)
    allowance = models.PositiveSmallIntegerField(_("finals included"), default=5)
    deadline = models.DateField(_("picks wanted by"), null=True, blank=True)
    time_zone = models.CharField(_("time zone"), max_length=60, default="Europe/London")
    # What the subject may decide about the agent's sheet.
    subject_chooses_looks = models.BooleanField(_("the subject chooses which looks the agent sees"), default=False)
    strikes_hide = models.BooleanField(_("the subject's strike hides a frame from the representation"), default=False)
    representation_approves = models.BooleanField(_("the representation approves retouches too"), default=False)
    # Minors: who consented, and on what paper; without it nobody is invited.
    subject_is_minor = models.BooleanField(_("the subject is a minor"), default=False)
    guardian_name = models.CharField(_("parent or guardian"), max_length=120, blank=True)
    guardian_consent_on = models.DateField(_("consent given on"), null=True, blank=True)
    guardian_consent_note = models.CharField(_("what paper says so"), max_length=200, blank=True)
    name_for_strip = models.CharField(_("name printed under prints"), max_length=120, blank=True)
    print_profile_key = models.CharField(max_length=200, blank=True, editable=False)
    print_profile_name = models.CharField(max_length=120, blank=True, editable=False)
    current_look = models.ForeignKey("galleries.Look", models.SET_NULL, null=True, blank=True, related_name="+")
    # Keys the invisible mark of this sitting's proofs; travels with the sitting's archive.
    tracer_key = models.CharField(max_length=64, default=secrets.token_hex, editable=False)
    # A key shared with another sitting, under which copies were served once: what they carry is still traced.
    tracer_key_before = models.CharField(max_length=64, blank=True, default="", db_default="", editable=False)
    # Otherwise the photographer looks first, then sends one letter for the batch.
    send_at_once = models.BooleanField(
        _("retouches and deliveries go out at once, without a look first"), default=False, db_default=False
    )
    suggestions_shown = models.BooleanField(
        _("subject and agent see which frames the studio suggests"), default=False, db_default=False
    )
    answer_days = models.PositiveSmallIntegerField(
        _("days to answer a retouch (0: no date, no reminder)"), default=7, db_default=7
    )
    retouch_by = models.DateField(_("retouches wanted from the retoucher by"), null=True, blank=True)
    retoucher_terms = models.TextField(
        _("terms for retouchers of this sitting"), max_length=4000, blank=True, default="", db_default=""
    )
    objection_hours = models.PositiveSmallIntegerField(
        _("hours for the subject to object to a list that the agent closed (0: none)"), default=0, db_default=0
    )
    # Holds the frames of a day's cards until they are put into the sitters' sittings; nobody is ever invited to it.
    is_holding = models.BooleanField(default=False, db_default=False, editable=False)
    created_at = models.DateTimeField(auto_now_add=True)
    published_at = models.DateTimeField(null=True, blank=True, editable=False)
    delivered_at = models.DateTimeField(null=True, blank=True, editable=False)
    # The stage it was put away from, and goes back to; '' while it is not put away.
    put_away_from = models.CharField(
        max_length=12, choices=Stage, blank=True, default="", db_default="", editable=False
    )
    keep_until = models.DateField(_("keep until"), null=True, blank=True)
    # Counts every change a live page may have to show; pages poll with it.
    change = models.PositiveBigIntegerField(default=0, editable=False)

    class Meta:
        verbose_name = _("sitting")
        verbose_name_plural = _("sittings")
        ordering = ["-created_at", "-pk"]

    def __str__(self) -> str:
        return self.title

    @property
    def subject_name(self) -> str:
        return f"{self.subject_given} {self.subject_surname}".strip()

    @property
    def lacks_consent(self) -> bool:
        """A minor for whom no consent of a parent or guardian is on record: nobody invited sees anything."""
        return self.subject_is_minor and not (self.guardian_consent_on and self.guardian_name.strip())

    @property
    def is_picking(self) -> bool:
        return self.stage in PICKING

    @property
    def objection_until(self) -> datetime | None:
        """Until when the subject may object to the closed list; None when they may not, or no longer."""
        if self.stage not in {Stage.FINISHING, Stage.DELIVERED}:
            return None
        last = self.rounds.order_by("-number").first()
        until = last.objection_until if last is not None else None
        return until if until is not None and until > timezone.now() else None

    @property
    def objected_round(self) -> Round | None:
        """The open round, when an objection opened it."""
        return _ask_objected.first(self.pk) if self.is_picking else None

    @property
    def is_open_to_frames(self) -> bool:
        return self.stage != Stage.ARCHIVED


_ask_objected: CompiledRows[Round] = CompiledRows(
    lambda sitting: Sitting(pk=sitting).rounds.filter(closed_at=None).exclude(objected_by="").order_by("pk")[:1],
    by_keys=True,
)


class LookSet(models.QuerySet["Look"]):
    def unhidden(self) -> LookSet:
        return self.filter(hidden=False)

    def let_go(self) -> LookSet:
        """Looks that nobody keeps from the representation."""
        return self.filter(kept_from_representation=False)


class Look(models.Model):
    """A wardrobe, a backdrop and a lighting set-up; several looks make a sitting."""

    class Purpose(models.TextChoices):
        CASTING = "casting", _("casting")
        PORTFOLIO = "portfolio", _("portfolio")

    class Treatment(models.TextChoices):
        COLOUR = "colour", _("colour")
        MONOCHROME = "monochrome", _("black and white")

    sitting = models.ForeignKey(Sitting, models.CASCADE, related_name="looks")
    position = models.PositiveSmallIntegerField(_("position"), default=0)
    title = models.CharField(_("title"), max_length=80)
    purpose = models.CharField(_("purpose"), max_length=10, choices=Purpose, default=Purpose.CASTING)
    treatment = models.CharField(_("treatment"), max_length=10, choices=Treatment, default=Treatment.COLOUR)
    casting_kind = models.CharField(_("for what castings"), max_length=80, blank=True)
    wardrobe = models.CharField(_("wardrobe"), max_length=200, blank=True)
    backdrop = models.CharField(_("backdrop"), max_length=200, blank=True)
    key_light = models.CharField(_("key light"), max_length=200, blank=True)
    fill = models.CharField(_("fill"), max_length=200, blank=True)
    rim = models.CharField(_("rim light"), max_length=200, blank=True)
    modifier = models.CharField(_("modifier"), max_length=200, blank=True)
    distance_cm = models.PositiveSmallIntegerField(_("distance of the key (cm)"), null=True, blank=True)
    gel = models.CharField(_("gel"), max_length=80, blank=True)
    gel_mired = models.SmallIntegerField(_("shift of the gel (mired)"), null=True, blank=True)
    notes = models.TextField(_("set-up notes"), blank=True)
    hidden = models.BooleanField(_("hidden from invitees"), default=False)
    # Nobody but the subject sees it. Said by the photographer, or by the subject: then only the subject takes it back.
    kept_from_representation = models.BooleanField(_("kept from the representation"), default=False)
    kept_by_subject = models.BooleanField(default=False, db_default=False, editable=False)
    # What the program proposed and why; empty once a person has decided.
    proposed_reason = models.CharField(max_length=1000, blank=True)
    # True while nobody has touched it: such a look goes when a better proposal leaves it empty.
    made_by_program = models.BooleanField(default=False, editable=False)

    objects = LookSet.as_manager()

    class Meta:
        verbose_name = _("look")
        verbose_name_plural = _("looks")
        ordering = ["position", "pk"]

    def __str__(self) -> str:
        return self.title

    @property
    def proposed_why(self) -> str:
        """Why the program proposed it, in the reader's language; '' once a person has decided."""
        return stored(self.proposed_reason)

    def shows_more_than(self, other: Look) -> bool:
        """Does somebody see this look who does not see the other?"""
        return (other.hidden and not self.hidden) or (
            other.kept_from_representation and not self.kept_from_representation
        )


class ReferencePicture(models.Model):
    """A picture brought to the planning talk: 'like this light', 'this neckline'."""

    sitting = models.ForeignKey(Sitting, models.CASCADE, related_name="references")
    look = models.ForeignKey(Look, models.SET_NULL, null=True, blank=True, related_name="references")
    key = models.CharField(max_length=200)
    caption = models.CharField(_("caption"), max_length=200, blank=True)
    brought_by = models.CharField(max_length=120)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        verbose_name = _("reference picture")
        verbose_name_plural = _("reference pictures")
        ordering = ["pk"]

    def __str__(self) -> str:
        return self.caption or f"reference {self.pk}"


class PlanComment(models.Model):
    """What somebody said about the plan or one of its looks."""

    sitting = models.ForeignKey(Sitting, models.CASCADE, related_name="plan_comments")
    look = models.ForeignKey(Look, models.SET_NULL, null=True, blank=True, related_name="plan_comments")
    who = models.CharField(max_length=120)
    invite = models.ForeignKey("galleries.Invite", models.SET_NULL, null=True, blank=True)
    text = models.TextField(_("comment"), max_length=2000)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        verbose_name = _("comment on the plan")
        verbose_name_plural = _("comments on the plan")
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.who}: {self.text[:40]}"


class FrameSet(models.QuerySet["Frame"]):
    def unhidden(self) -> FrameSet:
        """Frames that the photographer does not hide by themselves; their look may be hidden, see `access`."""
        return self.filter(hidden=False)

    def let_go(self) -> FrameSet:
        """Frames that nobody keeps from the representation: neither by themselves nor by the look they lie in."""
        return self.filter(kept_by_subject=False).filter(
            models.Q(look=None) | models.Q(look__kept_from_representation=False)
        )

    def kept_back(self) -> FrameSet:
        return self.filter(models.Q(kept_by_subject=True) | models.Q(look__kept_from_representation=True))

    def update(self, **values: Any) -> int:
        """As ever; frames that are put into a look the subject keeps back are kept back from then on."""
        look = values.get("look", values.get("look_id"))
        if look is not None and Look.objects.filter(pk=getattr(look, "pk", look), kept_by_subject=True).exists():
            values["kept_by_subject"] = True
        return super().update(**values)


def stem_of(name: str) -> str:
    """A file's name without its ending."""
    return name.rsplit(".", 1)[0] if "." in name else name


def edge_label(number: int | None, name: str) -> str:
    """What stands on the edge of the sheet: the number the camera gave, else the name without ending."""
    return f"{number:04d}" if number is not None else stem_of(name)


class Frame(models.Model):
    """One exposure. Its bytes are kept as they came; what the program read from them stands beside."""

    class Shown(models.TextChoices):
        """Which picture of the file people see; the values are those of `imaging.opening.picture.Shown`."""

        FILE = "file", _("the file itself")
        EMBEDDED = "embedded", _("the camera's own picture inside the raw file")
        SENSOR = "sensor", _("developed from the sensor's data of the raw file")

    sitting = models.ForeignKey(Sitting, models.CASCADE, related_name="frames")
    look = models.ForeignKey(Look, models.SET_NULL, null=True, blank=True, related_name="frames")
    sha256 = models.CharField(max_length=64)
    key = models.CharField(max_length=200)
    name = models.CharField(_("camera file name"), max_length=200)
    number = models.PositiveIntegerField(_("frame number"), null=True, blank=True)
    bytes = models.PositiveBigIntegerField()
    file_format = models.CharField(max_length=8)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    bits = models.PositiveSmallIntegerField(default=8)
    orientation = models.PositiveSmallIntegerField(default=1)
    profile = models.CharField(max_length=120, blank=True)
    profile_assumed = models.BooleanField(default=False)
    # Why the colours that the file names are not used and it is read as sRGB; told by code, '' where they are.
    profile_unread = models.CharField(max_length=300, blank=True, default="", db_default="", editable=False)
    camera = models.CharField(max_length=120, blank=True)
    # The camera's own clock: it knows no time zone and may be wrong, so it is kept as it was written.
    captured_at = models.DateTimeField(_("captured (camera clock)"), null=True, blank=True)
    shown = models.CharField(_("picture shown"), max_length=8, choices=Shown, default=Shown.FILE, db_default=Shown.FILE)
    # Of a raw file the sensor's pixels, upright; width and height above are those of the picture shown.
    sensor_width = models.PositiveIntegerField(default=0, db_default=0)
    sensor_height = models.PositiveIntegerField(default=0, db_default=0)
    added_at = models.DateTimeField(auto_now_add=True)
    hidden = models.BooleanField(_("hidden"), default=False)
    # The studio's own word, and no more than a word: nobody's mark, and shown to nobody unless the sitting says so.
    suggested = models.BooleanField(default=False, db_default=False, editable=False)
    # The subject's word, and it follows the frame: whatever look it is moved, split or merged into, and out of any.
    kept_by_subject = models.BooleanField(default=False, db_default=False, editable=False)
    # Set by a person's move or a person's boundary; the program's next proposal leaves such a frame alone.
    placed_by_hand = models.BooleanField(default=False)
    reading = models.JSONField(null=True, blank=True)
    reading_version = models.PositiveSmallIntegerField(default=0)
    run = models.PositiveIntegerField(_("run of near-identical frames"), null=True, blank=True)
    run_place = models.PositiveSmallIntegerField(_("place in its run, best first"), default=0)

    objects = FrameSet.as_manager()

    class Meta:
        verbose_name = _("frame")
        verbose_name_plural = _("frames")
        ordering = ["captured_at", "name", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["sitting", "sha256"], name="same_bytes_are_one_frame"),
        ]
        indexes = [models.Index(fields=["sitting", "look", "captured_at"])]

    def __str__(self) -> str:
        return self.label

    def save(self, *args: Any, **kwargs: Any) -> None:
        """As ever; see `FrameSet.update` for what a look that is kept back means for a frame put into it."""
        fields = kwargs.get("update_fields")
        lands = self.look_id is not None and (fields is None or "look" in fields)
        if lands and not self.kept_by_subject and self.look is not None and self.look.kept_by_subject:
            self.kept_by_subject = True
            if fields is not None:
                kwargs["update_fields"] = [*fields, "kept_by_subject"]
        if self.pk is None and not args and not kwargs:  # a file came in
            _add_frame(self)
        else:
            super().save(*args, **kwargs)

    @property
    def label(self) -> str:
        return edge_label(self.number, self.name)

    @property
    def stem(self) -> str:
        return stem_of(self.name)

    @property
    def is_raw(self) -> bool:
        """Is its file a camera's raw file, which nobody invited ever gets but the retoucher of a final?"""
        return self.shown != Frame.Shown.FILE

    @property
    def raw_beside(self) -> RawFile | None:
        """The raw file of the same exposure, where this frame's own file is none."""
        return getattr(self, "raw", None)

    @property
    def file_names(self) -> list[str]:
        """The names of its files as the camera gave them: the picture's, then the raw file's."""
        return [self.name, *([self.raw_beside.name] if self.raw_beside else [])]

    @property
    def is_kept_back(self) -> bool:
        """As `FrameSet.kept_back`, for one frame."""
        return self.kept_by_subject or (self.look is not None and self.look.kept_from_representation)

    @property
    def read(self) -> dict[str, Any]:
        return self.reading or {}


_add_frame = CompiledInsert(Frame)


class RawFile(models.Model):
    """The camera's raw file of a frame whose picture is a JPEG or HEIF of the same exposure."""

    frame = models.OneToOneField(Frame, models.CASCADE, related_name="raw")
    sha256 = models.CharField(max_length=64)
    key = models.CharField(max_length=200)
    name = models.CharField(_("camera file name"), max_length=200)
    bytes = models.PositiveBigIntegerField()
    file_format = models.CharField(max_length=8)
    added_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        verbose_name = _("raw file")
        verbose_name_plural = _("raw files")
        ordering = ["pk"]
        indexes = [models.Index(fields=["sha256"])]

    def __str__(self) -> str:
        return self.name


class ProofSet(models.QuerySet["Proof"]):
    def newest(self) -> dict[int, Proof]:
        """frame → its current proof, in one query."""
        return {proof.frame_id: proof for proof in self.order_by("pk")}

    def newest_of(self, frame_ids: Iterable[int]) -> dict[int, Proof]:
        return self.filter(frame__in=list(frame_ids)).newest()


class Proof(models.Model):
    """The stamped derivatives of one frame by one version of the recipe. `middle_key` is '' where the large one is no
    larger than the middle one would be, and of proofs from before there was one."""

    frame = models.ForeignKey(Frame, models.CASCADE, related_name="proofs")
    recipe = models.CharField(max_length=40)
    large_key = models.CharField(max_length=200)
    large_width = models.PositiveIntegerField()
    large_height = models.PositiveIntegerField()
    middle_key = models.CharField(max_length=200, blank=True, default="", db_default="")
    small_key = models.CharField(max_length=200)
    small_width = models.PositiveIntegerField()
    small_height = models.PositiveIntegerField()
    made_at = models.DateTimeField(auto_now_add=True)

    objects = ProofSet.as_manager()

    class Meta:
        verbose_name = _("proof")
        verbose_name_plural = _("proofs")
        ordering = ["-pk"]
        constraints = [models.UniqueConstraint(fields=["frame", "recipe"], name="one_proof_per_recipe")]

    def __str__(self) -> str:
        return f"proof of {self.frame}"


class Refusal(models.Model):
    """A file that did not become a frame, and why."""

    sitting = models.ForeignKey(Sitting, models.CASCADE, related_name="refusals")
    name = models.CharField(max_length=200)
    reason = models.CharField(max_length=500)
    bytes = models.PositiveBigIntegerField(default=0)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        verbose_name = _("refused file")
        verbose_name_plural = _("refused files")
        ordering = ["-pk"]
        constraints = [models.UniqueConstraint(fields=["sitting", "name", "bytes"], name="one_line_per_refused_file")]

    def __str__(self) -> str:
        return self.name

    @property
    def why(self) -> str:
        """Why it was refused, in the reader's language."""
        return stored(self.reason)
