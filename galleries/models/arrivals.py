"""A file on its way in by parts, from the browser to the store, past the web process."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from galleries.words.told import stored


class Arrival(models.Model):
    """What somebody of the studio, or a retoucher, said they would send, and what became of it. Which parts are there
    the store knows.

    No frame and no retouch comes of it before the worker has read the whole file: what it is called, holds and hashes
    to is until then only what its sender says.
    """

    class Kind(models.TextChoices):
        FRAME = "frame", _("frame")
        RETOUCH = "retouch", _("retouch")

    class State(models.TextChoices):
        SENDING = "sending", _("on its way")
        ARRIVED = "arrived", _("waits to be looked at")
        NEW = "new", _("is here")
        STRAY = "stray", _("waits for a choice")
        SAME = "same", _("was here already")
        REFUSED = "refused", _("refused")

    sitting = models.ForeignKey("galleries.Sitting", models.CASCADE, related_name="arrivals")
    kind = models.CharField(max_length=8, choices=Kind, default=Kind.FRAME, db_default=Kind.FRAME)
    # Who sends it: one of the two.
    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, null=True, blank=True, related_name="+")
    invite = models.ForeignKey("galleries.Invite", models.CASCADE, null=True, blank=True, related_name="+")
    name = models.CharField(max_length=200)
    sha256 = models.CharField(max_length=64)
    bytes = models.PositiveBigIntegerField()
    state = models.CharField(max_length=8, choices=State, default=State.SENDING)
    # The store's own name of an upload in parts; of any length (S3's API sets none).
    upload = models.TextField(editable=False)
    reason = models.CharField(max_length=500, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        verbose_name = _("file on its way in")
        verbose_name_plural = _("files on their way in")
        ordering = ["-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["sitting", "kind", "user", "sha256"],
                condition=Q(state__in=["sending", "arrived"]),
                name="a_file_is_on_its_way_once",
            ),
            models.UniqueConstraint(
                fields=["sitting", "kind", "invite", "sha256"],
                condition=Q(state__in=["sending", "arrived"]),
                name="an_invited_file_is_on_its_way_once",
            ),
            models.CheckConstraint(
                condition=Q(user__isnull=True, invite__isnull=False) | Q(user__isnull=False, invite__isnull=True),
                name="a_file_has_one_sender",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def why(self) -> str:
        """Why it was refused, in the reader's language."""
        return stored(self.reason)
