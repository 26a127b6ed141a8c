"""The forms that say what a final beyond the allowance costs."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.forms.utils import flatatt
from django.utils.formats import get_format
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from galleries.models import ExtraTerms, Payer
from galleries.papers import money

NO_TAX, WITHIN, ON_TOP = "none", "within", "top"
RATE_DIGITS = 3  # of a percent


def typed(value: Decimal) -> str:
    """A number as a person of this language types it: no grouping."""
    return f"{value:f}".replace(".", str(get_format("DECIMAL_SEPARATOR")))


class LongSelect(forms.Select):
    """Written at once: Django's templates are included twice for each choice, which for so many took half a page's
    time."""

    def render(self, name: str, value: Any, attrs: Any = None, renderer: Any = None) -> SafeString:
        widget = self.get_context(name, value, attrs)["widget"]
        choices = [choice for _group, choices, _index in widget["optgroups"] for choice in choices]
        options = format_html_join(
            "\n",
            '  <option value="{}"{}>{}</option>',
            ((choice["value"], flatatt(choice["attrs"]), choice["label"]) for choice in choices),
        )
        return format_html('<select name="{}"{}>\n{}\n</select>', widget["name"], flatatt(widget["attrs"]), options)


class PriceForm(forms.Form):
    """The studio's usual."""

    amount = forms.CharField(
        label=gettext_lazy("One final beyond the allowance costs"), max_length=20, required=False,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
        help_text=gettext_lazy("Empty: no price is said, and you speak about it."),
    )  # fmt: skip
    currency = forms.ChoiceField(
        label=gettext_lazy("Currency"), required=False,
        choices=[("", "–"), *((one, one) for one in money.CURRENCIES)], widget=LongSelect,
    )  # fmt: skip
    tax = forms.ChoiceField(
        label=gettext_lazy("Tax"),
        choices=[
            (NO_TAX, gettext_lazy("nothing is said")),
            (WITHIN, gettext_lazy("the price includes it")),
            (ON_TOP, gettext_lazy("it comes on top")),
        ],
    )
    rate = forms.CharField(
        label=gettext_lazy("Tax rate (%)"), max_length=10, required=False,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
        help_text=gettext_lazy("Only repeated in words and reckoned with; which tax you owe is local law."),
    )  # fmt: skip
    payer = forms.ChoiceField(
        label=gettext_lazy("Who is asked to pay"), choices=Payer.choices,
        help_text=gettext_lazy("They read the statement. The other side only sees how many finals are extra."),
    )  # fmt: skip
    waits_for_paid = forms.BooleanField(
        label=gettext_lazy("Deliveries wait until you say that it is paid"), required=False,
        help_text=gettext_lazy(
            "Until then nobody invited fetches a file, an archive or a paper; whoever is asked to pay reads why."
        ),
    )  # fmt: skip

    def clean(self) -> dict[str, Any]:
        """The values that `extras` keeps, instead of those that were typed."""
        given = self.cleaned_data
        currency = given.get("currency") or ""
        unit = self._number("amount", money.DIGITS.get(currency, 2))
        rate = self._number("rate", RATE_DIGITS) if given.get("tax") != NO_TAX else None
        if given.get("tax") != NO_TAX and not given.get("rate") and unit:
            self.add_error("rate", _("Write the rate, or say nothing of tax."))
        return {
            "unit": unit or 0,
            "currency": currency if unit else "",
            "tax_rate": rate if unit else None,
            "tax_included": given.get("tax") != ON_TOP,
            "payer": given.get("payer") or "",
            "waits_for_paid": bool(given.get("waits_for_paid")),
        }

    def _number(self, name: str, digits: int) -> int | None:
        text = self.cleaned_data.get(name) or ""
        if not text:
            return None
        try:
            return money.minor(text, digits)
        except ValueError:
            words = _("“%(text)s” is not a number with at most %(digits)d decimals. Write no sign between thousands.")
            self.add_error(name, words % {"text": text, "digits": digits})
        return None


class OwnPriceForm(PriceForm):
    """Of one sitting."""

    source = forms.ChoiceField(
        label=gettext_lazy("Which price holds"), choices=ExtraTerms.Source.choices, widget=forms.RadioSelect
    )
    other_currency = forms.BooleanField(label=gettext_lazy("Another currency all the same"), required=False)
    field_order = ("source", "amount", "currency", "other_currency", "tax", "rate", "payer", "waits_for_paid")

    def clean(self) -> dict[str, Any]:
        given = self.cleaned_data
        own = {"source": given.get("source") or "", "other_currency": bool(given.get("other_currency"))}
        return {**super().clean(), **own}


def as_typed(terms: ExtraTerms) -> dict[str, Any]:
    """What the form of these terms begins with."""
    return {
        "source": terms.source,
        "amount": typed(money.decimal(terms.unit, terms.currency)) if terms.unit else "",
        "currency": terms.currency,
        "tax": NO_TAX if terms.tax_rate is None else WITHIN if terms.tax_included else ON_TOP,
        "rate": typed(Decimal(terms.tax_rate).scaleb(-RATE_DIGITS).normalize()) if terms.tax_rate is not None else "",
        "payer": terms.payer,
        "waits_for_paid": terms.waits_for_paid,
    }
