"""What somebody of the studio shows beside the password when they sign in."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _


class CodeApp(models.Model):
    """The app on somebody's phone that shows a new code every half minute (RFC 6238). One per account."""

    account = models.OneToOneField(settings.AUTH_USER_MODEL, models.CASCADE, related_name="code_app")
    # Sealed (`steps/people/sealing.py`): who reads the table alone can make no code.
    secret = models.TextField()
    created_at = models.DateTimeField(auto_now_add=True)
    # None while it is being set up: no code from it has been seen yet, and none is asked for.
    confirmed_at = models.DateTimeField(null=True, blank=True)
    # The half minute (since 1970) of the last code that opened; no code of it or of an earlier one opens again.
    last_step = models.BigIntegerField(default=0, db_default=0)
    # Wrong codes since then. In the table and not in the cache: six digits can be guessed if nobody counts.
    wrong = models.PositiveIntegerField(default=0, db_default=0)
    wrong_since = models.DateTimeField(null=True, blank=True)

    class Meta:
        verbose_name = _("app that shows codes")
        verbose_name_plural = _("apps that show codes")

    def __str__(self) -> str:
        return f"code app of account {self.account_id}"


class Passkey(models.Model):
    """The public half of a key pair whose other half never leaves somebody's device (W3C Web Authentication)."""

    account = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="passkeys")
    name = models.CharField(max_length=60)
    # As the device handed it over: its kind, its id and the public key.
    credential = models.BinaryField()
    id_hash = models.CharField(max_length=64, unique=True)
    # How often it has signed; 0 for ever on devices that do not count. One that goes back is a copy.
    sign_count = models.BigIntegerField(default=0, db_default=0)
    created_at = models.DateTimeField(auto_now_add=True)
    last_used_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        verbose_name = _("passkey")
        verbose_name_plural = _("passkeys")

    def __str__(self) -> str:
        return f"passkey {self.pk}"


class RecoveryCodeSet(models.QuerySet["RecoveryCode"]):
    def unused(self) -> RecoveryCodeSet:
        return self.filter(used_at=None)


class RecoveryCode(models.Model):
    """One code on paper that opens once in place of the phone. Only its hash is kept."""

    account = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="recovery_codes")
    code_hash = models.CharField(max_length=64)
    created_at = models.DateTimeField(auto_now_add=True)
    used_at = models.DateTimeField(null=True, blank=True)

    objects = RecoveryCodeSet.as_manager()

    class Meta:
        verbose_name = _("recovery code")
        verbose_name_plural = _("recovery codes")
        constraints = [models.UniqueConstraint(fields=["account", "code_hash"], name="no_recovery_code_twice")]

    def __str__(self) -> str:
        return f"recovery code {self.pk}"
