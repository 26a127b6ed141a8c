"""From the agreed list to crops: finals, retouched versions, approvals, delivery sizes and crops."""

from __future__ import annotations

from collections.abc import Mapping

from django.conf import settings
from django.db import models
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from galleries.imaging.comparing.amounts import Changes, Place
from galleries.models.people import Studio
from galleries.words.imaging import not_compared
from galleries.words.told import stored


class FinalSet(models.QuerySet["Final"]):
    def listed(self) -> FinalSet:
        """The finals of the closed list; those that a reopened list left out are kept, but not on it."""
        return self.filter(on_list=True)

    def undelivered(self) -> FinalSet:
        """On the list, and no file of it was ever handed over in a delivery that still stands."""
        handed = self.filter(delivered__delivery__state="ready").values("pk")
        return self.listed().exclude(pk__in=handed)

    def open(self) -> FinalSet:
        """On the list, and neither approved nor to be delivered as they were taken."""
        return self.listed().exclude(state__in=[Final.State.APPROVED, Final.State.AS_IT_IS])

    def to_retouch(self) -> FinalSet:
        """On the list, and a version is wanted that has not come in yet: the first, or one after it was sent back."""
        unsent = Version.objects.waiting().filter(final=models.OuterRef("pk"))
        wanted = self.listed().filter(state__in=[Final.State.AGREED, Final.State.RETURNED])
        return wanted.filter(~models.Exists(unsent))


class Final(models.Model):
    """A frame on the agreed list."""

    class State(models.TextChoices):
        AGREED = "agreed", _("waits for the retouch")
        SHOWN = "shown", _("waits for approval")
        RETURNED = "returned", _("sent back with notes")
        APPROVED = "approved", _("approved")
        AS_IT_IS = "as_it_is", _("delivered without retouch")

    sitting = models.ForeignKey("galleries.Sitting", models.CASCADE, related_name="finals")
    frame = models.ForeignKey("galleries.Frame", models.PROTECT, related_name="finals")
    round = models.ForeignKey("galleries.Round", models.CASCADE, related_name="finals")
    position = models.PositiveSmallIntegerField(default=0)
    # False after a reopened list left it out; what was made from it is kept.
    on_list = models.BooleanField(default=True)
    state = models.CharField(_("state"), max_length=10, choices=State, default=State.AGREED)
    brief = models.TextField(_("brief for the retoucher"), blank=True)
    # The photographer's explicit word for a raw frame that goes out as it was taken.
    from_camera_picture = models.BooleanField(
        _("cut from the camera's picture"), default=False, db_default=False, editable=False
    )
    alt_text = models.CharField(_("description for people who cannot see it"), max_length=250, blank=True)

    objects = FinalSet.as_manager()

    class Meta:
        verbose_name = _("final")
        verbose_name_plural = _("finals")
        ordering = ["position", "pk"]
        constraints = [models.UniqueConstraint(fields=["sitting", "frame"], name="a_frame_is_final_once")]

    def __str__(self) -> str:
        return f"final {self.frame}"

    @property
    def is_ready(self) -> bool:
        return self.state in {self.State.APPROVED, self.State.AS_IT_IS}


class VersionSet(models.QuerySet["Version"]):
    def sent(self) -> VersionSet:
        """Versions the photographer has let out; nobody invited knows of the others."""
        return self.exclude(sent_at=None)

    def unsent(self) -> VersionSet:
        return self.filter(sent_at=None)

    def waiting(self) -> VersionSet:
        """The newest version of each final on a list, where the photographer has not sent it out yet."""
        newer = Version.objects.filter(final=models.OuterRef("final"), number__gt=models.OuterRef("number"))
        return self.unsent().filter(~models.Exists(newer), final__on_list=True)

    def newest_sent(self) -> VersionSet:
        """The newest of each final among those let out."""
        newer = Version.objects.sent().filter(final=models.OuterRef("final"), number__gt=models.OuterRef("number"))
        return self.sent().filter(~models.Exists(newer))

    def newest(self) -> Version | None:
        return self.order_by("-number").first()

    def caution_anew(self, most: Mapping[str, float]) -> None:
        """Tell by thresholds of now what was read of each; in the transaction that keeps these."""
        rows = self.exclude(changes=None).only("pk", "changes", "geometry_caution")
        for version in rows.iterator(chunk_size=500):
            caution = Changes.from_dict(version.changes or {}).caution(most)
            text = caution.as_text(600) if caution else ""
            if text != version.geometry_caution:
                self.filter(pk=version.pk).update(geometry_caution=text)


class Version(models.Model):
    """One state of a retouch. Versions are kept; an approval names one by its SHA-256."""

    class Kind(models.TextChoices):
        """How it was made, as the IPTC's vocabulary of digital source types names it; goes into every file."""

        RETOUCHED = "humanEdits", _("retouched by a person, no generative tool")
        ENHANCED = "algorithmicallyEnhanced", _("enhanced by a program, no generative tool")
        GENERATIVE = "compositeWithTrainedAlgorithmicMedia", _("edited with a generative tool")

    class Stated(models.TextChoices):
        """Who stated how it was made."""

        NOBODY = "", _("nobody")
        PERSON = "person", _("a person")
        FILE = "file", _("the file's own metadata")

    final = models.ForeignKey(Final, models.CASCADE, related_name="versions")
    number = models.PositiveSmallIntegerField()
    sha256 = models.CharField(max_length=64)
    key = models.CharField(max_length=200)
    name = models.CharField(max_length=200)
    bytes = models.PositiveBigIntegerField()
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    matched_by = models.CharField(max_length=200, blank=True)
    proof_key = models.CharField(max_length=200, blank=True)
    reading = models.JSONField(null=True, blank=True)
    geometry_caution = models.CharField(max_length=600, blank=True)
    # What was read of it against its frame (`imaging.comparing.changes`); None: nothing, or under an earlier release.
    changes = models.JSONField(null=True, blank=True, editable=False)
    kind = models.CharField(_("how it was made"), max_length=40, choices=Kind, default=Kind.RETOUCHED)
    kind_stated = models.CharField(max_length=6, choices=Stated, default=Stated.NOBODY, db_default="", blank=True)
    kind_said_by = models.CharField(max_length=120, blank=True)  # the person's name, where a person said it
    # The retoucher who sent it in; None: the studio itself did, or the invite is gone.
    invite = models.ForeignKey("galleries.Invite", models.SET_NULL, null=True, blank=True, related_name="+")
    added_at = models.DateTimeField(auto_now_add=True)
    # When the photographer let it out to be approved; None while only the studio knows of it.
    sent_at = models.DateTimeField(null=True, blank=True, editable=False)

    objects = VersionSet.as_manager()

    class Meta:
        verbose_name = _("version")
        verbose_name_plural = _("versions")
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(fields=["final", "number"], name="versions_are_numbered"),
            models.UniqueConstraint(fields=["final", "sha256"], name="same_bytes_are_one_version"),
        ]

    def __str__(self) -> str:
        return f"{self.final}, version {self.number}"

    @property
    def caution(self) -> str:
        """What the retouch did to the face, in the reader's language; '' where nothing is worth a word."""
        return stored(self.geometry_caution)

    @property
    def not_compared(self) -> str:
        """What could not be read against the frame, in the reader's language; '' where all was."""
        return not_compared(self._changes.unread) if self.changes else ""

    @property
    def _changes(self) -> Changes:
        return Changes.from_dict(self.changes or {})

    def changed_places(self, *, on_version: bool = False) -> list[Place]:
        """Where on the frame, or on this version, lies what the caution tells: shares x, y, width, height."""
        if not self.changes or not self.geometry_caution:
            return []
        return self._changes.marked(Studio.current().cautioned_from, on_version=on_version)

    @property
    def how_found(self) -> str:
        return stored(self.matched_by)


class Approval(models.Model):
    """A person's word on one version."""

    class Decision(models.TextChoices):
        APPROVED = "approved", _("approved")
        RETURNED = "returned", _("sent back")

    version = models.ForeignKey(Version, models.CASCADE, related_name="approvals")
    sha256 = models.CharField(max_length=64)
    decision = models.CharField(max_length=10, choices=Decision)
    note = models.TextField(max_length=2000, blank=True)
    # Whoever retouches may read the note too: the writer's own word, never taken for granted of an older one.
    for_retoucher = models.BooleanField(default=False, db_default=False)
    who = models.CharField(max_length=120)
    invite = models.ForeignKey("galleries.Invite", models.SET_NULL, null=True, blank=True)
    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, blank=True)
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        verbose_name = _("approval")
        verbose_name_plural = _("approvals")
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.decision} by {self.who}"


class PinnedNote(models.Model):
    """A wish for the retoucher, pinned to a point or region of the picture (fractions of width and height)."""

    final = models.ForeignKey(Final, models.CASCADE, related_name="pinned_notes")
    # The version that was looked at; none: the frame, before any retouch came (or a note from before this was kept).
    version = models.ForeignKey("Version", models.SET_NULL, null=True, blank=True, related_name="pinned_notes")
    x = models.FloatField()
    y = models.FloatField()
    width = models.FloatField(default=0)
    height = models.FloatField(default=0)
    text = models.TextField(max_length=1000)
    who = models.CharField(max_length=120)
    invite = models.ForeignKey("galleries.Invite", models.SET_NULL, null=True, blank=True)
    done = models.BooleanField(default=False)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        verbose_name = _("pinned note")
        verbose_name_plural = _("pinned notes")
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(x__gte=0, x__lte=1, y__gte=0, y__lte=1, width__gte=0, height__gte=0),
                name="pins_lie_in_the_picture",
            )
        ]

    def __str__(self) -> str:
        return self.text[:40]


class StrayRetouch(models.Model):
    """A retouched file that matched no final, or more than one; it waits for a person's choice."""

    sitting = models.ForeignKey("galleries.Sitting", models.CASCADE, related_name="strays")
    sha256 = models.CharField(max_length=64)
    key = models.CharField(max_length=200)
    name = models.CharField(max_length=200)
    bytes = models.PositiveBigIntegerField()
    reason = models.CharField(max_length=300)
    # As of a version.
    invite = models.ForeignKey("galleries.Invite", models.SET_NULL, null=True, blank=True, related_name="+")
    candidates = models.ManyToManyField(Final, blank=True, related_name="+")
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        verbose_name = _("stray retouch")
        verbose_name_plural = _("stray retouches")
        ordering = ["pk"]
        constraints = [models.UniqueConstraint(fields=["sitting", "sha256"], name="a_stray_waits_once")]

    def __str__(self) -> str:
        return self.name

    @property
    def why(self) -> str:
        """Why it was not matched, in the reader's language."""
        return stored(self.reason)


class DeliverySizeSet(models.QuerySet["DeliverySize"]):
    def offered(self) -> DeliverySizeSet:
        """Sizes that can be chosen for a delivery; the others are retired."""
        return self.filter(retired=False)


class DeliverySize(models.Model):
    """What one delivered file must measure. Data, with its source: no size stands in the code."""

    class Use(models.TextChoices):
        PRINT = "print", _("print")
        CASTING = "casting", _("casting upload")
        WEB = "web", _("web and social")
        FULL = "full", _("full frame")

    slug = models.SlugField(max_length=40, unique=True)
    title = models.CharField(_("title"), max_length=80)
    use = models.CharField(_("use"), max_length=10, choices=Use)
    width = models.PositiveIntegerField(_("width (px, 0 = native)"))
    height = models.PositiveIntegerField(_("height (px, 0 = native)"))
    ppi = models.PositiveSmallIntegerField(_("ppi"), default=300)
    # A fraction is meant: 1/8 in at 300 ppi is 37.5 px a side, and both sides together are rounded once.
    bleed = models.FloatField(_("bleed per side (px)"), default=0)
    border = models.PositiveSmallIntegerField(_("border (px)"), default=0)
    safe = models.PositiveSmallIntegerField(_("safe area inside the trim (px)"), default=0)
    byte_cap = models.PositiveIntegerField(_("byte cap (0 = none)"), default=0)
    file_format = models.CharField(
        _("file format"), max_length=4, default="JPEG", choices=[("JPEG", "JPEG"), ("TIFF", "TIFF")]
    )
    bits = models.PositiveSmallIntegerField(_("bits per channel"), default=8, choices=[(8, "8"), (16, "16")])
    profile = models.CharField(_("colour profile"), max_length=40, default="sRGB")
    min_ppi = models.PositiveSmallIntegerField(_("least ppi without a warning"), default=0)
    name_strip = models.BooleanField(_("name strip"), default=False)
    quality = models.PositiveSmallIntegerField(_("JPEG quality"), default=92)
    source = models.CharField(_("where the numbers come from"), max_length=300)
    source_kind = models.CharField(_("kind of source"), max_length=20, default="", db_default="")
    checked_on = models.DateField(_("last checked"))
    position = models.PositiveSmallIntegerField(default=0)
    chosen_first = models.BooleanField(_("chosen for a new delivery"), default=True)
    retired = models.BooleanField(_("retired"), default=False)

    objects = DeliverySizeSet.as_manager()

    class Meta:
        verbose_name = _("delivery size")
        verbose_name_plural = _("delivery sizes")
        ordering = ["position", "pk"]

    def __str__(self) -> str:
        return self.shown_title

    @property
    def shown_title(self) -> str:
        """In the reader's language where it is of a size that comes with the program; as written where it is not."""
        return gettext(self.title) if self.title else ""

    @property
    def shown_source(self) -> str:
        return gettext(self.source) if self.source else ""


class Crop(models.Model):
    """The part of a final that one delivery size shows, in pixels of the oriented picture."""

    final = models.ForeignKey(Final, models.CASCADE, related_name="crops")
    size = models.ForeignKey(DeliverySize, models.PROTECT, related_name="crops")
    x = models.PositiveIntegerField()
    y = models.PositiveIntegerField()
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    tilt = models.FloatField(default=0)
    # The picture the numbers were measured on; a version of another size makes the crop stale.
    frame_width = models.PositiveIntegerField()
    frame_height = models.PositiveIntegerField()
    source_sha256 = models.CharField(max_length=64, blank=True)
    by_hand = models.BooleanField(default=False)
    by = models.CharField(max_length=120, blank=True)
    reasons = models.JSONField(default=list, blank=True)
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        verbose_name = _("crop")
        verbose_name_plural = _("crops")
        constraints = [models.UniqueConstraint(fields=["final", "size"], name="one_crop_per_final_and_size")]

    def __str__(self) -> str:
        return f"{self.final} as {self.size}"

    @property
    def why(self) -> list[str]:
        """Why it lies where it lies, in the reader's language."""
        return [stored(one) for one in self.reasons]
