"""Statements of extra finals: issued when a list is closed, kept as they were, read by whoever is asked to pay."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from zoneinfo import ZoneInfo

from django.utils import timezone

from galleries.access import Act, Visitor, finals_shown_to, require
from galleries.models import Final, Invite, JournalLine, Mark, Round, Sitting, Statement, StatementBook, Studio, Verb
from galleries.papers.money import Price
from galleries.papers.statement import Listed, Sheet
from galleries.steps.agreeing import paid
from galleries.steps.agreeing.extras import Quote

SIDES = (Invite.Role.SUBJECT, Invite.Role.REPRESENTATION)


def issue(sitting: Sitting, current: Round, finals: Sequence[Final], quoted: Quote, who: str) -> Statement | None:
    """Write down what is owed for a list that is closed now, in the closing's own transaction; None where nothing is,
    and nothing was before. `who`: for the journal."""
    before = Statement.objects.latest_of(sitting.pk)
    last = before.sheet if before is not None else None
    total = quoted.sum(len(finals))
    if total is None and (last is None or not (last.sum.total or last.paid_before)):
        return None
    number = _next_number()
    issued_at = timezone.now()
    price = quoted.price or Price(0, last.price.currency if last is not None else "EUR")
    before_this = paid.before(before, last, price.currency)
    studio = Studio.current()
    sheet = Sheet(
        number=number,
        issued=issued_at.astimezone(ZoneInfo(sitting.time_zone)).isoformat(timespec="seconds"),
        studio=studio.name,
        photographer=studio.photographer,
        contact=", ".join(part for part in (studio.email, studio.telephone, studio.web) if part),
        sitting=sitting.title,
        subject=sitting.subject_name,
        payer=quoted.payer,
        payer_name=_payer_name(sitting, quoted.payer),
        allowance=quoted.allowance,
        finals=_listed(finals, quoted.allowance),
        price=price,
        closed_by=current.closed_by,
        closed_role=current.closed_by_invite.role if current.closed_by_invite else "photographer",
        replaces=before.number if before is not None else 0,
        paid_before=before_this[0],
        paid_otherwise=before_this[1],
    )
    statement = Statement.objects.create(
        sitting=sitting, round=current, number=number, payer=quoted.payer, content=sheet.as_dict(), issued_at=issued_at
    )
    JournalLine.write(sitting, who, Verb.STATEMENT_ISSUED, f"statement {number}", replaces=sheet.replaces)
    return statement


def _next_number() -> int:
    """Numbers without a gap: a closing that fails takes its own back with it, and the next one waits for this."""
    book, _new = StatementBook.objects.select_for_update().get_or_create(pk=1)
    book.last_number += 1
    book.save(update_fields=["last_number"])
    return book.last_number


def _payer_name(sitting: Sitting, payer: str) -> str:
    if payer == Invite.Role.SUBJECT:
        return sitting.subject_name
    people = sitting.invites.filter(role=Invite.Role.REPRESENTATION, passed_from=None).order_by("pk")
    return ", ".join(one.name for one in people if one.holds())


def _listed(finals: Sequence[Final], allowance: int) -> tuple[Listed, ...]:
    """The finals in their order, each with whose wish it was."""
    sides = Mark.objects.filter(frame__in=[final.frame_id for final in finals]).by_side()
    asked = {final.frame_id: _asked(sides.get(final.frame_id, {})) for final in finals}
    extra = set(beyond([final.frame_id for final in finals], asked, allowance))
    return tuple(
        Listed(final.frame.label, final.frame.name, final.frame_id in extra, asked[final.frame_id]) for final in finals
    )


def beyond(order: Sequence[int], asked: Mapping[int, str], allowance: int) -> list[int]:
    """Of the frames of a list those beyond the allowance: the ones that the fewest wanted, for all cost the same.
    `asked`: frame → on whose list it stands, as `Listed` has it."""
    rank = {"both": 0, "subject": 1, "representation": 1, "": 2}
    return sorted(order, key=lambda frame: rank[asked.get(frame, "")])[allowance:]


def _asked(says: dict[str, str]) -> str:
    picked = [role for role in SIDES if says.get(role) == Mark.Kind.PICK]
    return "both" if len(picked) == 2 else str(picked[0].value) if picked else ""


def standing(sitting: Sitting) -> Statement | None:
    """The one that counts now; None where nothing was ever owed."""
    return Statement.objects.latest_of(sitting.pk)


def read(statement: Statement, by: Visitor) -> Sheet:
    """What it says, for whoever is asked to pay and for the photographer; frames that are kept from them not named.

    Raises:
        Missing, Refused: it is not theirs to see.
    """
    require(by, Act.SEE_STATEMENT, statement)
    sheet = statement.sheet
    if by.user is not None:
        return sheet
    finals = Final.objects.filter(sitting=statement.sitting_id)
    shown = set(finals_shown_to(by, statement.sitting).values_list("frame__name", flat=True))
    return sheet.without(set(finals.values_list("frame__name", flat=True)) - shown)


def counted(sitting: Sitting, by: Visitor) -> Sheet | None:
    """The standing statement's finals, for a side that is not asked to pay: how many are beyond the allowance is all
    that may be shown of it."""
    require(by, Act.SEE_EXTRAS, sitting)
    statement = standing(sitting)
    return statement.sheet if statement is not None else None
