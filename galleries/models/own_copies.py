"""What a person asked for who wants everything that is kept about them: one archive, looked at, then let go."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _


class OwnCopySet(models.QuerySet["OwnCopy"]):
    def let_go(self) -> OwnCopySet:
        """Those that their person may fetch, as long as they have not lapsed."""
        return self.filter(state=OwnCopy.State.READY)


class OwnCopy(models.Model):
    """A copy of all that a sitting keeps about its subject, made for one invite; no other can fetch it."""

    class State(models.TextChoices):
        WAITING = "waiting", _("being made")
        MADE = "made", _("waits for the studio's look")
        READY = "ready", _("ready")
        FAILED = "failed", _("failed")
        WITHDRAWN = "withdrawn", _("withdrawn")
        ENDED = "ended", _("over, its file is removed")

    sitting = models.ForeignKey("galleries.Sitting", models.CASCADE, related_name="own_copies")
    invite = models.ForeignKey("galleries.Invite", models.CASCADE, related_name="own_copies")
    state = models.CharField(max_length=10, choices=State, default=State.WAITING)
    # Otherwise stamped proofs stand for them.
    with_originals = models.BooleanField(default=False)
    days = models.PositiveSmallIntegerField(default=30)
    problem = models.CharField(max_length=500, blank=True)
    # How many rows of each table and how many pictures it holds.
    holds = models.JSONField(default=dict, blank=True)
    archive_key = models.CharField(max_length=200, blank=True)
    archive_name = models.CharField(max_length=120, blank=True)
    archive_sha256 = models.CharField(max_length=64, blank=True)
    archive_bytes = models.PositiveBigIntegerField(default=0)
    created_at = models.DateTimeField(auto_now_add=True)
    ready_at = models.DateTimeField(null=True, blank=True)
    # When the file goes, whether it was fetched or not.
    expires_at = models.DateTimeField(null=True, blank=True)
    first_fetched_at = models.DateTimeField(null=True, blank=True)
    last_fetched_at = models.DateTimeField(null=True, blank=True)

    objects = OwnCopySet.as_manager()

    class Meta:
        verbose_name = _("copy for the subject")
        verbose_name_plural = _("copies for the subject")
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["invite"], condition=models.Q(state="waiting"), name="one_own_copy_in_the_making"
            )
        ]

    def __str__(self) -> str:
        return f"own copy {self.pk} of {self.sitting_id}"
