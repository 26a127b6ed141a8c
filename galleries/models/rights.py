"""The licence, its acceptance, and requests for use beyond it."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _


class Licence(models.Model):
    """What may be done with the finals, as terms (data) and as the sentences that were shown. Never edited: a new
    wording is a new number."""

    sitting = models.ForeignKey("galleries.Sitting", models.CASCADE, related_name="licences")
    number = models.PositiveSmallIntegerField()
    terms = models.JSONField()
    text = models.TextField()
    addendum_to = models.ForeignKey("self", models.CASCADE, null=True, blank=True, related_name="addenda")
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        verbose_name = _("licence")
        verbose_name_plural = _("licences")
        ordering = ["number"]
        constraints = [models.UniqueConstraint(fields=["sitting", "number"], name="licences_are_numbered")]

    def __str__(self) -> str:
        return f"licence {self.sitting_id}-{self.number}"


class Acceptance(models.Model):
    """Somebody accepted a licence by name, at a time."""

    licence = models.ForeignKey(Licence, models.CASCADE, related_name="acceptances")
    invite = models.ForeignKey("galleries.Invite", models.SET_NULL, null=True, blank=True)
    name = models.CharField(_("name"), max_length=120)
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        verbose_name = _("acceptance")
        verbose_name_plural = _("acceptances")
        constraints = [models.UniqueConstraint(fields=["licence", "invite"], name="accepted_once_by_each")]

    def __str__(self) -> str:
        return f"{self.name}, {self.at:%Y-%m-%d}"


class UsageRequest(models.Model):
    """Somebody asks for a use beyond the licence (an advertisement, a poster); the answer is an addendum or a no."""

    class State(models.TextChoices):
        ASKED = "asked", _("asked")
        GRANTED = "granted", _("granted")
        REFUSED = "refused", _("refused")

    sitting = models.ForeignKey("galleries.Sitting", models.CASCADE, related_name="usage_requests")
    invite = models.ForeignKey("galleries.Invite", models.SET_NULL, null=True)
    who = models.CharField(max_length=120)
    use = models.CharField(_("use"), max_length=200)
    details = models.TextField(_("where, how long, for whom"), max_length=2000, blank=True)
    state = models.CharField(max_length=8, choices=State, default=State.ASKED)
    answer = models.TextField(max_length=2000, blank=True)
    addendum = models.OneToOneField(Licence, models.SET_NULL, null=True, blank=True)
    asked_at = models.DateTimeField(auto_now_add=True)
    answered_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        verbose_name = _("request for use")
        verbose_name_plural = _("requests for use")
        ordering = ["pk"]

    def __str__(self) -> str:
        return self.use
