"""A second opinion: some frames shown to somebody the subject trusts, and what that person says of them.

Only the subject who asked reads the words, and the representation where the subject says so. The studio reads neither
words nor names: they are not in the journal, not in the pages of upkeep, not in a sitting's archive file.
"""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

BROWSERS = 3  # that one link lets in; own choice, as for an invite's


class SecondOpinionSet(models.QuerySet["SecondOpinion"]):
    def unended(self) -> SecondOpinionSet:
        """Those that neither the subject nor the closing of the list ended; see `SecondOpinion.holds`."""
        return self.filter(ended_at=None)


class SecondOpinion(models.Model):
    """One person asked by one subject. Only the hash of the link's token is kept."""

    sitting = models.ForeignKey("galleries.Sitting", models.CASCADE, related_name="second_opinions")
    asked_by = models.ForeignKey("galleries.Invite", models.CASCADE, related_name="second_opinions")
    name = models.CharField(_("first name"), max_length=40)
    token_hash = models.CharField(max_length=64, unique=True)
    browsers = models.PositiveSmallIntegerField(default=0)
    for_representation = models.BooleanField(_("the agent may read it"), default=False)
    sentence = models.CharField(max_length=500, blank=True)
    said_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    objects = SecondOpinionSet.as_manager()

    class Meta:
        verbose_name = _("second opinion")
        verbose_name_plural = _("second opinions")
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"second opinion {self.pk}"

    def holds(self) -> bool:
        """Is it neither ended, nor the list closed, nor the asking subject's own invite over?"""
        return self.ended_at is None and self.sitting.is_picking and self.asked_by.holds()


class OpinionFrame(models.Model):
    """A frame that is shown for a second opinion, and whether it is the one."""

    opinion = models.ForeignKey(SecondOpinion, models.CASCADE, related_name="shown")
    frame = models.ForeignKey("galleries.Frame", models.CASCADE, related_name="+")
    this_one = models.BooleanField(default=False)

    class Meta:
        verbose_name = _("frame of a second opinion")
        verbose_name_plural = _("frames of second opinions")
        ordering = ["frame__captured_at", "frame__name", "pk"]
        constraints = [models.UniqueConstraint(fields=["opinion", "frame"], name="a_frame_once_per_second_opinion")]

    def __str__(self) -> str:
        return f"frame {self.frame_id} of second opinion {self.opinion_id}"
