"""The studio, the people it invites, and the links that let them in."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from galleries.imaging.comparing import amounts
from galleries.models.compiled import CompiledRows


def _threshold(name: Any, kind: str) -> models.FloatField:  # type: ignore[type-arg]
    usual = amounts.USUAL[kind]
    bounds = [MinValueValidator(0.5), MaxValueValidator(100)]
    return models.FloatField(name, default=usual, db_default=usual, validators=bounds)


class Studio(models.Model):
    """Who photographs, licenses and signs. One row; its name stands on every proof."""

    class Strength(models.TextChoices):
        QUIET = "quiet", _("quiet")
        USUAL = "usual", _("usual")
        STRONG = "strong", _("strong")

    class StampWith(models.TextChoices):
        TEXT = "text", _("a text")
        LOGO = "logo", _("the logo")

    name = models.CharField(_("name"), max_length=120)
    photographer = models.CharField(_("photographer's name"), max_length=120)
    email = models.EmailField(_("e-mail"))
    web = models.URLField(_("web page"), blank=True)
    telephone = models.CharField(_("telephone"), max_length=40, blank=True)
    statement_of_rights = models.URLField(_("address of the statement of rights"), blank=True)
    letters_from = models.PositiveSmallIntegerField(_("letters go out from (hour)"), default=8)
    letters_until = models.PositiveSmallIntegerField(_("letters go out until (hour)"), default=20)
    casting_checked_on = models.DateField(_("casting sizes last checked"), null=True, blank=True)
    # In the stamp of every proof. '' stands for the studio's name.
    stamp_text = models.CharField(_("text of the stamp"), max_length=48, blank=True, default="", db_default="")
    stamp_strength = models.CharField(
        _("strength of the stamp"), max_length=10, choices=Strength, default=Strength.USUAL, db_default="usual"
    )
    stamp_with = models.CharField(
        _("stamp with"), max_length=10, choices=StampWith, default=StampWith.TEXT, db_default="text"
    )
    # Its file, in the private store: white, the drawing as its alpha. '' where there is none.
    logo_key = models.CharField(max_length=200, blank=True, default="", db_default="", editable=False)
    # The studio's own clauses of every licence, a line each, and how often they were changed.
    clauses = models.TextField(_("the studio's own clauses"), max_length=4000, blank=True, default="", db_default="")
    clauses_number = models.PositiveSmallIntegerField(default=0, db_default=0, editable=False)
    # Where a final comes from, signed into the file by the studio's certificate.
    sign_finals = models.BooleanField(_("sign where finals come from"), default=True, db_default=True)
    # What retouchers accept first, in the studio's words; '' stands for the house's.
    retoucher_terms = models.TextField(
        _("terms for retouchers"), max_length=4000, blank=True, default="", db_default=""
    )
    # What a new sitting begins with.
    allowance = models.PositiveSmallIntegerField(_("finals included in a new sitting"), default=5, db_default=5)

    # How much of a face a retouch may change before a caution is told; `cautioned_from` names their units.
    caution_eyes = _threshold(_("eyes (per cent)"), "eyes")
    caution_mouth = _threshold(_("mouth (per cent)"), "mouth")
    caution_nose = _threshold(_("width of the nose (per cent)"), "nose")
    caution_width = _threshold(_("width of the face (per cent)"), "width")
    caution_chin = _threshold(_("length of the lower face (per cent)"), "chin")
    caution_texture = _threshold(_("skin texture gone (per cent)"), "texture")
    caution_skin = _threshold(_("skin colour, ΔE"), "skin")
    caution_irises = _threshold(_("colour of the irises, ΔE"), "irises")

    class Meta:
        verbose_name = _("studio")
        verbose_name_plural = _("studio")
        # Held by an account that may use the pages of upkeep without being a superuser.
        permissions = (("upkeep", "May use the pages of upkeep"),)

    def __str__(self) -> str:
        return self.name

    @property
    def cautioned_from(self) -> dict[str, float]:
        """By kind of change, the largest amount no caution is told of: percent; for skin and irises CIEDE2000."""
        return {kind: float(getattr(self, f"caution_{kind}")) for kind in amounts.USUAL}

    @property
    def logo_digest(self) -> str:
        """Names the logo's file; '' where there is none."""
        return self.logo_key.rpartition("/")[2].partition(".")[0]

    @property
    def stamps_with_logo(self) -> bool:
        return bool(self.logo_key) and self.stamp_with == self.StampWith.LOGO

    @classmethod
    def current(cls) -> Studio:
        return _ask_studio.first() or cls(name="Studio", photographer="", email="studio@portal.example")


_ask_studio = CompiledRows(lambda: Studio.objects.order_by("pk")[:1], by_keys=True)


class InviteSet(models.QuerySet["Invite"]):
    def unrevoked(self) -> InviteSet:
        """Invites the studio has not taken back; they may have run out, see `Invite.holds`."""
        return self.filter(revoked_at=None)

    def holding(self) -> InviteSet:
        """Neither revoked nor run out by themselves; one that was passed on holds only with the one it came from."""
        return self.unrevoked().filter(expires_at__gt=timezone.now())

    def sides(self) -> InviteSet:
        """Of those who choose: the subject and the representation, see `Invite.is_side`."""
        return self.filter(role__in=[Invite.Role.SUBJECT, Invite.Role.REPRESENTATION])

    def retouchers(self) -> InviteSet:
        return self.filter(role=Invite.Role.RETOUCHER)

    def of_the_sheet(self) -> InviteSet:
        """Of those let in to look at frames, and told what becomes of them."""
        return self.filter(role__in=[Invite.Role.SUBJECT, Invite.Role.REPRESENTATION, Invite.Role.ASSISTANT])

    def still_marking(self) -> InviteSet:
        """Of those with a shortlist of their own who have not said that they are through."""
        return self.sides().filter(passed_from=None, picks_done_at=None)


class Invite(models.Model):
    """One person let into one sitting, in one role. A person's marks hang on it."""

    class Role(models.TextChoices):
        SUBJECT = "subject", _("subject")
        REPRESENTATION = "representation", _("representation")
        ASSISTANT = "assistant", _("assistant")
        RECIPIENT = "recipient", _("recipient of the delivery")
        RETOUCHER = "retoucher", _("retoucher")

    sitting = models.ForeignKey("galleries.Sitting", models.CASCADE, related_name="invites")
    role = models.CharField(_("role"), max_length=20, choices=Role)
    name = models.CharField(_("name"), max_length=120)
    email = models.EmailField(_("e-mail"))
    language = models.CharField(_("language"), max_length=5, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField(_("expires"))
    revoked_at = models.DateTimeField(_("revoked"), null=True, blank=True)
    first_opened_at = models.DateTimeField(null=True, blank=True)
    last_seen_at = models.DateTimeField(null=True, blank=True)
    # Sessions that began, and browsers that came to be known, before this let nobody in any more.
    shut_before = models.DateTimeField(null=True, blank=True)
    # The person said 'I am through'; a later mark takes it back.
    picks_done_at = models.DateTimeField(null=True, blank=True)
    # Passing an invite on inside the agency: allowed by the photographer, and the marks go on one shared shortlist.
    may_pass_on = models.BooleanField(_("may pass it on inside the agency"), default=False)
    passed_from = models.ForeignKey("self", models.CASCADE, null=True, blank=True, related_name="passed_to")

    objects = InviteSet.as_manager()

    class Meta:
        verbose_name = _("invite")
        verbose_name_plural = _("invites")
        constraints = [
            models.UniqueConstraint(
                fields=["sitting", "role", "email"],
                condition=models.Q(revoked_at=None),
                name="one_open_invite_per_person_and_role",
            )
        ]
        # Whoever asks for their link again is looked for in all sittings.
        indexes = [models.Index(fields=["email"], name="invites_by_address")]

    def __str__(self) -> str:
        return f"{self.name} ({self.get_role_display()})"

    def holds(self, at: datetime | None = None) -> bool:
        """Is the invite neither revoked nor expired, nor the one it was passed on from?"""
        at = at or timezone.now()
        if self.revoked_at is not None or self.expires_at <= at:
            return False
        return self.passed_from is None or self.passed_from.holds(at)

    @property
    def voice(self) -> Invite:
        """The invite whose shortlist this person writes on: their own, or the one passed on to them."""
        return self.passed_from or self

    @property
    def is_subject(self) -> bool:
        return self.role == self.Role.SUBJECT

    @property
    def is_representation(self) -> bool:
        return self.role == self.Role.REPRESENTATION

    @property
    def is_retoucher(self) -> bool:
        return self.role == self.Role.RETOUCHER

    @property
    def is_side(self) -> bool:
        """Does the person choose, for the subject or for the representation?"""
        return self.is_subject or self.is_representation


class InviteLink(models.Model):
    """One link that was handed out. Only the hash of its token is kept."""

    invite = models.ForeignKey(Invite, models.CASCADE, related_name="links")
    token_hash = models.CharField(max_length=64, unique=True)
    created_at = models.DateTimeField(auto_now_add=True)
    last_used_at = models.DateTimeField(null=True, blank=True)
    # A newer one took its place when somebody asked for that, or it was never opened while the invite held.
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        verbose_name = _("invite link")
        verbose_name_plural = _("invite links")

    def __str__(self) -> str:
        return f"link {self.pk} of {self.invite}"


class Opening(models.Model):
    """That a link was opened in one browser, which is known again by the hash of its own cookie's token."""

    link = models.ForeignKey(InviteLink, models.CASCADE, related_name="openings")
    device_hash = models.CharField(max_length=64)
    at = models.DateTimeField()

    class Meta:
        verbose_name = _("opening of a link")
        verbose_name_plural = _("openings of links")
        constraints = [models.UniqueConstraint(fields=["link", "device_hash"], name="a_link_once_per_device")]
        indexes = [models.Index(fields=["device_hash"])]

    def __str__(self) -> str:
        return f"opening of link {self.link_id}"


class SignInLink(models.Model):
    """A mailed link that signs somebody in once: a photographer (`user`) or an agent's desk (`email`)."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, null=True, blank=True)
    email = models.EmailField(blank=True)
    # Where the letter went, so that nobody's box can be filled from outside.
    sent_to = models.EmailField(blank=True, default="", db_default="")
    token_hash = models.CharField(max_length=64, unique=True)
    created_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        verbose_name = _("sign-in link")
        verbose_name_plural = _("sign-in links")

    def __str__(self) -> str:
        return f"sign-in link {self.pk}"


class LetterSet(models.QuerySet["Letter"]):
    def sent(self) -> LetterSet:
        return self.exclude(sent_at=None)

    def unsent(self) -> LetterSet:
        return self.filter(sent_at=None)


class Letter(models.Model):
    """That a letter was sent, so that nobody gets it twice, and what it said, its link taken out."""

    sitting = models.ForeignKey("galleries.Sitting", models.CASCADE, related_name="letters")
    invite = models.ForeignKey(Invite, models.CASCADE, null=True, blank=True, related_name="letters")
    kind = models.CharField(max_length=40)
    about = models.CharField(max_length=80, blank=True)
    to = models.EmailField()
    sent_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)
    # Kept as it went, the subject first; '' before it went. `way`: how mail was set up then (PORTAL_MAIL).
    text = models.TextField(blank=True, default="", db_default="")
    way = models.CharField(max_length=10, blank=True, default="", db_default="")

    objects = LetterSet.as_manager()

    AGAIN = "-again-"  # with a number behind what it is about: one more of a letter that went

    class Meta:
        verbose_name = _("letter")
        verbose_name_plural = _("letters")
        constraints = [
            models.UniqueConstraint(fields=["sitting", "kind", "about", "to"], name="no_letter_twice"),
        ]
        indexes = [
            models.Index(fields=["to", "created_at"], name="letters_by_day"),
            models.Index(fields=["sitting"], condition=models.Q(sent_at=None), name="letters_that_wait"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} to {self.to}"

    @property
    def occasion(self) -> str:
        """What it is about, the same of a letter and of one more of it."""
        return self.about.partition(self.AGAIN)[0]
