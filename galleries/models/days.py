"""A day of many sitters: its sittings, their slates, and where the frames of its cards lie until they are put there."""

from __future__ import annotations

import uuid

from django.db import models
from django.utils.translation import gettext_lazy as _

from galleries.imaging.slate_codes import new_code
from galleries.models.sittings import Frame, Sitting


class Day(models.Model):
    """Sittings that were made together. Its cards are brought into `holding`, a sitting to which nobody is invited."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    name = models.CharField(_("name of the day"), max_length=80)
    held_on = models.DateField(_("date"), null=True, blank=True)
    holding = models.OneToOneField(Sitting, models.CASCADE, related_name="day")
    # What can be taken back, the latest last: for each act [frame, sitting it was to lie in, or null] of every frame.
    acts = models.JSONField(default=list, blank=True, editable=False)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        verbose_name = _("day")
        verbose_name_plural = _("days")
        ordering = ["-held_on", "-pk"]

    def __str__(self) -> str:
        return self.name


class Sitter(models.Model):
    """One person of a day: the sitting, the slate's code, and whom to invite once the proofs are shown."""

    day = models.ForeignKey(Day, models.CASCADE, related_name="sitters")
    sitting = models.OneToOneField(Sitting, models.CASCADE, related_name="sitter")
    position = models.PositiveSmallIntegerField(_("position"))
    # Names the sitting on its slate, by chance; it opens nothing.
    code = models.CharField(max_length=24, unique=True, default=new_code, editable=False)
    email = models.EmailField(_("e-mail"), blank=True)
    language = models.CharField(_("language"), max_length=5, blank=True)
    agent_name = models.CharField(_("agent"), max_length=120, blank=True)
    agent_email = models.EmailField(_("agent's e-mail"), blank=True)

    class Meta:
        verbose_name = _("sitter of a day")
        verbose_name_plural = _("sitters of a day")
        ordering = ["position", "pk"]

    def __str__(self) -> str:
        return self.sitting.subject_name


class DayFrame(models.Model):
    """What is known of one frame of a day's cards: whether it shows a slate, and the sitting it is to lie in."""

    class Sight(models.TextChoices):
        """As `imaging.slates.Sight`; '' while nobody has looked."""

        NONE = "none", _("no slate")
        READ = "read", _("a slate")
        UNREAD = "unread", _("a slate that could not be read")

    frame = models.OneToOneField(Frame, models.CASCADE, related_name="of_day")
    sight = models.CharField(max_length=6, choices=Sight, blank=True, default="")
    code = models.CharField(max_length=24, blank=True, default="")
    # Where it is to lie; the worker brings its files there. None: where it is.
    target = models.ForeignKey(Sitting, models.SET_NULL, null=True, blank=True, related_name="+")
    # Files that it left where it was, as 'store:key', until they are removed there.
    left = models.JSONField(default=list, blank=True)

    class Meta:
        verbose_name = _("frame of a day")
        verbose_name_plural = _("frames of a day")
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.frame_id}: {self.sight}"

    @property
    def is_slate(self) -> bool:
        """Does it show a slate, read or not?"""
        return self.sight in {self.Sight.READ, self.Sight.UNREAD}
