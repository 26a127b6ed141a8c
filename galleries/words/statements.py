"""What a statement of extra finals says, in the reader's language: its page, its paper and letters share the words."""

from __future__ import annotations

from datetime import datetime

from django.utils import translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from galleries.papers.statement import Listed, Sheet
from galleries.papers.tagged import Paper, heading, line, section
from galleries.words import money


def title(sheet: Sheet) -> str:
    return _("Statement %(n)d") % {"n": sheet.number}


def counted(sheet: Sheet) -> str:
    """How many finals are beyond the allowance: all that the side hears that is not asked to pay."""
    n = len(sheet.extras)
    if not n:
        return _("No final is beyond the allowance.")
    return ngettext(
        "%(n)d of %(all)d finals is beyond the allowance.", "%(n)d of %(all)d finals are beyond the allowance.", n
    ) % {"n": n, "all": len(sheet.finals)}


def wanted_by(final: Listed, sheet: Sheet) -> str:
    """On whose list an extra final stood, or who put it there."""
    return wish(final.asked, sheet.closed_by)


def wish(asked: str, closed_by: str) -> str:
    """As `wanted_by`, of a list that this person closes."""
    words = {
        "both": _("on both lists"),
        "subject": _("on the subject's list"),
        "representation": _("on the representation's list"),
    }
    return words.get(asked) or _("on nobody's list: put there by %s") % closed_by


def facts(sheet: Sheet) -> list[tuple[str, str]]:
    """(name, value) of what the statement is about."""
    rows = [
        (_("Sitting"), sheet.sitting),
        (_("Subject"), sheet.subject),
        (_("Studio"), ", ".join(dict.fromkeys(part for part in (sheet.studio, sheet.photographer) if part))),
        (_("Asked to pay"), sheet.payer_name or "–"),
        (_("List closed by"), f"{sheet.closed_by}, {_day(sheet)}"),
        (_("Finals included"), str(sheet.allowance)),
        (_("Finals on the list"), str(len(sheet.finals))),
    ]
    if sheet.replaces:
        rows.append((_("In place of"), _("statement %(n)d") % {"n": sheet.replaces}))
    return rows


def sums(sheet: Sheet) -> list[tuple[str, str]]:
    """(name, amount), the last is what is owed."""
    price, total, n = sheet.price, sheet.sum, len(sheet.extras)

    def written(value: int) -> str:
        return money.amount(value, price.currency)

    words = ngettext("%(n)d extra final at %(each)s", "%(n)d extra finals at %(each)s", n)
    rows = [(words % {"n": n, "each": written(price.unit)}, written(price.unit * n))]
    if total.tax is not None and price.tax_rate is not None:
        rate = {"rate": money.rate(price.tax_rate)}
        if price.tax_included:
            rows.append((_("of this %(rate)s %% tax") % rate, written(total.tax)))
        else:
            rows.append((_("plus %(rate)s %% tax") % rate, written(total.tax)))
            rows.append((_("Sum"), written(total.total)))
    if sheet.paid_before:
        rows.append((_("Paid before"), written(-sheet.paid_before)))
    if sheet.paid_otherwise[0]:
        rows.append((_("Paid before in another currency, not counted here"), money.amount(*sheet.paid_otherwise)))
    rows.append((_("Paid too much") if sheet.due < 0 else _("Owed"), written(abs(sheet.due))))
    return rows


def owed(sheet: Sheet, language: str) -> str:
    """One sentence for a letter."""
    n = len(sheet.extras)
    with translation.override(language):
        words = ngettext(
            "%(n)d final is beyond the %(allowance)d included; statement %(number)d over %(amount)s is on your page.",
            "%(n)d finals are beyond the %(allowance)d included; statement %(number)d over %(amount)s is on your page.",
            n,
        )
        due = money.amount(sheet.due, sheet.price.currency)
        return words % {"n": n, "allowance": sheet.allowance, "number": sheet.number, "amount": due}


def pdf(sheet: Sheet, *, page: str = "A4") -> bytes:
    """The paper, tagged, in the active language; the same statement gives the same bytes."""
    *reckoned, (owed_name, owed_amount) = sums(sheet)
    body = [
        heading(f"{title(sheet)}, {_day(sheet)}"),
        section(_("What it is about"), [f"{name}: {value}" for name, value in facts(sheet)]),
        section(
            _("Beyond the allowance"),
            [f"{one.label} ({one.file}): {wanted_by(one, sheet)}" for one in sheet.extras],
        ),
        section(_("Sums"), [f"{name}: {value}" for name, value in reckoned]),
        line(f"{owed_name}: {owed_amount}", "signed"),
        *([line(_("Questions: %s") % sheet.contact)] if sheet.contact else []),
        line(caution(), "small"),
    ]
    language = translation.get_language() or "en"
    author = sheet.photographer or sheet.studio
    return Paper(title(sheet), author, tuple(body), page, title(sheet), language, _("page")).pdf()


def caution() -> str:
    return _(
        "It says what was agreed on extra finals. It is no invoice and no advice on tax: what a bill must say, and "
        "which tax is owed, is for the law where you are."
    )


def _day(sheet: Sheet) -> str:
    return date_format(datetime.fromisoformat(sheet.issued), "DATE_FORMAT")
