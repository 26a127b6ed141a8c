"""Marks on frames, remarks about them, a person's ranking, and the rounds in which the list is agreed."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from galleries.sorting import sides

SIDES = ("subject", "representation")


class MarkSet(models.QuerySet["Mark"]):
    def of_sides(self, roles: Iterable[str] = SIDES) -> MarkSet:
        """Marks of the people who choose; of one role when only that is asked for."""
        return self.filter(invite__role__in=tuple(roles))

    def in_vain(self, finals: models.QuerySet[Any]) -> MarkSet:
        """Picks of either side whose frame is none of these finals'."""
        return self.of_sides().filter(kind=Mark.Kind.PICK).exclude(frame__in=finals.values("frame"))

    def standing(self) -> MarkSet:
        """Without those that were taken back; a note may still hang on such a one."""
        return self.exclude(kind=Mark.Kind.NONE)

    def noted(self) -> MarkSet:
        """Those with a note, for the studio to read."""
        return self.exclude(note="")

    def noted_openly(self) -> MarkSet:
        """Those with a note for everybody who sees the frame: without what was written for the studio alone."""
        return self.noted().filter(note_for_studio=False)

    def by_side(self) -> dict[int, dict[str, str]]:
        """frame → role → what that side says of it; a side that says nothing is left out."""
        kinds: dict[int, dict[str, list[str]]] = {}
        for frame, role, kind in self.of_sides().standing().values_list("frame_id", "invite__role", "kind"):
            kinds.setdefault(frame, {}).setdefault(role, []).append(kind)
        return {
            frame: {role: _says(by_role[role]) for role in SIDES if role in by_role} for frame, by_role in kinds.items()
        }


def _says(kinds: list[str]) -> str:
    """As `sides.says`; most sides are one person."""
    return kinds[0] if len(kinds) == 1 else sides.says(kinds)


class Mark(models.Model):
    """What one person says of one frame. Marks are each person's own and stand side by side."""

    class Kind(models.TextChoices):
        PICK = "pick", _("pick")
        ALTERNATE = "alternate", _("alternate")
        STRIKE = "strike", _("strike")
        NONE = "", _("no mark")

    invite = models.ForeignKey("galleries.Invite", models.CASCADE, related_name="marks")
    frame = models.ForeignKey("galleries.Frame", models.CASCADE, related_name="marks")
    kind = models.CharField(_("mark"), max_length=10, choices=Kind, blank=True, default=Kind.NONE)
    note = models.TextField(_("note"), max_length=1000, blank=True)
    # Nobody invited reads it but who wrote it.
    note_for_studio = models.BooleanField(_("note for the studio alone"), default=False, db_default=False)
    # Who of a shared shortlist acted last; the device's own id of the act, so that sending it again is harmless.
    by = models.ForeignKey("galleries.Invite", models.SET_NULL, null=True, related_name="+")
    act = models.CharField(max_length=40, blank=True)
    # The device's clock for ordering acts of one person's devices; the server's for the record.
    acted_at = models.DateTimeField()
    revision = models.PositiveIntegerField(default=1)
    created_at = models.DateTimeField(auto_now_add=True)
    updated_at = models.DateTimeField(auto_now=True)

    objects = MarkSet.as_manager()

    class Meta:
        verbose_name = _("mark")
        verbose_name_plural = _("marks")
        constraints = [models.UniqueConstraint(fields=["invite", "frame"], name="one_mark_per_person_and_frame")]

    def __str__(self) -> str:
        return f"{self.kind or 'note'} by {self.invite_id} on {self.frame_id}"


class Standing(models.Model):
    """A person's own order of preferred frames, made by comparing side by side."""

    invite = models.ForeignKey("galleries.Invite", models.CASCADE, related_name="standings")
    frame = models.ForeignKey("galleries.Frame", models.CASCADE, related_name="standings")
    place = models.PositiveSmallIntegerField()
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        verbose_name = _("place in a person's ranking")
        verbose_name_plural = _("places in a person's ranking")
        ordering = ["place"]
        constraints = [models.UniqueConstraint(fields=["invite", "frame"], name="one_place_per_person_and_frame")]

    def __str__(self) -> str:
        return f"{self.place}. {self.frame_id}"


class Remark(models.Model):
    """One line in the talk about a frame, seen by photographer, subject and representation."""

    frame = models.ForeignKey("galleries.Frame", models.CASCADE, related_name="remarks")
    invite = models.ForeignKey("galleries.Invite", models.SET_NULL, null=True, blank=True)
    who = models.CharField(max_length=120)
    text = models.TextField(max_length=1000)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        verbose_name = _("remark")
        verbose_name_plural = _("remarks")
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.who}: {self.text[:40]}"


class Round(models.Model):
    """From opening the sheet to closing the list. A reopened list is a new round, with the reason kept."""

    sitting = models.ForeignKey("galleries.Sitting", models.CASCADE, related_name="rounds")
    number = models.PositiveSmallIntegerField()
    reason = models.CharField(max_length=300, blank=True)
    # Whose objection opened it; the reason is then their words.
    objected_by = models.CharField(max_length=120, blank=True, default="", db_default="")
    opened_at = models.DateTimeField(auto_now_add=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.CharField(max_length=120, blank=True)
    closed_by_invite = models.ForeignKey("galleries.Invite", models.SET_NULL, null=True, blank=True)
    closed_by_user = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, blank=True)
    # Until then the subject may object to what the agent closed.
    objection_until = models.DateTimeField(null=True, blank=True)

    class Meta:
        verbose_name = _("round")
        verbose_name_plural = _("rounds")
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(fields=["sitting", "number"], name="rounds_are_numbered"),
            models.UniqueConstraint(
                fields=["sitting"], condition=models.Q(closed_at=None), name="one_open_round_at_a_time"
            ),
        ]

    def __str__(self) -> str:
        return f"round {self.number}"
