"""Sittings that were removed for good: what is kept of them, and whether all of their files are gone."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _


class Erasure(models.Model):
    """Names neither the subject nor the sitting. One per removal: a sitting may come back from its archive, and be
    removed again."""

    uid = models.UUIDField()
    number = models.PositiveBigIntegerField()  # the sitting's row had it
    who = models.CharField(max_length=140)
    why = models.CharField(max_length=200)
    frames = models.PositiveIntegerField()
    begun_at = models.DateTimeField(auto_now_add=True)
    # How many files went, and when all had gone.
    files = models.PositiveIntegerField(default=0)
    done_at = models.DateTimeField(null=True, blank=True)
    # When it began to come back from its archive: what lies in its folder then is not left over.
    restore_begun_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        verbose_name = _("removal for good")
        verbose_name_plural = _("removals for good")
        ordering = ["pk"]
        indexes = [models.Index(fields=["uid"])]

    def __str__(self) -> str:
        return f"{self.begun_at:%Y-%m-%d %H:%M} {self.uid.hex}"
