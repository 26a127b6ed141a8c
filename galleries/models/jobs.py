"""Work for the worker, as rows: the database is the truth, the queue only a bell."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from galleries.words.told import stored


class Job(models.Model):
    class State(models.TextChoices):
        WAITING = "waiting", _("waiting")
        RUNNING = "running", _("running")
        DONE = "done", _("done")
        FAILED = "failed", _("failed")

    sitting = models.ForeignKey("galleries.Sitting", models.CASCADE, null=True, related_name="jobs")
    kind = models.CharField(max_length=20)
    thing = models.PositiveBigIntegerField()
    recipe = models.CharField(max_length=40, blank=True)
    state = models.CharField(max_length=8, choices=State, default=State.WAITING)
    reason = models.CharField(max_length=500, blank=True)
    again = models.BooleanField(default=False, db_default=False)  # asked for while running: to be done once more
    attempts = models.PositiveSmallIntegerField(default=0)
    # What was out of reach, how often in a row, and when it is tried again.
    setbacks = models.PositiveSmallIntegerField(default=0, db_default=0)
    not_before = models.DateTimeField(null=True, blank=True)
    owner = models.CharField(max_length=120, blank=True)
    lease_until = models.DateTimeField(null=True, blank=True)
    rung_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)
    done_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        verbose_name = _("job")
        verbose_name_plural = _("jobs")
        constraints = [models.UniqueConstraint(fields=["kind", "thing", "recipe"], name="work_is_listed_once")]
        indexes = [models.Index(fields=["state", "lease_until"])]

    def __str__(self) -> str:
        return f"{self.kind} {self.thing}: {self.state}"

    @property
    def why(self) -> str:
        """Why it failed, in the reader's language."""
        return stored(self.reason)
