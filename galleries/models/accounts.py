"""The accounts of the studio's people, beyond what the framework keeps."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _


class AccountLetterSet(models.QuerySet["AccountLetter"]):
    def unsent(self) -> AccountLetterSet:
        return self.filter(sent_at=None)


class AccountLetter(models.Model):
    """That a letter about an account is to go, or went. Its text is not kept (it may hold a link)."""

    class Kind(models.TextChoices):
        # Somebody asks for a way in; whether anybody has this address is found out when it is sent.
        WISH = "link wished for", _("way in asked for")
        ADDRESS_CHANGED = "address changed", _("address changed")
        PASSWORD_CHANGED = "password changed", _("password changed")
        SECOND_FACTOR_SET = "second factor set", _("second factor set up")
        SECOND_FACTOR_CHANGED = "second factor changed", _("second factor changed")
        SECOND_FACTOR_REMOVED = "second factor removed", _("second factor taken off")
        RECOVERY_CODE_USED = "recovery code used", _("recovery code used")
        NEW_DEVICE = "new device", _("sign-in from a new device")
        COLLEAGUE = "colleague", _("invited as a colleague")

    kind = models.CharField(max_length=40, choices=Kind)
    to = models.EmailField()
    account = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, null=True, blank=True)
    # The device that a letter is about.
    device = models.ForeignKey("galleries.KnownDevice", models.SET_NULL, null=True, blank=True)
    language = models.CharField(max_length=5, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)
    sent_at = models.DateTimeField(null=True, blank=True)

    objects = AccountLetterSet.as_manager()

    class Meta:
        verbose_name = _("letter about an account")
        verbose_name_plural = _("letters about accounts")
        indexes = [models.Index(fields=["to", "created_at"])]

    def __str__(self) -> str:
        return f"{self.kind} to {self.to}"


class StudioRoleSet(models.QuerySet["StudioRole"]):
    def heads(self) -> StudioRoleSet:
        """Of accounts that may come in and run the studio."""
        return self.filter(role=StudioRole.Role.HEAD, account__is_active=True)


class StudioRole(models.Model):
    """What one of the studio's people may do beyond their own sittings. Without a row: nothing."""

    class Role(models.TextChoices):
        HEAD = "head", _("runs the studio")
        PHOTOGRAPHER = "photographer", _("photographer")

    account = models.OneToOneField(settings.AUTH_USER_MODEL, models.CASCADE, related_name="studio_role")
    role = models.CharField(_("role"), max_length=20, choices=Role)

    objects = StudioRoleSet.as_manager()

    class Meta:
        verbose_name = _("role in the studio")
        verbose_name_plural = _("roles in the studio")

    def __str__(self) -> str:
        return f"account {self.account_id}: {self.role}"


class StudioSession(models.Model):
    """One browser in which somebody of the studio is signed in. Without its row a session opens nothing.

    The framework's own table of sessions says of none whose it is; its key opens, so only its hash stands here.
    """

    class Way(models.TextChoices):
        UNKNOWN = "", _("not known")  # begun under an earlier release
        PASSWORD = "password", _("password")
        LINK = "link", _("mailed link")

    class Second(models.TextChoices):
        NONE = "", _("none")
        CODE = "code", _("code")
        PASSKEY = "passkey", _("passkey")

    account = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="studio_sessions")
    key_hash = models.CharField(max_length=64, unique=True)
    way = models.CharField(max_length=10, choices=Way, blank=True)
    second = models.CharField(max_length=10, choices=Second, blank=True)
    # In short, as the journal keeps them: the network, not the machine; the program's family, not its version.
    network = models.CharField(max_length=50, blank=True)
    browser = models.CharField(max_length=30, blank=True)
    system = models.CharField(max_length=30, blank=True)
    began_at = models.DateTimeField(default=timezone.now)
    seen_at = models.DateTimeField(default=timezone.now)

    class Meta:
        verbose_name = _("session of the studio")
        verbose_name_plural = _("sessions of the studio")

    def __str__(self) -> str:
        return f"session {self.pk} of account {self.account_id}"


class KnownDevice(models.Model):
    """A browser from which somebody of the studio signed in, known again by the hash of its own cookie's token."""

    account = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="known_devices")
    token_hash = models.CharField(max_length=64)
    # In short, as `StudioSession` has them, of the first time.
    network = models.CharField(max_length=50, blank=True)
    browser = models.CharField(max_length=30, blank=True)
    system = models.CharField(max_length=30, blank=True)
    first_at = models.DateTimeField(default=timezone.now)
    last_at = models.DateTimeField(default=timezone.now)
    # Of the link in the letter about it, by which its owner says 'that was not me'.
    answer_hash = models.CharField(max_length=64, blank=True)

    class Meta:
        verbose_name = _("known device")
        verbose_name_plural = _("known devices")
        constraints = [models.UniqueConstraint(fields=["account", "token_hash"], name="a_device_once_per_account")]

    def __str__(self) -> str:
        return f"device {self.pk} of account {self.account_id}"
