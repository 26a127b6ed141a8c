"""What a retoucher accepted before they got anything, and what they fetched."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

from django.db import models
from django.utils.translation import gettext_lazy as _

from galleries.models.people import Invite, Studio

if TYPE_CHECKING:
    from galleries.models.sittings import Sitting

HOUSE_TERMS = "house-1"  # names the wording of the house, in whatever language; raise it when the wording changes


def terms_written(sitting: Sitting) -> str:
    """The photographer's own terms for retouchers of this sitting, else the studio's; '' where the house's hold."""
    return sitting.retoucher_terms.strip() or Studio.current().retoucher_terms.strip()


def wording_of(sitting: Sitting) -> str:
    """Names the terms that hold now: whoever accepted others is asked again."""
    written = terms_written(sitting)
    return hashlib.sha256(written.encode()).hexdigest() if written else HOUSE_TERMS


class RetoucherAcceptance(models.Model):
    """A retoucher accepted the terms, by name, in exactly these words."""

    sitting = models.ForeignKey("galleries.Sitting", models.CASCADE, related_name="retoucher_acceptances")
    invite = models.ForeignKey(Invite, models.SET_NULL, null=True, blank=True)
    name = models.CharField(_("name"), max_length=120)
    wording = models.CharField(max_length=64)
    text = models.TextField()
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        verbose_name = _("acceptance of a retoucher's terms")
        verbose_name_plural = _("acceptances of retouchers' terms")
        ordering = ["pk"]
        constraints = [models.UniqueConstraint(fields=["invite", "wording"], name="retouchers_terms_accepted_once")]

    def __str__(self) -> str:
        return f"{self.name}, {self.at:%Y-%m-%d}"

    @classmethod
    def holds_for(cls, invite: Invite, sitting: Sitting) -> bool:
        """Did this person accept the terms as they stand today?"""
        return cls.objects.filter(invite=invite, sitting=sitting, wording=wording_of(sitting)).exists()


class RetoucherReceipt(models.Model):
    """Which unstamped originals of the finals were fetched, by whom and when. A fetch resumed in parts is one."""

    sitting = models.ForeignKey("galleries.Sitting", models.CASCADE, related_name="retoucher_receipts")
    invite = models.ForeignKey(Invite, models.SET_NULL, null=True, blank=True)
    who = models.CharField(max_length=120)
    name = models.CharField(max_length=200)
    sha256 = models.CharField(max_length=64)
    bytes = models.PositiveBigIntegerField()
    # The camera's names of the files in it.
    holds = models.JSONField(default=list, blank=True)
    started_at = models.DateTimeField(auto_now_add=True)
    last_at = models.DateTimeField(auto_now=True)
    fetches = models.PositiveIntegerField(default=1)
    last_byte = models.PositiveBigIntegerField(default=0)

    class Meta:
        verbose_name = _("receipt of a retoucher")
        verbose_name_plural = _("receipts of retouchers")
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["sitting", "invite", "who", "sha256"], name="one_receipt_per_retoucher_and_file"
            )
        ]

    def __str__(self) -> str:
        return f"{self.who} fetched {self.name}"

    @property
    def is_whole(self) -> bool:
        """Did the last byte leave, too?"""
        return self.bytes > 0 and self.last_byte >= self.bytes - 1
