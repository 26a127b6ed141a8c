"""What was handed over, file by file, and who fetched it when."""

from __future__ import annotations

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _


class DeliverySet(models.QuerySet["Delivery"]):
    def handed_over(self) -> DeliverySet:
        """Those that people may fetch, as long as they have not lapsed."""
        return self.filter(state=Delivery.State.READY)

    def known_of(self) -> DeliverySet:
        """Those that people were told of, withdrawn ones too; not one that was withdrawn before it was sent."""
        unsent = models.Q(state=Delivery.State.WITHDRAWN, ready_at=None)
        return self.filter(state__in=[Delivery.State.READY, Delivery.State.WITHDRAWN]).exclude(unsent)

    def being_made(self) -> DeliverySet:
        return self.filter(state=Delivery.State.WAITING)


class Delivery(models.Model):
    """One hand-over. It keeps the numbers of the sizes and the licence it was made with."""

    class State(models.TextChoices):
        WAITING = "waiting", _("being made")
        MADE = "made", _("waits for the studio's look")
        READY = "ready", _("ready")
        FAILED = "failed", _("failed")
        WITHDRAWN = "withdrawn", _("withdrawn")

    sitting = models.ForeignKey("galleries.Sitting", models.CASCADE, related_name="deliveries")
    number = models.PositiveSmallIntegerField()
    licence = models.ForeignKey("galleries.Licence", models.PROTECT, related_name="deliveries")
    # slug -> the size's fields as they were
    sizes = models.JSONField()
    # What is to be cut, file by file, as it was when the delivery was asked for: a resumed build makes the same.
    orders = models.JSONField(default=list, blank=True)
    state = models.CharField(max_length=10, choices=State, default=State.WAITING)
    problem = models.CharField(max_length=500, blank=True)
    changed_only = models.BooleanField(default=False)
    archive_key = models.CharField(max_length=200, blank=True)
    archive_name = models.CharField(max_length=120, blank=True)
    archive_sha256 = models.CharField(max_length=64, blank=True)
    archive_bytes = models.PositiveBigIntegerField(default=0)
    passcode_hash = models.CharField(max_length=200, blank=True)
    expires_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)
    ready_at = models.DateTimeField(null=True, blank=True)

    objects = DeliverySet.as_manager()

    class Meta:
        verbose_name = _("delivery")
        verbose_name_plural = _("deliveries")
        ordering = ["number"]
        constraints = [models.UniqueConstraint(fields=["sitting", "number"], name="deliveries_are_numbered")]

    def __str__(self) -> str:
        return f"delivery {self.sitting_id}-{self.number}"

    @property
    def has_lapsed(self) -> bool:
        """Is the time over in which it could be fetched?"""
        return self.expires_at is not None and self.expires_at <= timezone.now()

    @property
    def is_there(self) -> bool:
        """Is it handed over, and may still be fetched?"""
        return self.state == Delivery.State.READY and not self.has_lapsed


class DeliveredFile(models.Model):
    """One file of a delivery."""

    delivery = models.ForeignKey(Delivery, models.CASCADE, related_name="files")
    final = models.ForeignKey("galleries.Final", models.PROTECT, related_name="delivered", null=True)
    size_slug = models.CharField(max_length=40)
    name = models.CharField(max_length=160)
    key = models.CharField(max_length=200)
    sha256 = models.CharField(max_length=64, db_index=True)
    # What the picture was made from, so that a re-delivery knows what changed.
    recipe_sha256 = models.CharField(max_length=64, blank=True)
    bytes = models.PositiveBigIntegerField()
    width = models.PositiveIntegerField(default=0)
    height = models.PositiveIntegerField(default=0)
    warnings = models.JSONField(default=list, blank=True)

    class Meta:
        verbose_name = _("delivered file")
        verbose_name_plural = _("delivered files")
        ordering = ["name"]
        constraints = [models.UniqueConstraint(fields=["delivery", "name"], name="file_names_are_unique")]

    def __str__(self) -> str:
        return self.name


class Receipt(models.Model):
    """Who fetched what, when. A fetch resumed in parts is one receipt."""

    delivery = models.ForeignKey(Delivery, models.CASCADE, related_name="receipts")
    invite = models.ForeignKey("galleries.Invite", models.SET_NULL, null=True, blank=True)
    who = models.CharField(max_length=120)
    name = models.CharField(max_length=160)
    started_at = models.DateTimeField(auto_now_add=True)
    last_at = models.DateTimeField(auto_now=True)
    fetches = models.PositiveIntegerField(default=1)
    last_byte = models.PositiveBigIntegerField(default=0)

    class Meta:
        verbose_name = _("receipt")
        verbose_name_plural = _("receipts")
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["delivery", "invite", "name"], name="one_receipt_per_person_and_file")
        ]

    def __str__(self) -> str:
        return f"{self.who} fetched {self.name}"
