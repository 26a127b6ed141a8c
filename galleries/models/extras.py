"""What a final beyond the allowance costs, and the statements of what is owed. No payment is taken here."""

from __future__ import annotations

from collections.abc import Iterable

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from galleries.papers.statement import Sheet


class Payer(models.TextChoices):
    """Who is asked to pay."""

    SUBJECT = "subject", _("the subject")
    REPRESENTATION = "representation", _("the representation")


class ExtraTerms(models.Model):
    """The price of a final beyond the allowance, who is asked to pay, and whether deliveries wait for it.

    The row without a sitting is the studio's usual; a sitting without a row of its own has that.
    """

    class Source(models.TextChoices):
        USUAL = "usual", _("the studio's usual price")
        OWN = "own", _("a price of its own")
        NONE = "none", _("no price: it is spoken about")

    sitting = models.OneToOneField(
        "galleries.Sitting", models.CASCADE, null=True, blank=True, related_name="extra_terms"
    )
    source = models.CharField(_("price"), max_length=5, choices=Source, default=Source.OWN)
    # In minor units of the currency (`papers.money`); 0: no price is said.
    unit = models.PositiveBigIntegerField(default=0)
    currency = models.CharField(_("currency"), max_length=3, blank=True, default="")
    # In thousandths of a percent; None: nothing is said of tax.
    tax_rate = models.PositiveIntegerField(null=True, blank=True)
    tax_included = models.BooleanField(_("the price includes the tax"), default=True)
    payer = models.CharField(_("who is asked to pay"), max_length=14, choices=Payer, default=Payer.SUBJECT)
    waits_for_paid = models.BooleanField(_("deliveries wait until you say that it is paid"), default=False)

    class Meta:
        verbose_name = _("price of extra finals")
        verbose_name_plural = _("prices of extra finals")
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["source"], condition=models.Q(sitting=None), name="the_studio_has_one_usual_price"
            ),
            models.CheckConstraint(
                condition=models.Q(sitting__isnull=False) | models.Q(source="own"), name="the_usual_price_is_its_own"
            ),
        ]

    def __str__(self) -> str:
        return f"price of extras, {self.sitting_id or 'usual'}"


class StatementBook(models.Model):
    """One row: the number last given to a statement. It never goes back, whatever is removed."""

    last_number = models.PositiveIntegerField(default=0)

    class Meta:
        verbose_name = _("number of statements")
        verbose_name_plural = _("numbers of statements")

    def __str__(self) -> str:
        return str(self.last_number)


class StatementSet(models.QuerySet["Statement"]):
    def latest_of(self, sitting: int) -> Statement | None:
        """The one that stands: each new one replaces those before it."""
        return self.filter(sitting=sitting).order_by("-pk").first()

    def standing(self, sittings: Iterable[int]) -> dict[int, Statement]:
        """sitting → its latest, for many at once."""
        return {one.sitting_id: one for one in self.filter(sitting__in=list(sittings)).order_by("pk")}


class Statement(models.Model):
    """What was owed when a list was closed. Never edited but for whether it is paid: a new closing makes a new one."""

    sitting = models.ForeignKey("galleries.Sitting", models.CASCADE, related_name="statements")
    round = models.ForeignKey("galleries.Round", models.CASCADE, related_name="statements")
    number = models.PositiveIntegerField(_("number"))
    # From another site, with the number it had there; numbers of this site are each given once.
    restored = models.BooleanField(default=False, db_default=False)
    payer = models.CharField(max_length=14, choices=Payer)
    # As `papers.statement` writes it: nothing in it hangs on a later price.
    content = models.JSONField()
    issued_at = models.DateTimeField(default=timezone.now)
    paid_at = models.DateTimeField(null=True, blank=True)
    paid_by = models.CharField(max_length=140, blank=True, default="")

    objects = StatementSet.as_manager()

    class Meta:
        verbose_name = _("statement of extra finals")
        verbose_name_plural = _("statements of extra finals")
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["number"], condition=models.Q(restored=False), name="statement_numbers_are_given_once"
            ),
            models.UniqueConstraint(fields=["round"], name="one_statement_a_closing"),
        ]

    def __str__(self) -> str:
        return f"statement {self.number}"

    @property
    def sheet(self) -> Sheet:
        """What it says."""
        return Sheet.of(self.content)

    @property
    def is_open(self) -> bool:
        """Is something owed on it that nobody said to be paid?"""
        return self.paid_at is None and self.sheet.due > 0
