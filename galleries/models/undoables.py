"""What can be taken back: an act on looks and frames, with what it found before it."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from galleries.models.sittings import Sitting
from galleries.models.verbs import Verb


class UndoableSet(models.QuerySet["Undoable"]):
    def standing(self) -> UndoableSet:
        """Acts that nobody has taken back."""
        return self.filter(undone_at=None)


class Undoable(models.Model):
    """One act that can be taken back, written in the act's own transaction. The journal tells of acts; this undoes
    them."""

    sitting = models.ForeignKey(Sitting, models.CASCADE, related_name="undoables")
    verb = models.CharField(max_length=40)
    # What was before, as `steps.sorting.before` of this version writes it.
    before = models.JSONField()
    version = models.PositiveSmallIntegerField()
    who = models.CharField(max_length=140)
    done_at = models.DateTimeField(auto_now_add=True)
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_by = models.CharField(max_length=140, blank=True)

    objects = UndoableSet.as_manager()

    class Meta:
        verbose_name = _("act that can be taken back")
        verbose_name_plural = _("acts that can be taken back")
        ordering = ["pk"]
        indexes = [models.Index(fields=["sitting", "undone_at"])]

    def __str__(self) -> str:
        return f"{self.done_at:%Y-%m-%d %H:%M} {self.who} {self.verb}"

    @property
    def verb_words(self) -> str:
        """The verb in the reader's language."""
        return str(Verb(self.verb).label) if self.verb in Verb.values else self.verb
